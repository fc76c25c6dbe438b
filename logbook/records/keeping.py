"""What was done so that nothing is lost: backups, restore trials, checks of the record."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.records.base import Base, Coded, UtcTime, one_of
from logbook.records.people import Person


class KeepingRun(Coded, Base):
    """One backup, one restore trial or one check: when, where, how large, good or the sentence that says why not."""

    __tablename__ = "keeping_run"
    __table_args__ = (
        one_of("kind", "backup", "trial", "check"),
        one_of("state", "waiting", "running", "done", "failed"),
        {"sqlite_autoincrement": True},
    )

    kind: Mapped[str] = mapped_column(String(20))
    state: Mapped[str] = mapped_column(String(20))
    folder: Mapped[str] = mapped_column(Text, default="")
    asked_at: Mapped[datetime] = mapped_column(UtcTime)
    asked_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    """None for what the worker does by itself, and for the command line."""
    started_at: Mapped[datetime | None] = mapped_column(UtcTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcTime)
    progress: Mapped[int] = mapped_column(default=0)
    """Whole percent."""
    size: Mapped[int | None]
    """Bytes of everything that belongs to it."""
    entries: Mapped[int | None]
    """How far the trail reached."""
    sentence: Mapped[str] = mapped_column(Text, default="")

    asked_by: Mapped[Person | None] = relationship(lazy="joined")


Index("ix_keeping_run_kind_ended", KeepingRun.kind, KeepingRun.ended_at)
