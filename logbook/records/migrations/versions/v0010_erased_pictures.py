"""erased pictures."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("job", sa.Column("pictures_erased_at", logbook.records.base.UtcTime(), nullable=True))
