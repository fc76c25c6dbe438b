"""what caused a loss, and indexes for the owner's numbers."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("verdict", sa.Column("cause", sa.String(length=4), server_default="", nullable=False))
    op.create_index(op.f("ix_verdict_at"), "verdict", ["at"], unique=False)
    op.create_index(op.f("ix_departure_on"), "departure", ["on"], unique=False)
    op.create_index(
        "ix_step_record_results",
        "step_record",
        ["at"],
        unique=False,
        sqlite_where=sa.text("step_key = 'inspect-result'"),
    )
