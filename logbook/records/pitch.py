"""Pitch tests, their charts and readings, and the pitches on record."""

from datetime import datetime
from decimal import Decimal
from typing import Any, cast

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, declared_attr, mapped_column, relationship

from logbook.lengths import Length
from logbook.records.base import Base, Coded, DecimalText, LengthText, UtcTime, one_of
from logbook.records.files import KeptFile
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.people import Person

ORIGINS = ("test", "carried over", "nominal", "forecast")
AXES = ("across", "down")


class PitchConditions:
    """What a pitch belongs to: lens lot, printer mode, paper, axis, distance, climate."""

    lens_lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"), index=True)
    mode_id: Mapped[int] = mapped_column(ForeignKey("printer_mode.id"))
    paper_id: Mapped[int] = mapped_column(ForeignKey("material.id"))
    paper_lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"))
    axis: Mapped[str] = mapped_column(String(10))
    distance: Mapped[Length | None] = mapped_column(LengthText)
    """From the eye to the lens while reading; None where it was never written down."""
    lens_loose: Mapped[bool] = mapped_column(default=True)
    """Whether the lens lay on the print with air beneath, or was bonded to it."""
    temperature_c: Mapped[Decimal | None] = mapped_column(DecimalText)
    humidity_percent: Mapped[Decimal | None] = mapped_column(DecimalText)

    @declared_attr
    def lens_lot(cls) -> Mapped[Lot]:
        """The lens lot that was read through."""
        return relationship(Lot, foreign_keys=[cast(Any, cls.lens_lot_id)], lazy="joined")

    @declared_attr
    def mode(cls) -> Mapped[PrinterMode]:
        """The printer mode that printed the chart."""
        return relationship(PrinterMode, lazy="joined")

    @declared_attr
    def paper(cls) -> Mapped[Material]:
        """The paper type it was printed on."""
        return relationship(Material, lazy="joined")

    @declared_attr
    def paper_lot(cls) -> Mapped[Lot | None]:
        """The paper lot, where known."""
        return relationship(Lot, foreign_keys=[cast(Any, cls.paper_lot_id)], lazy="joined")


class PitchTest(PitchConditions, Coded, Base):
    """One measurement under way or done: charts, readings, and in the end one accepted result."""

    __tablename__ = "pitch_test"
    __table_args__ = (
        one_of("axis", *AXES),
        one_of("state", "open", "accepted", "given up"),
        {"sqlite_autoincrement": True},
    )

    started_at: Mapped[datetime] = mapped_column(UtcTime)
    started_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    state: Mapped[str] = mapped_column(String(20), default="open")

    started_by: Mapped[Person] = relationship()
    charts: Mapped[list["PitchChart"]] = relationship(back_populates="test", order_by="PitchChart.id")


class PitchChart(Coded, Base):
    """One printed chart of a test."""

    __tablename__ = "pitch_chart"
    __table_args__ = (one_of("kind", "bands", "sliding"), {"sqlite_autoincrement": True})

    test_id: Mapped[int] = mapped_column(ForeignKey("pitch_test.id"), index=True)
    kind: Mapped[str] = mapped_column(String(10), default="bands")
    """Bands of one pitch each, or one sliding band: then ``step_lpi`` is its slope, lines per inch per inch."""
    centre_lpi: Mapped[Decimal] = mapped_column(DecimalText)
    step_lpi: Mapped[Decimal] = mapped_column(DecimalText)
    bands: Mapped[int]
    width: Mapped[Length] = mapped_column(LengthText)
    plan: Mapped[str] = mapped_column(Text)
    """The chart's own description, JSON, as written beside the raster."""
    raster_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"))
    made_at: Mapped[datetime] = mapped_column(UtcTime)
    made_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    scale_across_mm: Mapped[Decimal | None] = mapped_column(DecimalText)
    """The long scales as they were measured on the print; None where nobody measured. Earlier values: the trail."""
    scale_down_mm: Mapped[Decimal | None] = mapped_column(DecimalText)

    test: Mapped[PitchTest] = relationship(back_populates="charts")
    raster: Mapped[KeptFile] = relationship(lazy="joined")
    readings: Mapped[list["PitchReading"]] = relationship(back_populates="chart", order_by="PitchReading.id")
    photos: Mapped[list["PitchPhoto"]] = relationship(back_populates="chart", order_by="PitchPhoto.id")


