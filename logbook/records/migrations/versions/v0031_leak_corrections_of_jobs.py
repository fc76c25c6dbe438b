"""Leak corrections of jobs."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0031"
down_revision = "0030"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "job_correction",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("reading_id", sa.Integer(), nullable=True),
        sa.Column("correction", sa.Text(), nullable=False),
        sa.Column("contrast", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_job_correction_job_id_job")),
        sa.ForeignKeyConstraint(
            ["reading_id"], ["leak_reading.id"], name=op.f("fk_job_correction_reading_id_leak_reading")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_job_correction_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_correction")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_job_correction_job_id"), "job_correction", ["job_id"], unique=False)
