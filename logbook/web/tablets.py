"""What a bench tablet may do: it shows and records work, and never administers.

Its cookie says which place it is; who acts is whoever tapped a name there, never with more than an operator's role.
"""

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta

from flask import g
from sqlalchemy.exc import OperationalError

from logbook.actions import places
from logbook.records.opened import Shop
from logbook.records.people import Person
from logbook.records.places import Place

COOKIE = "bench-place"
RECORDS = {
    "bench.place_list", "bench.sheet", "bench.piece", "bench.sign_sheet", "bench.sign_piece", "bench.sign_several",
    "bench.rollers", "bench.left_rollers", "bench.strip", "bench.leave", "verdicts.of_print", "takeback.take_back",
    "verdicts.of_sheet",
    "onpaper.begin", "onpaper.take_over", "papercheck.take_over",
    "machines.machine", "machines.check", "machines.out_of_use",
}  # fmt: skip
"""Endpoints where a tablet's person works: as an operator."""
SHOWS = {
    "papers.go", "papers.asset", "papers.safety", "papers.first_aid", "papers.traveller", "papers.view",
    "papers.small", "papers.small_pdf", "papers.safety_pdf", "files.preview", "files.on_piece",
    "files.photo", "files.moving", "jobs.job", "runs.run", "runs.state",
    "runs.strips", "runs.eye", "runs.seen", "runs.flip", "runs.file", "files.of_job", "files.of_proof",
    "papers.issued",
    "machines.listing", "stock.lot", "pitch.on_record", "pitch.over_time", "ghosting.for_job", "ghosting.drawn",
    "align.for_job", "sharing.sheet", "align.blended", "align.fitted", "leaks.listing", "leaks.sheet",
    "leaks.sheet_file", "leaks.sheet_json", "leaks.sheet_pdf", "words.listing",
}  # fmt: skip
"""Endpoints that a tablet looks at only, with GET: as a viewer."""
OWN = {"places.begin", "places.here", "places.arrive", "places.sign_off_tablet"}
"""What a tablet asks for before anybody tapped a name."""
_TOUCH_EVERY = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Here:
    """The place at which a request comes in."""

    id: int
    code: str
    name: str
    stages: tuple[str, ...]
    pin_remembered: bool


def role_at(endpoint: str, person: Person) -> str:
    """With what role somebody works or looks there: never an owner's."""
    return "operator" if endpoint in RECORDS and person.role != "viewer" else "viewer"


def is_allowed(endpoint: str, method: str) -> bool:
    """Whether a tablet may ask for this once somebody is there."""
    return endpoint in RECORDS | OWN or (endpoint in SHOWS and method in ("GET", "HEAD"))


def come_in(shop: Shop, token: str, now: datetime) -> tuple[Here, Person | None] | None:
    """The place of a tablet's cookie and who is there; None for a cookie that is worth nothing any more."""
    with shop.database.reading() as session:
        place = places.of_token(session, token, now)
        if place is None:
            return None
        person = places.person_at(place, now)
        here = Here(place.id, place.code, place.name, tuple(place.stages.split()), places.remembers_pin(place, now))
        stale = place.seen_at is None or now - place.seen_at > _TOUCH_EVERY
        known = place.id
    if stale and person is not None:
        # a folder that takes no writes still shows its pages
        with suppress(OperationalError), shop.database.writing() as session:
            session.get_one(Place, known).seen_at = now
    return here, person


def place() -> Here | None:
    """The place of this request; None at a desk."""
    here: Here | None = g.get("place")
    return here
