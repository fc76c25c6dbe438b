"""The floor: what a job chose, interlace runs, printed sheets, pieces, and what was signed on them."""

from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache

from sqlalchemy import CheckConstraint, ColumnElement, ForeignKey, String, Text, bindparam, exists
from sqlalchemy.orm import Mapped, aliased, mapped_column, relationship

from logbook.lengths import Length
from logbook.records.base import Base, Coded, DecimalText, LengthText, UtcTime, one_of, partial_index
from logbook.records.files import KeptFile
from logbook.records.machines import Machine, PrinterMode, RollerSession
from logbook.records.materials import Lot, Material
from logbook.records.orders import Job
from logbook.records.people import Person
from logbook.records.pitch import PitchOnRecord

RUN_STATES = ("waiting", "running", "done", "failed", "cancelled")
SHEET_STAGES = ("print", "dry", "adhesive", "laminate", "dwell", "parted", "scrapped")
PRINT_STAGES = ("on sheet", "trim", "inspect", "pack", "gone", "scrapped")


class JobMaterials(Base):
    """The materials a job is made from; a change is a new row, the newest counts."""

    __tablename__ = "job_materials"

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    lens_lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"))
    mode_id: Mapped[int] = mapped_column(ForeignKey("printer_mode.id"))
    paper_id: Mapped[int] = mapped_column(ForeignKey("material.id"))
    paper_lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"))
    adhesive_lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"))
    temperature_c: Mapped[Decimal | None] = mapped_column(DecimalText)
    humidity_percent: Mapped[Decimal | None] = mapped_column(DecimalText)
    notes: Mapped[str] = mapped_column(Text, default="")
    """What the rules said about climate and lots."""
    at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    lens_lot: Mapped[Lot] = relationship(foreign_keys=lens_lot_id, lazy="joined")
    mode: Mapped[PrinterMode] = relationship(lazy="joined")
    paper: Mapped[Material] = relationship(lazy="joined")
    paper_lot: Mapped[Lot | None] = relationship(foreign_keys=paper_lot_id, lazy="joined")
    adhesive_lot: Mapped[Lot | None] = relationship(foreign_keys=adhesive_lot_id, lazy="joined")
    person: Mapped[Person] = relationship()


class JobPitch(Base):
    """The pitch on record that a job chose, with the reason where a rule asked for one."""

    __tablename__ = "job_pitch"

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    pitch_id: Mapped[int] = mapped_column(ForeignKey("pitch_on_record.id"))
    reason: Mapped[str] = mapped_column(Text, default="")
    findings: Mapped[str] = mapped_column(Text, default="")
    at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    pitch: Mapped[PitchOnRecord] = relationship(lazy="joined")
    person: Mapped[Person] = relationship()


class LensChoice(Base):
    """The lens that a person chose for a job, and the numbers that stood beside it; the newest counts."""

    __tablename__ = "lens_choice"

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"))
    reasons: Mapped[str] = mapped_column(Text)
    """JSON: the sentences as they were shown, in order."""
    reason: Mapped[str] = mapped_column(Text, default="")
    """The person's own words."""
    at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    lot: Mapped[Lot] = relationship(lazy="joined")
    person: Mapped[Person] = relationship(lazy="joined")


