"""Lists from elsewhere on their way in: how far that is, and what came of it."""

from datetime import datetime

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.records.base import Base, Coded, UtcTime, one_of
from logbook.records.people import Person


class Arrival(Coded, Base):
    """One list that the worker takes in, a few lines at a time."""

    __tablename__ = "arrival"
    __table_args__ = (
        one_of("state", "waiting", "running", "done", "stopped", "failed"),
        {"sqlite_autoincrement": True},
    )

    what: Mapped[str] = mapped_column(String(20))
    """customers or stock."""
    text: Mapped[str] = mapped_column(Text)
    """The list itself; empty as soon as it has ended, since it names people."""
    seen: Mapped[str] = mapped_column(String(64))
    """The sum over what was shown of it."""
    lines: Mapped[int]
    reached: Mapped[int] = mapped_column(default=0)
    """How many of its lines are behind it."""
    taken: Mapped[int] = mapped_column(default=0)
    """How many of them did something; the others were here already."""
    state: Mapped[str] = mapped_column(String(20))
    asked_at: Mapped[datetime] = mapped_column(UtcTime)
    asked_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    started_at: Mapped[datetime | None] = mapped_column(UtcTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcTime)
    sentence: Mapped[str] = mapped_column(Text, default="")

    asked_by: Mapped[Person] = relationship(lazy="joined")

    @property
    def progress(self) -> int:
        """Whole percent."""
        return 100 * self.reached // self.lines
