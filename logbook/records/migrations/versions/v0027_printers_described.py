"""printers described."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0027"
down_revision = "0026"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("machine", sa.Column("prints_with", sa.String(length=200), server_default="", nullable=False))
    op.add_column("machine", sa.Column("native_dpi", sa.String(length=80), server_default="", nullable=False))
    op.add_column("machine", sa.Column("scaling_off", sa.Text(), server_default="", nullable=False))
    op.add_column("machine", sa.Column("dry_hours", logbook.records.base.DecimalText(), nullable=True))
