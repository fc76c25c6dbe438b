"""keeping runs."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "keeping_run",
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("asked_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("asked_by_id", sa.Integer(), nullable=True),
        sa.Column("started_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("ended_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("progress", sa.Integer(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=True),
        sa.Column("entries", sa.Integer(), nullable=True),
        sa.Column("sentence", sa.Text(), nullable=False),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind IN ('backup', 'trial', 'check')", name=op.f("ck_keeping_run_kind_known")),
        sa.CheckConstraint(
            "state IN ('waiting', 'running', 'done', 'failed')", name=op.f("ck_keeping_run_state_known")
        ),
        sa.ForeignKeyConstraint(["asked_by_id"], ["person.id"], name=op.f("fk_keeping_run_asked_by_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_keeping_run")),
        sa.UniqueConstraint("code", name=op.f("uq_keeping_run_code")),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_keeping_run_kind_ended", "keeping_run", ["kind", "ended_at"], unique=False)
