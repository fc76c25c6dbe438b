"""What is left of a lot after each move; a machine's newest check by index."""

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0025"
branch_labels = None
depends_on = None


SUMS = (
    "UPDATE stock_move SET left_after = summed.left_after FROM ("
    "SELECT id, sum(change) OVER (PARTITION BY lot_id ORDER BY id) AS left_after FROM stock_move"
    ") AS summed WHERE summed.id = stock_move.id"
)


def upgrade() -> None:
    """Step forward: the sums are those of the moves that are there."""
    op.add_column("stock_move", sa.Column("left_after", sa.Integer(), server_default="0", nullable=False))
    op.execute(SUMS)
    op.drop_index("ix_stock_move_lot_id_change", table_name="stock_move")
    op.create_index("ix_stock_move_lot_id_id_left_after", "stock_move", ["lot_id", "id", "left_after"], unique=False)
    op.drop_index("ix_machine_check_machine_id", table_name="machine_check")
    op.create_index("ix_machine_check_machine_id_at_id", "machine_check", ["machine_id", "at", "id"], unique=False)
