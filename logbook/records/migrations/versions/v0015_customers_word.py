"""customer's word."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "customers_word",
        sa.Column("verdict_id", sa.Integer(), nullable=False),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["verdict_id"], ["verdict.id"], name=op.f("fk_customers_word_verdict_id_verdict")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customers_word")),
        sa.UniqueConstraint("verdict_id", name=op.f("uq_customers_word_verdict_id")),
        sqlite_autoincrement=True,
    )