class Run(Coded, Base):
    """One interlace run: it copies every number it used, so that a later test cannot rewrite history.

    The row is the truth about the work; ``token`` and ``lease_until`` fence it
    so that a worker that was thought dead cannot write over its successor.
    """

    __tablename__ = "run"
    __table_args__ = (one_of("state", *RUN_STATES), {"sqlite_autoincrement": True})

    state: Mapped[str] = mapped_column(String(20), default="waiting")
    sample: Mapped[bool] = mapped_column(default=False)
    pitch_id: Mapped[int] = mapped_column(ForeignKey("pitch_on_record.id"), index=True)
    pitch_lpi: Mapped[Decimal] = mapped_column(DecimalText)
    """The pitch on record, as it was."""
    lpi: Mapped[Decimal] = mapped_column(DecimalText, index=True)
    """The pitch interlaced at: converted to the job's viewing distance."""
    u_lpi: Mapped[Decimal | None] = mapped_column(DecimalText)
    pitch_reason: Mapped[str] = mapped_column(Text, default="")
    lens_lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"), index=True)
    mode_id: Mapped[int] = mapped_column(ForeignKey("printer_mode.id"))
    paper_id: Mapped[int] = mapped_column(ForeignKey("material.id"))
    recipe: Mapped[str] = mapped_column(Text)
    """Canonical JSON of every parameter and the pictures' hashes."""
    engine_version: Mapped[str] = mapped_column(Text, default="")
    result: Mapped[str | None] = mapped_column(Text)
    """JSON that the engine returned."""
    output_id: Mapped[int | None] = mapped_column(ForeignKey("kept_file.id"), index=True)
    pixels_sha256: Mapped[str | None] = mapped_column(String(64))
    asked_at: Mapped[datetime] = mapped_column(UtcTime)
    asked_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    token: Mapped[str | None] = mapped_column(String(32))
    lease_until: Mapped[datetime | None] = mapped_column(UtcTime)
    attempts: Mapped[int] = mapped_column(default=0)
    progress: Mapped[int] = mapped_column(default=0)
    """Whole percent."""
    started_at: Mapped[datetime | None] = mapped_column(UtcTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcTime)
    cancel_wanted: Mapped[bool] = mapped_column(default=False)
    trouble: Mapped[str | None] = mapped_column(Text)
    accepted_at: Mapped[datetime | None] = mapped_column(UtcTime)
    accepted_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))

    pitch: Mapped[PitchOnRecord] = relationship(lazy="joined")
    lens_lot: Mapped[Lot] = relationship(lazy="joined")
    mode: Mapped[PrinterMode] = relationship(lazy="joined")
    paper: Mapped[Material] = relationship(lazy="joined")
    output: Mapped[KeptFile | None] = relationship(lazy="joined")
    asked_by: Mapped[Person] = relationship(foreign_keys=asked_by_id, lazy="joined")
    accepted_by: Mapped[Person | None] = relationship(foreign_keys=accepted_by_id, lazy="joined")
    pieces: Mapped[list["RunPiece"]] = relationship(back_populates="run", order_by="RunPiece.id")
    sheets: Mapped[list["Sheet"]] = relationship(back_populates="run", order_by="Sheet.id")


UNFINISHED = Run.state.in_(bindparam("unfinished", ["waiting", "running"], expanding=True, literal_execute=True))
"""Runs that are not over. Written out in the query: otherwise SQLite passes over the index below."""
partial_index("ix_run_unfinished", Run.state, where=Run.state.in_(("waiting", "running")))


