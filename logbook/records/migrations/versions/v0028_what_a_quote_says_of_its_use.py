"""what a quote says of effect, use and distance."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0028"
down_revision = "0027"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("quote_line", sa.Column("effect", sa.String(length=20), server_default="", nullable=False))
    op.add_column("quote_line", sa.Column("use", sa.String(length=20), server_default="", nullable=False))
    op.add_column("quote_line", sa.Column("distance", logbook.records.base.LengthText(), nullable=True))
