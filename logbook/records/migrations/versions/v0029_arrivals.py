"""lists on their way in."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0029"
down_revision = "0028"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table('arrival',
    sa.Column('what', sa.String(length=20), nullable=False),
    sa.Column('text', sa.Text(), nullable=False),
    sa.Column('seen', sa.String(length=64), nullable=False),
    sa.Column('lines', sa.Integer(), nullable=False),
    sa.Column('reached', sa.Integer(), nullable=False),
    sa.Column('taken', sa.Integer(), nullable=False),
    sa.Column('state', sa.String(length=20), nullable=False),
    sa.Column('asked_at', logbook.records.base.UtcTime(), nullable=False),
    sa.Column('asked_by_id', sa.Integer(), nullable=False),
    sa.Column('started_at', logbook.records.base.UtcTime(), nullable=True),
    sa.Column('ended_at', logbook.records.base.UtcTime(), nullable=True),
    sa.Column('sentence', sa.Text(), nullable=False),
    sa.Column('code', sa.String(length=8), nullable=False),
    sa.Column('id', sa.Integer(), nullable=False),
    sa.CheckConstraint("state IN ('waiting', 'running', 'done', 'stopped', 'failed')", name=op.f('ck_arrival_state_known')),
    sa.ForeignKeyConstraint(['asked_by_id'], ['person.id'], name=op.f('fk_arrival_asked_by_id_person')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_arrival')),
    sa.UniqueConstraint('code', name=op.f('uq_arrival_code')),
    sqlite_autoincrement=True
    )
