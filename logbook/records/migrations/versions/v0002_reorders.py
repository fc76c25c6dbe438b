"""reorders."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "reorder",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("of_id", sa.Integer(), nullable=False),
        sa.Column("changed", sa.Text(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_reorder_job_id_job")),
        sa.ForeignKeyConstraint(["of_id"], ["job.id"], name=op.f("fk_reorder_of_id_job")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_reorder_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reorder")),
        sa.UniqueConstraint("job_id", name=op.f("uq_reorder_job_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_reorder_of_id"), "reorder", ["of_id"], unique=False)
