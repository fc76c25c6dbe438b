"""Leak sheets and what was read on them: how much of one picture is seen in the other."""

from datetime import datetime
from decimal import Decimal

from sqlalchemy import ForeignKey, Index, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.records.base import Base, Coded, DecimalText, UtcTime
from logbook.records.files import KeptFile
from logbook.records.machines import Machine
from logbook.records.materials import Material
from logbook.records.orders import Job
from logbook.records.people import Person
from logbook.records.pitch import PitchOnRecord


class LeakSheet(Coded, Base):
    """One sheet as it was made for the printer, at a pitch on record: its lens lot, printer mode and paper."""

    __tablename__ = "leak_sheet"
    __table_args__ = ({"sqlite_autoincrement": True},)

    pitch_id: Mapped[int] = mapped_column(ForeignKey("pitch_on_record.id"), index=True)
    plan: Mapped[str] = mapped_column(Text)
    """The sheet's own description, JSON."""
    raster_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"))
    made_at: Mapped[datetime] = mapped_column(UtcTime)
    made_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    pitch: Mapped[PitchOnRecord] = relationship(lazy="joined")
    raster: Mapped[KeptFile] = relationship(lazy="joined")
    made_by: Mapped[Person] = relationship(lazy="joined")
    readings: Mapped[list["LeakReading"]] = relationship(back_populates="sheet", order_by="LeakReading.id")


class LeakReading(Coded, Base):
    """What one reader tapped, and the leaks that follow; the newest of a lens type, printer and paper counts."""

    __tablename__ = "leak_reading"
    __table_args__ = (
        Index("ix_leak_reading_lens_id_printer_id_paper_id", "lens_id", "printer_id", "paper_id"),
        {"sqlite_autoincrement": True},
    )

    sheet_id: Mapped[int] = mapped_column(ForeignKey("leak_sheet.id"), index=True)
    lens_id: Mapped[int] = mapped_column(ForeignKey("material.id"))
    printer_id: Mapped[int] = mapped_column(ForeignKey("machine.id"))
    paper_id: Mapped[int] = mapped_column(ForeignKey("material.id"))
    taps: Mapped[str] = mapped_column(Text)
    """As they were tapped, JSON: for each row the last ghost and the first reversed, and the matched greys."""
    tone: Mapped[str] = mapped_column(Text)
    """The levels that match an eighth, a quarter and a half of the light, apart by spaces."""
    into_first_percent: Mapped[Decimal] = mapped_column(DecimalText)
    """The share of PICTURE 2's light that is seen in PICTURE 1."""
    first_bound_percent: Mapped[Decimal] = mapped_column(DecimalText)
    into_last_percent: Mapped[Decimal] = mapped_column(DecimalText)
    last_bound_percent: Mapped[Decimal] = mapped_column(DecimalText)
    at: Mapped[datetime] = mapped_column(UtcTime)
    reader_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    note: Mapped[str] = mapped_column(Text, default="")

    sheet: Mapped[LeakSheet] = relationship(back_populates="readings", lazy="joined")
    lens: Mapped[Material] = relationship(foreign_keys=lens_id, lazy="joined")
    printer: Mapped[Machine] = relationship(lazy="joined")
    paper: Mapped[Material] = relationship(foreign_keys=paper_id, lazy="joined")
    reader: Mapped[Person] = relationship(lazy="joined")


class JobCorrection(Base):
    """Whether a job's pictures are corrected for a leak, as a person chose; insert-only, the newest counts."""

    __tablename__ = "job_correction"

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    reading_id: Mapped[int | None] = mapped_column(ForeignKey("leak_reading.id"))
    """What it rests on; None: not corrected."""
    correction: Mapped[str] = mapped_column(Text, default="")
    """Canonical JSON: the mixing in exact decimals, the printed tone, the contrast; empty: not corrected."""
    contrast: Mapped[Decimal | None] = mapped_column(DecimalText)
    """The part of it that is kept, 0 to 1."""
    at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    job: Mapped[Job] = relationship()
    reading: Mapped[LeakReading | None] = relationship(lazy="joined")
    person: Mapped[Person] = relationship(lazy="joined")
