"""When something happened to a machine, and checks taken over from paper."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("machine_event", sa.Column("happened_at", logbook.records.base.UtcTime(), nullable=True))
    op.add_column("machine_check", sa.Column("entered_by", sa.String(length=120), server_default="", nullable=False))
    op.add_column("machine_check", sa.Column("page_sha256", sa.String(length=64), server_default="", nullable=False))
