"""decimal mark."""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("person", sa.Column("decimal_mark", sa.String(length=1), nullable=True))
