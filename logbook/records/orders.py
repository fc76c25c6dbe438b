"""Customers, orders, jobs, pictures, proofs and the customer's answers."""

import secrets
from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.lengths import Length
from logbook.records.base import Base, Coded, DecimalText, LengthText, UtcTime, one_of, partial_index
from logbook.records.files import KeptFile
from logbook.records.people import Person

FLIPS = ("left-right", "up-down")
FITS = ("crop", "pad", "stretch")
USES = ("wall", "hand")
EFFECTS = ("flip", "depth", "sequence")
"""What the pictures do for the eyes: one then another, one for each eye, or step by step (movement, zoom, morph)."""
JOB_KINDS = ("print", "mount-only")


class Customer(Coded, Base):
    """Personal values live here and can be erased; the trail holds only hashes under ``hash_key``."""

    __tablename__ = "customer"

    name: Mapped[str | None] = mapped_column(String(200))
    contact: Mapped[str | None] = mapped_column(Text)
    hash_key: Mapped[str | None] = mapped_column(String(64), default=lambda: secrets.token_hex(32))
    erased_at: Mapped[datetime | None] = mapped_column(UtcTime)

    @property
    def called(self) -> str:
        """The name, or on which day it was erased."""
        if self.name is not None:
            return self.name
        return f"erased on {self.erased_at.astimezone():%Y-%m-%d}" if self.erased_at else "erased"


class Order(Coded, Base):
    """What a customer (or the shop itself) asked for; it holds jobs. ``number`` is for people: 26-0041."""

    __tablename__ = "order_"

    number: Mapped[str] = mapped_column(String(20), unique=True)
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id"), index=True)
    placed_at: Mapped[datetime] = mapped_column(UtcTime)
    due_on: Mapped[date | None]
    note: Mapped[str] = mapped_column(Text, default="")
    closed_at: Mapped[datetime | None] = mapped_column(UtcTime)
    cancelled_reason: Mapped[str | None] = mapped_column(Text)

    customer: Mapped[Customer | None] = relationship(lazy="joined")
    jobs: Mapped[list["Job"]] = relationship(back_populates="order", order_by="Job.id")


partial_index("ix_order_open", Order.due_on, where=Order.closed_at.is_(None))


class StepListRevision(Base):
    """One revision of the shop's step list, whole; a job keeps the one it started with."""

    __tablename__ = "step_list_revision"

    sha256: Mapped[str] = mapped_column(String(64), unique=True)
    revision: Mapped[str] = mapped_column(String(40))
    content: Mapped[str] = mapped_column(Text)
    """The whole step list as JSON."""
    kept_at: Mapped[datetime] = mapped_column(UtcTime)


class Job(Coded, Base):
    """One artwork at one size. ``number`` is the order's number and a letter: 26-0041-A."""

    __tablename__ = "job"
    __table_args__ = (
        one_of("flip", *FLIPS),
        one_of("fit", *FITS),
        one_of("use", *USES),
        one_of("kind", *JOB_KINDS),
        {"sqlite_autoincrement": True},
    )

    order_id: Mapped[int] = mapped_column(ForeignKey("order_.id"), index=True)
    number: Mapped[str] = mapped_column(String(24), unique=True)
    kind: Mapped[str] = mapped_column(String(20), default="print")
    artwork: Mapped[str] = mapped_column(String(200))
    flip: Mapped[str] = mapped_column(String(20))
    width: Mapped[Length] = mapped_column(LengthText)
    height: Mapped[Length] = mapped_column(LengthText)
    bleed: Mapped[Length] = mapped_column(LengthText)
    distance: Mapped[Length] = mapped_column(LengthText)
    use: Mapped[str] = mapped_column(String(20))
    effect: Mapped[str] = mapped_column(String(20), default="", server_default="")
    """One of ``EFFECTS``; empty where nobody said."""
    fit: Mapped[str] = mapped_column(String(20), default="crop")
    quantity: Mapped[int]
    price: Mapped[Decimal | None] = mapped_column(DecimalText)
    started_at: Mapped[datetime] = mapped_column(UtcTime)
    entered_at_stage: Mapped[str | None] = mapped_column(String(20))
    """The stage at which a half-done job entered the logbook; earlier ones are "before the logbook"."""
    ended_at: Mapped[datetime | None] = mapped_column(UtcTime)
    pictures_erased_at: Mapped[datetime | None] = mapped_column(UtcTime)
    step_list_id: Mapped[int] = mapped_column(ForeignKey("step_list_revision.id"))

    order: Mapped[Order] = relationship(back_populates="jobs", lazy="joined")
    step_list: Mapped[StepListRevision] = relationship()
    pictures: Mapped[list["Picture"]] = relationship(back_populates="job", order_by="Picture.position, Picture.id")
    proofs: Mapped[list["Proof"]] = relationship(back_populates="job", order_by="Proof.id")


