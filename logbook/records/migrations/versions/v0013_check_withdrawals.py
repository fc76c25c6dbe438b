"""check withdrawals."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "check_withdrawal",
        sa.Column("check_id", sa.Integer(), nullable=False),
        sa.Column("at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["check_id"], ["machine_check.id"], name=op.f("fk_check_withdrawal_check_id_machine_check")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_check_withdrawal_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_withdrawal")),
        sa.UniqueConstraint("check_id", name=op.f("uq_check_withdrawal_check_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        "ix_step_record_machine",
        "step_record",
        ["machine_id", "at"],
        unique=False,
        sqlite_where=sa.text("machine_id IS NOT NULL"),
    )
