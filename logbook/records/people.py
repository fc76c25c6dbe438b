"""People, sign-ins, throttling, and the shop's own facts."""

from datetime import date, datetime

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.records.base import Base, Coded, UtcTime, one_of

ROLES = ("owner", "operator", "viewer")


class Person(Coded, Base):
    """Someone who works here. Under 18 is kept as a date until which it holds, never a birth date."""

    __tablename__ = "person"
    __table_args__ = (one_of("role", *ROLES), {"sqlite_autoincrement": True})

    name: Mapped[str] = mapped_column(String(120), unique=True)
    initials: Mapped[str] = mapped_column(String(8))
    role: Mapped[str] = mapped_column(String(20))
    password_hash: Mapped[str] = mapped_column(String(200))
    under_18_until: Mapped[date | None]
    units: Mapped[str] = mapped_column(String(4), default="mm")
    decimal_mark: Mapped[str | None] = mapped_column(String(1))
    """None: nobody chose one, which is a point."""
    active: Mapped[bool] = mapped_column(default=True)


class SignIn(Base):
    """One signed-in browser; only the hash of its token is kept."""

    __tablename__ = "sign_in"

    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    started_at: Mapped[datetime] = mapped_column(UtcTime)
    seen_at: Mapped[datetime] = mapped_column(UtcTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcTime)

    person: Mapped[Person] = relationship(lazy="joined")


class Throttle(Base):
    """Failed sign-ins of one name or address; it slows down, it never locks for good."""

    __tablename__ = "throttle"

    key: Mapped[str] = mapped_column(String(80), unique=True)
    failures: Mapped[int] = mapped_column(default=0)
    blocked_until: Mapped[datetime] = mapped_column(UtcTime)


class RuleStrength(Base):
    """The owner's choice of note or ask for one rule; a stop is never chosen, a safety stop never lowered."""

    __tablename__ = "rule_strength"
    __table_args__ = (one_of("strength", "note", "ask"), {"sqlite_autoincrement": True})

    rule: Mapped[str] = mapped_column(String(60), unique=True)
    strength: Mapped[str] = mapped_column(String(10))
    chosen_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    chosen_at: Mapped[datetime] = mapped_column(UtcTime)


class ShopFact(Base):
    """One fact of the shop: its name, where interlaced files are laid, its emergency number."""

    __tablename__ = "shop_fact"

    key: Mapped[str] = mapped_column(String(60), unique=True)
    value: Mapped[str] = mapped_column(Text)
