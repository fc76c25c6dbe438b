"""Machines, printer modes, daily checks, authorisations and roller sessions."""

from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import ColumnElement, ForeignKey, Index, String, Text, func
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.lengths import Length
from logbook.records.base import Base, Coded, DecimalText, LengthText, UtcTime, one_of
from logbook.records.people import Person

MACHINE_KINDS = ("printer", "laminator", "trimmer")
DRIVES = ("powered", "hand")


class Machine(Coded, Base):
    """A printer, laminator or trimmer. Text fields that the rules call mandatory may be empty: its steps then wait."""

    __tablename__ = "machine"
    __table_args__ = (one_of("kind", *MACHINE_KINDS), one_of("drive", *DRIVES), {"sqlite_autoincrement": True})

    kind: Mapped[str] = mapped_column(String(20), index=True)
    name: Mapped[str] = mapped_column(String(120), unique=True)
    drive: Mapped[str] = mapped_column(String(20), default="powered")
    heated: Mapped[bool] = mapped_column(default=False)
    cutting: Mapped[str] = mapped_column(String(20), default="")
    """Trimmers: knife, rotary, guillotine or lever."""
    widest: Mapped[Length | None] = mapped_column(LengthText)
    manual: Mapped[str] = mapped_column(Text, default="")
    freeing_procedure: Mapped[str] = mapped_column(Text, default="")
    stop_position: Mapped[str] = mapped_column(Text, default="")
    isolator: Mapped[str] = mapped_column(Text, default="")
    competent_role: Mapped[str] = mapped_column(Text, default="")
    last_inspection: Mapped[str] = mapped_column(String(80), default="")
    prints_with: Mapped[str] = mapped_column(String(200), default="", server_default="")
    """Printers: ink or toner."""
    native_dpi: Mapped[str] = mapped_column(String(80), default="", server_default="")
    """Printers: the dots per inch that the driver takes without making them anew, as typed: 720 or 360, 720."""
    scaling_off: Mapped[str] = mapped_column(Text, default="", server_default="")
    """Printers: where scaling, fitting and sharpening are switched off."""
    dry_hours: Mapped[Decimal | None] = mapped_column(DecimalText)
    """Printers: how long its prints dry, whatever the paper; the longer of the two counts."""
    out_of_use_reason: Mapped[str | None] = mapped_column(Text)

    modes: Mapped[list["PrinterMode"]] = relationship(back_populates="machine", order_by="PrinterMode.id")
    checks: Mapped[list["MachineCheck"]] = relationship(order_by="MachineCheck.at, MachineCheck.id")


class PrinterMode(Coded, Base):
    """How a printer is driven: dots per inch on both axes, driver and profile. Another mode is another pitch."""

    __tablename__ = "printer_mode"

    machine_id: Mapped[int] = mapped_column(ForeignKey("machine.id"), index=True)
    name: Mapped[str] = mapped_column(String(120))
    dpi_across: Mapped[str] = mapped_column(String(40))
    """Exact: decimal or fraction text, for example 720 or 9054/25."""
    dpi_down: Mapped[str] = mapped_column(String(40))

    machine: Mapped[Machine] = relationship(back_populates="modes", lazy="joined")


class MachineCheck(Base):
    """The daily check of one machine: every question answered, by whom, when."""

    __tablename__ = "machine_check"
    # in this order: whether a machine may run is asked of its newest check all day
    __table_args__ = (
        Index("ix_machine_check_machine_id_at_id", "machine_id", "at", "id"),
        {"sqlite_autoincrement": True},
    )

    machine_id: Mapped[int] = mapped_column(ForeignKey("machine.id"))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime] = mapped_column(UtcTime)
    answers: Mapped[str] = mapped_column(Text)
    """JSON: question to yes or no."""
    passed: Mapped[bool]
    entered_by: Mapped[str] = mapped_column(String(120), default="", server_default="")
    """Whoever took it over from paper; empty where it was answered on screen."""
    page_sha256: Mapped[str] = mapped_column(String(64), default="", server_default="")
    """The photograph of its page."""

    person: Mapped[Person] = relationship()
    withdrawal: Mapped["CheckWithdrawal | None"] = relationship(back_populates="check", lazy="joined")


