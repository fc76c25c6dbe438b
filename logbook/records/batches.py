"""Travellers of all open jobs, written in one go: how far that is, and which travellers came of it."""

from datetime import datetime

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.records.base import Base, Coded, UtcTime, one_of
from logbook.records.people import Person


class TravellerBatch(Coded, Base):
    """One wish for every open job's traveller. The PDF of all is joined from the kept ones when it is fetched."""

    __tablename__ = "traveller_batch"
    __table_args__ = (
        one_of("state", "waiting", "running", "done", "stopped", "failed"),
        {"sqlite_autoincrement": True},
    )

    state: Mapped[str] = mapped_column(String(20))
    page: Mapped[str] = mapped_column(String(20))
    address: Mapped[str] = mapped_column(Text)
    """What the QR codes open."""
    asked_at: Mapped[datetime] = mapped_column(UtcTime)
    asked_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    started_at: Mapped[datetime | None] = mapped_column(UtcTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcTime)
    progress: Mapped[int] = mapped_column(default=0)
    """Whole percent."""
    issues: Mapped[str] = mapped_column(Text, default="[]")
    """Row ids of the travellers that were written, JSON, in due order."""
    sentence: Mapped[str] = mapped_column(Text, default="")

    asked_by: Mapped[Person] = relationship(lazy="joined")
