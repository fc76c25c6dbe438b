"""Quotes before an order, and the two facts of money that an order carries."""

from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.lengths import Length
from logbook.records.base import Base, Coded, DecimalText, LengthText, UtcTime, one_of
from logbook.records.materials import Lot
from logbook.records.orders import FLIPS, Customer, Order
from logbook.records.people import Person

QUOTE_STATES = ("out", "accepted", "declined")
"""Whether an open quote has run out is derived from its last day, never stored."""


class Quote(Coded, Base):
    """What a customer was told it would cost. ``number`` is for people: Q26-0007."""

    __tablename__ = "quote"
    __table_args__ = (one_of("state", *QUOTE_STATES), {"sqlite_autoincrement": True})

    number: Mapped[str] = mapped_column(String(20), unique=True)
    customer_id: Mapped[int] = mapped_column(ForeignKey("customer.id"), index=True)
    made_at: Mapped[datetime] = mapped_column(UtcTime)
    made_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    valid_until: Mapped[date]
    hourly_rate: Mapped[Decimal | None] = mapped_column(DecimalText)
    note: Mapped[str] = mapped_column(Text, default="")
    state: Mapped[str] = mapped_column(String(20), default="out")
    answered_at: Mapped[datetime | None] = mapped_column(UtcTime)
    order_id: Mapped[int | None] = mapped_column(ForeignKey("order_.id"), index=True)
    """The order that its acceptance made."""

    customer: Mapped[Customer] = relationship(lazy="joined")
    made_by: Mapped[Person] = relationship(lazy="joined")
    order: Mapped[Order | None] = relationship()
    every_line: Mapped[list["QuoteLine"]] = relationship(back_populates="quote", order_by="QuoteLine.id")

    @property
    def lines(self) -> list["QuoteLine"]:
        """The lines that stand."""
        return [line for line in self.every_line if line.taken_out_at is None]


class QuoteLine(Coded, Base):
    """One artwork at one size; what it costs to make is copied, so that a later price changes nothing."""

    __tablename__ = "quote_line"
    __table_args__ = (one_of("flip", *FLIPS), {"sqlite_autoincrement": True})

    quote_id: Mapped[int] = mapped_column(ForeignKey("quote.id"), index=True)
    artwork: Mapped[str] = mapped_column(String(200))
    width: Mapped[Length] = mapped_column(LengthText)
    height: Mapped[Length] = mapped_column(LengthText)
    flip: Mapped[str] = mapped_column(String(20))
    effect: Mapped[str] = mapped_column(String(20), default="", server_default="")
    """As of a job; empty where nobody said."""
    use: Mapped[str] = mapped_column(String(20), default="", server_default="")
    """As of a job; empty on lines of before it was asked."""
    distance: Mapped[Length | None] = mapped_column(LengthText)
    """From the eye to the print; None on lines of before it was asked."""
    quantity: Mapped[int]
    lens_lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"))
    waste_percent: Mapped[Decimal] = mapped_column(DecimalText)
    sheets: Mapped[int]
    minutes: Mapped[Decimal] = mapped_column(DecimalText)
    material: Mapped[Decimal] = mapped_column(DecimalText)
    labour: Mapped[Decimal] = mapped_column(DecimalText)
    unpriced: Mapped[str] = mapped_column(Text, default="")
    price: Mapped[Decimal] = mapped_column(DecimalText)
    """For one piece, as the customer is told."""
    taken_out_at: Mapped[datetime | None] = mapped_column(UtcTime)

    quote: Mapped[Quote] = relationship(back_populates="every_line")
    lens_lot: Mapped[Lot] = relationship(lazy="joined")


class OrderMoney(Base):
    """Deposit and paid date of an order: two facts, no bookkeeping."""

    __tablename__ = "order_money"

    order_id: Mapped[int] = mapped_column(ForeignKey("order_.id"), unique=True)
    deposit: Mapped[Decimal | None] = mapped_column(DecimalText)
    paid_on: Mapped[date | None]
