"""traveller batches."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0024"
down_revision = "0023"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "traveller_batch",
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("page", sa.String(length=20), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("asked_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("asked_by_id", sa.Integer(), nullable=False),
        sa.Column("started_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("ended_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("progress", sa.Integer(), nullable=False),
        sa.Column("issues", sa.Text(), nullable=False),
        sa.Column("sentence", sa.Text(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "state IN ('waiting', 'running', 'done', 'stopped', 'failed')",
            name=op.f("ck_traveller_batch_state_known"),
        ),
        sa.ForeignKeyConstraint(["asked_by_id"], ["person.id"], name=op.f("fk_traveller_batch_asked_by_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_traveller_batch")),
        sa.UniqueConstraint("code", name=op.f("uq_traveller_batch_code")),
        sqlite_autoincrement=True,
    )
