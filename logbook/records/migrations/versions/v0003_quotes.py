"""quotes."""

import sqlalchemy as sa
from alembic import op

import logbook.records.base

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Step forward."""
    op.create_table(
        "order_money",
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("deposit", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("paid_on", sa.Date(), nullable=True),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["order_id"], ["order_.id"], name=op.f("fk_order_money_order_id_order_")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_money")),
        sa.UniqueConstraint("order_id", name=op.f("uq_order_money_order_id")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "quote",
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=False),
        sa.Column("made_at", logbook.records.base.UtcTime(), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=False),
        sa.Column("hourly_rate", logbook.records.base.DecimalText(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("answered_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("order_id", sa.Integer(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN ('out', 'accepted', 'declined')", name=op.f("ck_quote_state_known")),
        sa.ForeignKeyConstraint(["customer_id"], ["customer.id"], name=op.f("fk_quote_customer_id_customer")),
        sa.ForeignKeyConstraint(["made_by_id"], ["person.id"], name=op.f("fk_quote_made_by_id_person")),
        sa.ForeignKeyConstraint(["order_id"], ["order_.id"], name=op.f("fk_quote_order_id_order_")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quote")),
        sa.UniqueConstraint("code", name=op.f("uq_quote_code")),
        sa.UniqueConstraint("number", name=op.f("uq_quote_number")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_quote_customer_id"), "quote", ["customer_id"], unique=False)
    op.create_index(op.f("ix_quote_order_id"), "quote", ["order_id"], unique=False)
    op.create_table(
        "quote_line",
        sa.Column("quote_id", sa.Integer(), nullable=False),
        sa.Column("artwork", sa.String(length=200), nullable=False),
        sa.Column("width", logbook.records.base.LengthText(), nullable=False),
        sa.Column("height", logbook.records.base.LengthText(), nullable=False),
        sa.Column("flip", sa.String(length=20), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("lens_lot_id", sa.Integer(), nullable=False),
        sa.Column("waste_percent", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("sheets", sa.Integer(), nullable=False),
        sa.Column("minutes", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("material", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("labour", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("unpriced", sa.Text(), nullable=False),
        sa.Column("price", logbook.records.base.DecimalText(), nullable=False),
        sa.Column("taken_out_at", logbook.records.base.UtcTime(), nullable=True),
        sa.Column("code", sa.String(length=8), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.CheckConstraint("flip IN ('left-right', 'up-down')", name=op.f("ck_quote_line_flip_known")),
        sa.ForeignKeyConstraint(["lens_lot_id"], ["lot.id"], name=op.f("fk_quote_line_lens_lot_id_lot")),
        sa.ForeignKeyConstraint(["quote_id"], ["quote.id"], name=op.f("fk_quote_line_quote_id_quote")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quote_line")),
        sa.UniqueConstraint("code", name=op.f("uq_quote_line_code")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_quote_line_quote_id"), "quote_line", ["quote_id"], unique=False)