class PitchReading(Base):
    """What one reader saw in one band; a correction is a new row that names the one it replaces."""

    __tablename__ = "pitch_reading"

    chart_id: Mapped[int] = mapped_column(ForeignKey("pitch_chart.id"), index=True)
    band: Mapped[int]
    """The band's number; 0 for a spot that was named in words instead of counted."""
    lpi: Mapped[Decimal] = mapped_column(DecimalText)
    fringes: Mapped[Decimal] = mapped_column(DecimalText)
    words: Mapped[str] = mapped_column(String(80), default="")
    """As the reader said it: solid, 2 1/4, band 7, between 6 and 7."""
    reader_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime] = mapped_column(UtcTime)
    round: Mapped[int] = mapped_column(default=1)
    """1, or 2 for the same person reading the chart again, blind."""
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("pitch_reading.id"), unique=True)

    chart: Mapped[PitchChart] = relationship(back_populates="readings")
    reader: Mapped[Person] = relationship(lazy="joined")


class PitchPhoto(Coded, Base):
    """A photograph of a chart under its lens, and what was read in it."""

    __tablename__ = "pitch_photo"
    __table_args__ = {"sqlite_autoincrement": True}

    chart_id: Mapped[int] = mapped_column(ForeignKey("pitch_chart.id"), index=True)
    photo_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"))
    preview_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"))
    printed: Mapped[str] = mapped_column(String(20))
    """What was printed: file, or a paper and its page."""
    distance: Mapped[Length] = mapped_column(LengthText)
    """From the camera to the lens, as stated."""
    thickness: Mapped[Length] = mapped_column(LengthText)
    refractive_index: Mapped[Decimal] = mapped_column(DecimalText)
    lpi: Mapped[Decimal] = mapped_column(DecimalText)
    u_lpi: Mapped[Decimal] = mapped_column(DecimalText)
    """Standard uncertainty of the reading alone, k = 1, lines per inch."""
    told: Mapped[str] = mapped_column(Text)
    """Everything that was read, and the lines to draw over the picture, JSON."""
    at: Mapped[datetime] = mapped_column(UtcTime)
    reader_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    pitch_id: Mapped[int | None] = mapped_column(ForeignKey("pitch_on_record.id"), unique=True)
    """The pitch that was put on record from it."""

    chart: Mapped[PitchChart] = relationship(back_populates="photos")
    photo: Mapped[KeptFile] = relationship(foreign_keys=photo_id, lazy="joined")
    preview: Mapped[KeptFile] = relationship(foreign_keys=preview_id, lazy="joined")
    reader: Mapped[Person] = relationship(lazy="joined")
    pitch: Mapped["PitchOnRecord | None"] = relationship()


class PitchOnRecord(PitchConditions, Coded, Base):
    """A pitch that jobs may be interlaced at, and where it comes from."""

    __tablename__ = "pitch_on_record"
    __table_args__ = (one_of("axis", *AXES), one_of("origin", *ORIGINS), {"sqlite_autoincrement": True})

    origin: Mapped[str] = mapped_column(String(20))
    lpi: Mapped[Decimal] = mapped_column(DecimalText)
    u_lpi: Mapped[Decimal | None] = mapped_column(DecimalText)
    """Standard uncertainty, k = 1, lines per inch."""
    test_id: Mapped[int | None] = mapped_column(ForeignKey("pitch_test.id"))
    note: Mapped[str] = mapped_column(Text, default="")
    known_since: Mapped[datetime] = mapped_column(UtcTime)
    accepted_at: Mapped[datetime] = mapped_column(UtcTime)
    accepted_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    test: Mapped[PitchTest | None] = relationship()
    accepted_by: Mapped[Person] = relationship(foreign_keys=accepted_by_id, lazy="joined")
    withdrawal: Mapped["PitchWithdrawal | None"] = relationship(back_populates="pitch", lazy="joined")


class PitchWithdrawal(Base):
    """A pitch that no longer serves, by whom and why."""

    __tablename__ = "pitch_withdrawal"

    pitch_id: Mapped[int] = mapped_column(ForeignKey("pitch_on_record.id"), unique=True)
    at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    reason: Mapped[str] = mapped_column(Text)

    pitch: Mapped[PitchOnRecord] = relationship(back_populates="withdrawal")
    person: Mapped[Person] = relationship(lazy="joined")
