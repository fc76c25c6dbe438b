"""decimal mark."""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.add_column("person", sa.Column("decimal_mark", sa.String(length=1), nullable=True))
