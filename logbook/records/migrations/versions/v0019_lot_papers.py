"""Papers beside a lot."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "lot_paper",
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["file_id"], ["kept_file.id"], name=op.f("fk_lot_paper_file_id_kept_file")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_lot_paper_lot_id_lot")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_lot_paper_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot_paper")),
        sa.UniqueConstraint("code", name=op.f("uq_lot_paper_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_lot_paper_file_id"), "lot_paper", ["file_id"], unique=False)
    op.create_index(op.f("ix_lot_paper_lot_id"), "lot_paper", ["lot_id"], unique=False)
