"""Places: the bench tablets of a shop, each enrolled by the owner with a code that serves once."""

import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.people import token_hash
from logbook.records.audit import Act, Actor, record
from logbook.records.base import CODE_ALPHABET
from logbook.records.people import Person
from logbook.records.places import Place
from logbook.refusals import Refused
from logbook.rules.stages import PRINT_WAY, SHEET_WAY

STAGES = (*SHEET_WAY[:-1], *PRINT_WAY[1:-1])
ENROLLED_FOR = timedelta(days=30)
CODE_SERVES = timedelta(minutes=15)
CODE_LENGTH = 12
PIN_REMEMBERED = timedelta(minutes=10)
GONE_HOME = timedelta(hours=12)
"""A tablet that nobody touched for so long asks anew who is there."""


def living(session: Session) -> list[Place]:
    """Every place that was not removed, by name."""
    return list(session.execute(select(Place).where(Place.removed_at.is_(None)).order_by(Place.name)).scalars())


def new_place(session: Session, by: Actor, *, name: str, stages: Sequence[str]) -> Place:
    """A place with its name and the stages that are worked on there; it has no tablet yet."""
    name = " ".join(name.split())
    if not name:
        raise Refused("Give the place a name, as people call it.", field="name")
    if any(place.name.casefold() == name.casefold() for place in living(session)):
        raise Refused(f"There is a place called {name} already; give this one another name.", field="name")
    chosen = [stage for stage in STAGES if stage in stages]
    if not chosen:
        raise Refused("Choose at least one stage that is worked on there.", field="stages")
    place = Place(name=name, stages=" ".join(chosen), made_at=by.now, made_by_id=by.person_id)
    session.add(place)
    session.flush()
    record(session, by, Act("place made", [ref(place)], new={"name": name, "stages": chosen}))
    return place


def new_code(session: Session, by: Actor, *, place: Place) -> str:
    """The code with which one tablet enrols within a quarter of an hour; only its hash is kept."""
    _expect_living(place)
    code = "".join(secrets.choice(CODE_ALPHABET) for _ in range(CODE_LENGTH))
    place.enrol_hash, place.enrol_until = token_hash(code), by.now + CODE_SERVES
    record(session, by, Act("enrolment code made", [ref(place)]))
    return code


def of_code(session: Session, code: str, now: datetime) -> Place | None:
    """The place that a code enrols for; None where it was used, is too old or never was."""
    wanted = Place.enrol_hash == token_hash(code.upper())
    place = session.execute(select(Place).where(wanted, Place.removed_at.is_(None))).scalar_one_or_none()
    return place if place is not None and place.enrol_until is not None and now <= place.enrol_until else None


def enrol(session: Session, by: Actor, *, code: str) -> str:
    """Use a code up; returns the token for the tablet's cookie. A tablet that stood here before is out."""
    place = of_code(session, code, by.now)
    if place is None:
        raise Refused("This code serves no more: the owner makes a new one on the page of bench tablets.")
    token = secrets.token_urlsafe(32)
    place.enrol_hash, place.enrol_until = None, None
    place.token_hash, place.enrolled_at, place.seen_at = token_hash(token), by.now, by.now
    place.person_id, place.pin_at = None, None
    record(session, by, Act("tablet enrolled", [ref(place)], new={"name": place.name}))
    return token


def revoke(session: Session, by: Actor, *, place: Place) -> None:
    """The tablet of a place is out from now on."""
    if place.token_hash is None and place.enrol_hash is None:
        raise Refused(f"No tablet is enrolled for {place.name}; there is none to send away.")
    _end(place)
    record(session, by, Act("tablet sent away", [ref(place)]))


def remove(session: Session, by: Actor, *, place: Place) -> None:
    """A place that is no more; its tablet is out, what was signed there keeps its name."""
    _expect_living(place)
    _end(place)
    place.removed_at = by.now
    record(session, by, Act("place removed", [ref(place)], old={"name": place.name}))


def _expect_living(place: Place) -> None:
    if place.removed_at is not None:
        raise Refused(f"{place.name} was removed; the owner can add a new place.")


def _end(place: Place) -> None:
    place.token_hash, place.enrol_hash, place.enrol_until = None, None, None
    place.person_id, place.pin_at = None, None


def of_token(session: Session, token: str, now: datetime) -> Place | None:
    """The place of a tablet's cookie; None once it is thirty days old or was sent away."""
    place = session.execute(select(Place).where(Place.token_hash == token_hash(token))).scalar_one_or_none()
    return place if place is not None and place.enrolled_at and now - place.enrolled_at <= ENROLLED_FOR else None


def person_at(place: Place, now: datetime) -> Person | None:
    """Who works at this tablet: the last one who tapped his name, unless gone for long or from the shop."""
    person = place.person
    if person is None or not person.active or person.role == "viewer" or place.seen_at is None:
        return None
    return person if now - place.seen_at <= GONE_HOME else None


def choose_person(place: Place, person: Person, now: datetime) -> None:
    """One tap on a name. What was remembered of a PIN ends with it."""
    if not person.active or person.role == "viewer":
        raise Refused(f"{person.name} does not sign work; choose another name.")
    place.person_id, place.pin_at, place.seen_at = person.id, None, now


def remembers_pin(place: Place, now: datetime) -> bool:
    """Whether the person here gave the PIN at this tablet within the last ten minutes."""
    return place.pin_at is not None and timedelta(0) <= now - place.pin_at <= PIN_REMEMBERED
