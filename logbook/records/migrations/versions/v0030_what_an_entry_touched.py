"""What an entry of the trail touched, by index."""

from alembic import op

revision = "0030"
down_revision = "0029"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_index("ix_audit_object_entry_id", "audit_object", ["entry_id"], unique=False)
