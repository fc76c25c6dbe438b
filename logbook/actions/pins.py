"""PINs: what somebody types at a shared tablet to show that it is really him who signs."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import people
from logbook.actions.finding import ref
from logbook.records.audit import Act, Actor, record
from logbook.records.people import Person, Throttle
from logbook.records.places import Pin, Place
from logbook.refusals import Refused

LEAST, MOST = 4, 8
_DIGITS = "01234567890123456789"


def has_pin(session: Session, person: Person) -> bool:
    """Whether this person has a PIN."""
    return _of(session, person) is not None


def with_pins(session: Session) -> set[int]:
    """The row ids of everybody who has a PIN."""
    return set(session.execute(select(Pin.person_id)).scalars())


def _of(session: Session, person: Person) -> Pin | None:
    return session.execute(select(Pin).where(Pin.person_id == person.id)).scalar_one_or_none()


def set_pin(session: Session, by: Actor, *, person: Person, pin: str) -> None:
    """A new PIN; Refused, naming the field, for what is none or what anybody would try first."""
    if by.person_id != person.id:
        raise Refused("A PIN is chosen by its own person; an owner can only take it away.", field="pin")
    check_choice(pin)
    row = _of(session, person)
    if row is None:
        row = Pin(person_id=person.id)
        session.add(row)
    row.pin_hash, row.set_at = people.hashed(pin), by.now
    forget_failures(session, person, by.now)
    record(session, by, Act("PIN chosen", [ref(person)]))


def check_choice(pin: str) -> None:
    """Refuse what is no PIN, and the ones that stand at the top of every guesser's list."""
    if not (pin.isascii() and pin.isdigit() and LEAST <= len(pin) <= MOST):
        raise Refused(f"A PIN has {LEAST} to {MOST} digits and nothing else.", field="pin")
    run = pin in _DIGITS or pin[::-1] in _DIGITS
    repeated = pin == pin[0] * len(pin) or pin == (pin[:2] * MOST)[: len(pin)]
    year = len(pin) == LEAST and pin[:2] in ("19", "20")
    if run or repeated or year:
        raise Refused("That PIN is among the first that anybody would try; take another.", field="pin")


def take_pin_away(session: Session, by: Actor, *, person: Person) -> None:
    """The owner resets a PIN: its person chooses a new one. What was remembered at tablets ends, too."""
    if not has_pin(session, person):
        raise Refused(f"{person.name} has no PIN that could be taken away.")
    record(session, by, Act("PIN taken away", [ref(person), *end_pin(session, by, person=person)]))


def end_pin(session: Session, by: Actor, *, person: Person) -> list[str]:
    """No PIN any more, and nothing remembered of it; part of taking it away and of somebody's going.

    Returns how the trail names the tablets at which the person stood.
    """
    if (row := _of(session, person)) is not None:
        session.delete(row)
    stood_at = list(session.execute(select(Place).where(Place.person_id == person.id)).scalars())
    for place in stood_at:
        place.person_id, place.pin_at = None, None
    forget_failures(session, person, by.now)
    return [ref(place) for place in stood_at]


def key_of(person: Person) -> str:
    """Under which name failed tries at somebody's PIN are counted."""
    return f"pin:{person.code}"


def verify(session: Session, *, person: Person, pin: str) -> bool:
    """Whether this is the person's PIN."""
    row = _of(session, person)
    return row is not None and people.matches(row.pin_hash, pin)


def forget_failures(session: Session, person: Person, now: datetime) -> None:
    """A right PIN ends what was counted against wrong ones."""
    for row in session.execute(select(Throttle).where(Throttle.key == key_of(person))).scalars():
        row.failures, row.blocked_until = 0, now
