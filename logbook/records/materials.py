"""Lens, paper and adhesive: kinds of material, the lots of them, and what moved in or out."""

from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.lengths import Length
from logbook.records.base import Base, Coded, DecimalText, LengthText, UtcTime, one_of

MATERIAL_KINDS = ("lens", "paper", "adhesive")


class Material(Coded, Base):
    """A type of lens, paper or adhesive; the optical columns are for lenses only."""

    __tablename__ = "material"
    __table_args__ = (one_of("kind", *MATERIAL_KINDS), {"sqlite_autoincrement": True})

    kind: Mapped[str] = mapped_column(String(20), index=True)
    name: Mapped[str] = mapped_column(String(120), unique=True)
    nominal_lpi: Mapped[Decimal | None] = mapped_column(DecimalText)
    thickness: Mapped[Length | None] = mapped_column(LengthText)
    refractive_index: Mapped[Decimal | None] = mapped_column(DecimalText)
    substance: Mapped[str] = mapped_column(String(40), default="")
    """Lens: what the sheet is made of, for its expansion with warmth; empty where unknown."""
    dry_hours: Mapped[Decimal | None] = mapped_column(DecimalText)
    """Paper: hours to dry before bonding."""
    trim_hours: Mapped[Decimal | None] = mapped_column(DecimalText)
    """Adhesive: hours from mounting to trimming."""
    ship_hours: Mapped[Decimal | None] = mapped_column(DecimalText)
    """Adhesive: hours from mounting to shipping."""
    note: Mapped[str] = mapped_column(Text, default="")

    lots: Mapped[list["Lot"]] = relationship(back_populates="material", order_by="Lot.id")


class Lot(Coded, Base):
    """One delivery or batch of a material, known by the label on its wrapping."""

    __tablename__ = "lot"

    material_id: Mapped[int] = mapped_column(ForeignKey("material.id"), index=True)
    label: Mapped[str] = mapped_column(String(80), index=True)
    place: Mapped[str] = mapped_column(String(120), default="")
    sheet_width: Mapped[Length | None] = mapped_column(LengthText)
    sheet_height: Mapped[Length | None] = mapped_column(LengthText)
    price: Mapped[Decimal | None] = mapped_column(DecimalText)
    expires_on: Mapped[date | None]
    received_at: Mapped[datetime] = mapped_column(UtcTime)
    reorder_level: Mapped[int | None]
    set_aside_reason: Mapped[str | None] = mapped_column(Text)

    material: Mapped[Material] = relationship(back_populates="lots", lazy="joined")
    moves: Mapped[list["StockMove"]] = relationship(order_by="StockMove.id")


class MixingFigures(Coded, Base):
    """What mixes the pictures of one lens type on one printer and paper, as the owner knows it.

    Where no row stands, the model's own defaults count. A change overwrites the row; the trail keeps what was.
    """

    __tablename__ = "mixing_figures"
    __table_args__ = (UniqueConstraint("lens_id", "printer_id", "paper_id"), {"sqlite_autoincrement": True})

    lens_id: Mapped[int] = mapped_column(ForeignKey("material.id"), index=True)
    printer_id: Mapped[int] = mapped_column(ForeignKey("machine.id"))
    paper_id: Mapped[int] = mapped_column(ForeignKey("material.id"))
    radius: Mapped[Length | None] = mapped_column(LengthText)
    """Of the ridges; empty: as a sheet focused on its back has it."""
    ink_spread: Mapped[Length] = mapped_column(LengthText)
    registration: Mapped[Decimal] = mapped_column(DecimalText)
    """Lenticules by which the lens usually lies beside its place."""
    floor_percent: Mapped[Decimal] = mapped_column(DecimalText)
    note: Mapped[str] = mapped_column(Text, default="")


class StockMove(Base):
    """Sheets in (+) or out (-); a lot without moves is not counted.

    ``left_after`` is the sum of the lot's moves up to this one: a page that lists lots reads each one's newest move
    instead of adding up years of them.
    """

    __tablename__ = "stock_move"
    # all three columns: a lot's count is read from the index alone
    __table_args__ = (
        Index("ix_stock_move_lot_id_id_left_after", "lot_id", "id", "left_after"),
        {"sqlite_autoincrement": True},
    )

    lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"))
    change: Mapped[int]
    left_after: Mapped[int] = mapped_column(default=0, server_default="0")
    why: Mapped[str] = mapped_column(String(60))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("sheet.id"))
    at: Mapped[datetime] = mapped_column(UtcTime)
