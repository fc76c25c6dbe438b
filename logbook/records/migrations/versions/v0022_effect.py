"""What a job's pictures do for the eyes."""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("job", sa.Column("effect", sa.String(length=20), server_default="", nullable=False))