class CheckWithdrawal(Base):
    """A check that was passed and turned out wrong; the row itself stays."""

    __tablename__ = "check_withdrawal"

    check_id: Mapped[int] = mapped_column(ForeignKey("machine_check.id"), unique=True)
    at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    reason: Mapped[str] = mapped_column(Text)

    check: Mapped[MachineCheck] = relationship(back_populates="withdrawal")
    person: Mapped[Person] = relationship()


class MachineEvent(Base):
    """History: repair, service, head change, driver change, out of use, back into use."""

    __tablename__ = "machine_event"

    machine_id: Mapped[int] = mapped_column(ForeignKey("machine.id"), index=True)
    at: Mapped[datetime] = mapped_column(UtcTime)
    """When it was noted."""
    happened_at: Mapped[datetime | None] = mapped_column(UtcTime)
    """When it happened; None: when it was noted."""
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    what: Mapped[str] = mapped_column(String(40))
    note: Mapped[str] = mapped_column(Text, default="")
    new_scale: Mapped[bool] = mapped_column(default=False)
    """Whether pitches that were found before this event are in question: asked about, or ended."""
    ends_pitches: Mapped[bool] = mapped_column(default=False, server_default="0")
    """Whether they serve no more."""
    mode_code: Mapped[str] = mapped_column(String(8), default="", server_default="")
    """Of a printer: the one mode that it concerns; empty for all of them."""

    person: Mapped[Person] = relationship()

    @property
    def came_at(self) -> datetime:
        """When it happened."""
        return self.happened_at or self.at


def event_came_at() -> ColumnElement[datetime]:
    """The same in a query."""
    return func.coalesce(MachineEvent.happened_at, MachineEvent.at)


class Authorisation(Base):
    """Who may work at which machine, until when, and who said so."""

    __tablename__ = "authorisation"

    machine_id: Mapped[int] = mapped_column(ForeignKey("machine.id"), index=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    given_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    given_at: Mapped[datetime] = mapped_column(UtcTime)
    until: Mapped[date]
    minor_document: Mapped[str] = mapped_column(Text, default="")
    """Under 18: the document that allows it (powered), or the shop's written risk assessment (hand-driven)."""
    minor_issuer: Mapped[str] = mapped_column(String(200), default="")
    minor_adult: Mapped[str] = mapped_column(String(120), default="")
    """Under 18: who supervises."""
    withdrawn_at: Mapped[datetime | None] = mapped_column(UtcTime)

    machine: Mapped[Machine] = relationship(lazy="joined")
    person: Mapped[Person] = relationship(foreign_keys=person_id, lazy="joined")
    given_by: Mapped[Person] = relationship(foreign_keys=given_by_id, lazy="joined")


class RollerSession(Coded, Base):
    """One stretch of work at a laminator: the safety ticks were asked once for it, of these people."""

    __tablename__ = "roller_session"

    machine_id: Mapped[int] = mapped_column(ForeignKey("machine.id"), index=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    helper_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    alone_with: Mapped[str] = mapped_column(Text, default="")
    """When alone: who calls, and when, as agreed."""
    started_at: Mapped[datetime] = mapped_column(UtcTime)
    last_used_at: Mapped[datetime] = mapped_column(UtcTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcTime)
    ticks: Mapped[str] = mapped_column(Text)
    """JSON: safety step key to the time it was ticked."""

    machine: Mapped[Machine] = relationship(lazy="joined")
    person: Mapped[Person] = relationship(foreign_keys=person_id, lazy="joined")
    helper: Mapped[Person | None] = relationship(foreign_keys=helper_id, lazy="joined")