class RunPiece(Base):
    """One piece on a run's raster: which job, and where (dots: left, top, right, bottom)."""

    __tablename__ = "run_piece"

    run_id: Mapped[int] = mapped_column(ForeignKey("run.id"), index=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    trim_dots: Mapped[str] = mapped_column(String(80), default="")

    run: Mapped[Run] = relationship(back_populates="pieces")
    job: Mapped[Job] = relationship(lazy="joined")


class Sheet(Coded, Base):
    """What is printed and mounted as one; it carries one or more prints."""

    __tablename__ = "sheet"
    __table_args__ = (one_of("stage", *SHEET_STAGES), {"sqlite_autoincrement": True})

    number: Mapped[str] = mapped_column(String(30), unique=True)
    run_id: Mapped[int | None] = mapped_column(ForeignKey("run.id"), index=True)
    """None only for work that was interlaced before the logbook, or for a customer's own print."""
    lens_lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"), index=True)
    mode_id: Mapped[int | None] = mapped_column(ForeignKey("printer_mode.id"))
    paper_lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"), index=True)
    adhesive_lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"), index=True)
    stage: Mapped[str] = mapped_column(String(20))
    started_at: Mapped[datetime] = mapped_column(UtcTime)

    run: Mapped[Run | None] = relationship(back_populates="sheets", lazy="joined")
    lens_lot: Mapped[Lot] = relationship(foreign_keys=lens_lot_id, lazy="joined")
    mode: Mapped[PrinterMode | None] = relationship(lazy="joined")
    paper_lot: Mapped[Lot | None] = relationship(foreign_keys=paper_lot_id, lazy="joined")
    adhesive_lot: Mapped[Lot | None] = relationship(foreign_keys=adhesive_lot_id, lazy="joined")
    prints: Mapped[list["Print"]] = relationship(back_populates="sheet", order_by="Print.id")


class Print(Coded, Base):
    """One piece with a serial, from trimming to the door."""

    __tablename__ = "print"
    __table_args__ = (one_of("stage", *PRINT_STAGES), {"sqlite_autoincrement": True})

    serial: Mapped[str] = mapped_column(String(30), unique=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id"), index=True)
    sample: Mapped[bool] = mapped_column(default=False)
    stage: Mapped[str] = mapped_column(String(20), default="on sheet")
    set_aside_reason: Mapped[str | None] = mapped_column(Text)
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("print.id"))

    job: Mapped[Job] = relationship(lazy="joined")
    sheet: Mapped[Sheet] = relationship(back_populates="prints", lazy="joined")
    replaces: Mapped["Print | None"] = relationship(remote_side="Print.id")


PRINT_IS_OPEN = Print.stage.not_in(bindparam("done", ["gone", "scrapped"], expanding=True, literal_execute=True))
SHEET_IS_OPEN = Sheet.stage.not_in(bindparam("cut", ["parted", "scrapped"], expanding=True, literal_execute=True))
"""What is still at the bench. Written out in the query: otherwise SQLite passes over the indexes below."""
partial_index("ix_print_open", Print.stage, where=Print.stage.not_in(("gone", "scrapped")))
partial_index("ix_sheet_open", Sheet.stage, where=Sheet.stage.not_in(("parted", "scrapped")))


class StepRecord(Base):
    """What was recorded at one step of a sheet or a print; insert-only, a correction names what it replaces."""

    __tablename__ = "step_record"
    __table_args__ = (
        CheckConstraint("(sheet_id IS NULL) <> (print_id IS NULL)", name="one_subject"),
        one_of("source", "screen", "paper", "before the logbook"),
        {"sqlite_autoincrement": True},
    )

    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("sheet.id"), index=True)
    print_id: Mapped[int | None] = mapped_column(ForeignKey("print.id"), index=True)
    stage: Mapped[str] = mapped_column(String(20))
    step_key: Mapped[str] = mapped_column(String(60))
    value: Mapped[str] = mapped_column(Text, default="")
    unit: Mapped[str] = mapped_column(String(20), default="")
    meaning: Mapped[str] = mapped_column(String(20), default="performed")
    reason: Mapped[str] = mapped_column(Text, default="")
    notes: Mapped[str] = mapped_column(Text, default="")
    """What the rules said when it was signed: printed with the signature."""
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime] = mapped_column(UtcTime)
    source: Mapped[str] = mapped_column(String(20), default="screen")
    roller_session_id: Mapped[int | None] = mapped_column(ForeignKey("roller_session.id"))
    machine_id: Mapped[int | None] = mapped_column(ForeignKey("machine.id"))
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("step_record.id"), unique=True)

    person: Mapped[Person | None] = relationship(lazy="joined")
    roller_session: Mapped[RollerSession | None] = relationship(lazy="joined")
    machine: Mapped[Machine | None] = relationship(lazy="joined")


TAKEN_BACK = "-taken-back"
"""Ends the step key of the correction of a record that its maker took back within the minute."""


