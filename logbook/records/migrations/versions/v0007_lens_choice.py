"""lens_choice."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "lens_choice",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("reasons", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_lens_choice_job_id_job")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_lens_choice_lot_id_lot")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_lens_choice_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lens_choice")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_lens_choice_job_id"), "lens_choice", ["job_id"], unique=False)
