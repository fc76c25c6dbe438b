"""Bench tablets as places, and the PINs of the people who sign at them."""

from datetime import datetime

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.records.base import Base, Coded, UtcTime
from logbook.records.people import Person


class Place(Coded, Base):
    """A spot at the bench with a tablet of its own; of its one-time code and of its cookie only hashes are kept."""

    __tablename__ = "place"

    name: Mapped[str] = mapped_column(String(60))
    stages: Mapped[str] = mapped_column(Text, default="")
    """Keys of the stages that are worked on here, with blanks between."""
    made_at: Mapped[datetime] = mapped_column(UtcTime)
    made_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    removed_at: Mapped[datetime | None] = mapped_column(UtcTime)
    enrol_hash: Mapped[str | None] = mapped_column(String(64), unique=True)
    enrol_until: Mapped[datetime | None] = mapped_column(UtcTime)
    token_hash: Mapped[str | None] = mapped_column(String(64), unique=True)
    enrolled_at: Mapped[datetime | None] = mapped_column(UtcTime)
    seen_at: Mapped[datetime | None] = mapped_column(UtcTime)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    """Who tapped his name here last."""
    pin_at: Mapped[datetime | None] = mapped_column(UtcTime)
    """When that person gave the PIN here; None after another tap on a name."""

    person: Mapped[Person | None] = relationship(foreign_keys=person_id, lazy="joined")


class Pin(Base):
    """A person's PIN, as an Argon2id hash."""

    __tablename__ = "pin"

    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), unique=True)
    pin_hash: Mapped[str] = mapped_column(String(200))
    set_at: Mapped[datetime] = mapped_column(UtcTime)
