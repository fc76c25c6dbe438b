"""measured scales."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("pitch_chart", sa.Column("scale_across_mm", logbook.records.base.DecimalText(), nullable=True))
    op.add_column("pitch_chart", sa.Column("scale_down_mm", logbook.records.base.DecimalText(), nullable=True))
