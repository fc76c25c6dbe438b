"""A photograph beside a verdict, and what was written off with it."""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("verdict", sa.Column("photo_sha256", sa.String(length=64), server_default="", nullable=False))
    op.add_column("verdict", sa.Column("written_off", sa.Text(), server_default="", nullable=False))
    op.create_index("ix_verdict_photo_sha256", "verdict", ["photo_sha256"], unique=False)