@lru_cache(maxsize=1)
def stands() -> ColumnElement[bool]:
    """The condition that nobody replaced a step's record or took it back."""
    later = aliased(StepRecord)
    return ~exists().where(later.replaces_id == StepRecord.id)


partial_index("ix_step_record_machine", StepRecord.machine_id, StepRecord.at, where=StepRecord.machine_id.is_not(None))
partial_index("ix_step_record_results", StepRecord.at, where=StepRecord.step_key == "inspect-result")


class StripReading(Base):
    """What was counted in one band of the pitch strip beside a print, before bonding."""

    __tablename__ = "strip_reading"

    sheet_id: Mapped[int] = mapped_column(ForeignKey("sheet.id"), index=True)
    band: Mapped[int]
    lpi: Mapped[Decimal] = mapped_column(DecimalText)
    fringes: Mapped[Decimal] = mapped_column(DecimalText)
    reader_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime] = mapped_column(UtcTime)
    distance: Mapped[Length | None] = mapped_column(LengthText)

    reader: Mapped[Person] = relationship(lazy="joined")


class Verdict(Base):
    """What was decided about a print that did not pass: scrap, concession, rework or replace."""

    __tablename__ = "verdict"
    __table_args__ = (one_of("kind", "scrap", "concession", "rework", "replace"), {"sqlite_autoincrement": True})

    print_id: Mapped[int] = mapped_column(ForeignKey("print.id"), index=True)
    kind: Mapped[str] = mapped_column(String(20))
    reason: Mapped[str] = mapped_column(Text)
    cause: Mapped[str] = mapped_column(String(4), default="", server_default="")
    """The code of what was wrong, which names the stage that caused it; empty where nobody said."""
    photo_sha256: Mapped[str] = mapped_column(String(64), default="", server_default="", index=True)
    """A photograph of what was wrong; empty where nobody took one."""
    written_off: Mapped[str] = mapped_column(Text, default="", server_default="")
    """JSON: what was lost with it, by material, at the lot's price of that day; null where no price is on record."""
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime] = mapped_column(UtcTime, index=True)

    person: Mapped[Person] = relationship(lazy="joined")
    word: Mapped["CustomersWord | None"] = relationship(back_populates="verdict", lazy="joined")


class CustomersWord(Base):
    """What the customer said to a print that goes as it is. Personal: it is erased with the customer."""

    __tablename__ = "customers_word"
    __table_args__ = ({"sqlite_autoincrement": True},)

    verdict_id: Mapped[int] = mapped_column(ForeignKey("verdict.id"), unique=True)
    words: Mapped[str | None] = mapped_column(Text)
    """None once it was erased."""

    verdict: Mapped[Verdict] = relationship(back_populates="word")


class Departure(Base):
    """A print that left: sent or collected."""

    __tablename__ = "departure"
    __table_args__ = (one_of("how", "sent", "collected", "kept"), {"sqlite_autoincrement": True})

    print_id: Mapped[int] = mapped_column(ForeignKey("print.id"), unique=True)
    how: Mapped[str] = mapped_column(String(20))
    carrier: Mapped[str] = mapped_column(String(120), default="")
    tracking: Mapped[str] = mapped_column(String(120), default="")
    on: Mapped[date] = mapped_column(index=True)
    at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    person: Mapped[Person] = relationship(lazy="joined")


class TravellerIssue(Base):
    """A printed job traveller: its revision, the cards it showed, and the trail's head at that moment."""

    __tablename__ = "traveller_issue"

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    revision: Mapped[int]
    made_at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    file_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"))
    cards: Mapped[str] = mapped_column(Text)
    """JSON: card id to the version shown."""
    head_seq: Mapped[int]
    head_hash: Mapped[str] = mapped_column(String(64))

    file: Mapped[KeptFile] = relationship(lazy="joined")
    person: Mapped[Person] = relationship(lazy="joined")
