"""what mixes the pictures."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table('mixing_figures',
    sa.Column('lens_id', sa.Integer(), nullable=False),
    sa.Column('printer_id', sa.Integer(), nullable=False),
    sa.Column('paper_id', sa.Integer(), nullable=False),
    sa.Column('radius', logbook.records.base.LengthText(), nullable=True),
    sa.Column('ink_spread', logbook.records.base.LengthText(), nullable=False),
    sa.Column('registration', logbook.records.base.DecimalText(), nullable=False),
    sa.Column('floor_percent', logbook.records.base.DecimalText(), nullable=False),
    sa.Column('note', sa.Text(), nullable=False),
    sa.Column('code', sa.String(length=8), nullable=False),
    sa.Column('id', sa.Integer(), nullable=False),
    sa.ForeignKeyConstraint(['lens_id'], ['material.id'], name=op.f('fk_mixing_figures_lens_id_material')),
    sa.ForeignKeyConstraint(['paper_id'], ['material.id'], name=op.f('fk_mixing_figures_paper_id_material')),
    sa.ForeignKeyConstraint(['printer_id'], ['machine.id'], name=op.f('fk_mixing_figures_printer_id_machine')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_mixing_figures')),
    sa.UniqueConstraint('code', name=op.f('uq_mixing_figures_code')),
    sa.UniqueConstraint('lens_id', 'printer_id', 'paper_id', name=op.f('uq_mixing_figures_lens_id')),
    sqlite_autoincrement=True
    )
    op.create_index(op.f('ix_mixing_figures_lens_id'), 'mixing_figures', ['lens_id'], unique=False)
