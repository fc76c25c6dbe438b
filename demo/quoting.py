"""The demo's quotes: one is out, one ran out, one was declined, one became an order."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session
from workshop import OWNER, Diary, lot, mode

from logbook.actions import quotes
from logbook.actions.materials import material_named
from logbook.lengths import parse_length
from logbook.records.audit import Actor
from logbook.records.orders import Customer
from logbook.records.quotes import Quote

GIVEN = (
    ("Harbour Trust", "Harbour, six steps", 6, "R60-0912", Decimal(95), 25, 4),
    ("Old Mill Hotel", "Mill wheel", 12, "R20-4471", Decimal(240), 12, 20),
    ("Nils Okafor", "Kite for the stair", 1, "R20-4471", Decimal(45), 20, 15),
    ("Orchard School", "Fox, seasons", 4, "R60-0912", Decimal(110), 24, 6),
)
"""Customer, artwork, pieces, lens lot, minutes, days until it runs out, days ago that it was given."""


def quoted(diary: Diary) -> None:
    """Give the quotes and let two customers answer."""
    for told in GIVEN:
        diary.act(diary.now - timedelta(days=told[6]), OWNER, lambda session, by, told=told: _give(session, by, *told))
    diary.act(diary.now - timedelta(days=9), OWNER, lambda session, by: _decline(session, by, "Nils Okafor"))
    diary.act(diary.now - timedelta(hours=4), OWNER, lambda session, by: _accept(session, by, diary))


def _give(
    session: Session,
    by: Actor,
    customer: str,
    artwork: str,
    pieces: int,
    lens: str,
    minutes: Decimal,
    days: int,
    _: int,
) -> None:
    line = quotes.LineWish(
        artwork=artwork,
        width=parse_length("120mm"),
        height=parse_length("90mm"),
        flip="left-right",
        quantity=pieces,
        lens_lot=lot(session, lens),
        minutes=minutes,
    )
    until = (by.now + timedelta(days=days)).date()
    quotes.give_quote(
        session, by, customer_name=customer, valid_until=until, line=line, hourly_rate=quotes.usual_rate(session)
    )


def _quote(session: Session, customer: str) -> Quote:
    return session.execute(select(Quote).join(Customer).where(Customer.name == customer)).scalar_one()


def _decline(session: Session, by: Actor, customer: str) -> None:
    quotes.decline(session, by, quote=_quote(session, customer))


def _accept(session: Session, by: Actor, diary: Diary) -> Any:
    more = quotes.Acceptance(
        due_on=(by.now + timedelta(days=21)).date(), mode=mode(session), paper=material_named(session, "satin 260")
    )
    own = diary.shop.settings.own_safety_path
    return quotes.accept_quote(session, by, own, quote=_quote(session, "Orchard School"), more=more)