partial_index("ix_job_open", Job.started_at, where=Job.ended_at.is_(None))


class Reorder(Base):
    """A job that was ordered again exactly as before, and what had changed since when it was."""

    __tablename__ = "reorder"

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), unique=True)
    of_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    changed: Mapped[str] = mapped_column(Text)
    """JSON: one plain sentence for each thing that had changed."""
    at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    job: Mapped[Job] = relationship(foreign_keys=job_id)
    of: Mapped[Job] = relationship(foreign_keys=of_id)


class Picture(Coded, Base):
    """One picture of a job in play order. A better one is a new row; the old one gets ``replaced_at``."""

    __tablename__ = "picture"

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    position: Mapped[int]
    file_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"), index=True)
    preview_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"), index=True)
    original_name: Mapped[str] = mapped_column(String(255))
    width_px: Mapped[int]
    height_px: Mapped[int]
    remark: Mapped[str] = mapped_column(Text, default="")
    added_at: Mapped[datetime] = mapped_column(UtcTime)
    replaced_at: Mapped[datetime | None] = mapped_column(UtcTime)

    job: Mapped[Job] = relationship(back_populates="pictures")
    file: Mapped[KeptFile] = relationship(foreign_keys=file_id, lazy="joined")
    preview: Mapped[KeptFile] = relationship(foreign_keys=preview_id, lazy="joined")
    shifts: Mapped[list["PictureShift"]] = relationship(back_populates="picture", order_by="PictureShift.id")


class PictureShift(Base):
    """How a picture is moved on the print so that its key points meet the others'; the newest counts."""

    __tablename__ = "picture_shift"

    picture_id: Mapped[int] = mapped_column(ForeignKey("picture.id"), index=True)
    dx: Mapped[int]
    """Dots of the print, to the right."""
    dy: Mapped[int]
    """Dots of the print, down."""
    dpi_across: Mapped[str] = mapped_column(String(40))
    dpi_down: Mapped[str] = mapped_column(String(40))
    """Exact, as the printer's mode had them: another mode has other dots, the place stays."""
    at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    picture: Mapped[Picture] = relationship(back_populates="shifts")


class Proof(Coded, Base):
    """What the customer is shown, bound to exact files, fit and size."""

    __tablename__ = "proof"

    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    revision: Mapped[int]
    made_at: Mapped[datetime] = mapped_column(UtcTime)
    made_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    picture_hashes: Mapped[str] = mapped_column(Text)
    """The pictures' SHA-256 in play order, separated by spaces."""
    specification: Mapped[str] = mapped_column(Text)
    """Size, flip, fit and quantity as they were shown, canonical JSON."""
    animation_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"))
    page_id: Mapped[int | None] = mapped_column(ForeignKey("kept_file.id"))

    job: Mapped[Job] = relationship(back_populates="proofs")
    made_by: Mapped[Person] = relationship()
    animation: Mapped[KeptFile] = relationship(foreign_keys=animation_id, lazy="joined")
    page: Mapped[KeptFile | None] = relationship(foreign_keys=page_id, lazy="joined")
    answers: Mapped[list["Answer"]] = relationship(back_populates="proof", order_by="Answer.id")


class Answer(Base):
    """The customer's word on one proof; the newest one counts."""

    __tablename__ = "answer"
    __table_args__ = (
        one_of("verdict", "approved", "change"),
        one_of("how", "e-mail", "telephone", "in person", "link"),
        {"sqlite_autoincrement": True},
    )

    proof_id: Mapped[int] = mapped_column(ForeignKey("proof.id"), index=True)
    verdict: Mapped[str] = mapped_column(String(20))
    how: Mapped[str] = mapped_column(String(20))
    given_by: Mapped[str | None] = mapped_column(String(200))
    words: Mapped[str | None] = mapped_column(Text)
    """Personal, as ``given_by``: erased with the customer."""
    hash_key: Mapped[str | None] = mapped_column(String(64), default=lambda: secrets.token_hex(32))
    at: Mapped[datetime] = mapped_column(UtcTime)
    recorded_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    """Who wrote it down; of one that came by link, who made the link."""

    proof: Mapped[Proof] = relationship(back_populates="answers")
    recorded_by: Mapped[Person] = relationship()
