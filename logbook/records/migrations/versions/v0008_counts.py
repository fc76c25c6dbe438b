"""indexes: a lot's count, whose file it is."""

from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.drop_index(op.f("ix_stock_move_lot_id"), table_name="stock_move")
    op.create_index("ix_stock_move_lot_id_change", "stock_move", ["lot_id", "change"], unique=False)
    op.create_index(op.f("ix_run_output_id"), "run", ["output_id"], unique=False)
    op.create_index(op.f("ix_picture_file_id"), "picture", ["file_id"], unique=False)
    op.create_index(op.f("ix_picture_preview_id"), "picture", ["preview_id"], unique=False)
