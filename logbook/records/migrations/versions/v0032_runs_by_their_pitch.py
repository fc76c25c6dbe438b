"""Runs by the pitch that they were interlaced at."""

from alembic import op

revision = "0032"
down_revision = "0031"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_index(op.f("ix_run_lpi"), "run", ["lpi"], unique=False)
