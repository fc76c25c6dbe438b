"""What an event of a machine ends, and for which mode."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("machine_event", sa.Column("ends_pitches", sa.Boolean(), server_default="0", nullable=False))
    op.add_column("machine_event", sa.Column("mode_code", sa.String(length=8), server_default="", nullable=False))
