"""Texts to customers, filled from what is on record; the owner may word each kind anew, in the customers' language."""

import re
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.finding import fact
from logbook.actions.jobs import materials_of
from logbook.actions.pictureneeds import needs_of
from logbook.actions.pictures import current
from logbook.actions.travellernumbers import PLAIN
from logbook.manner import Manner
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Departure, Print
from logbook.records.orders import Job
from logbook.records.people import ShopFact
from logbook.refusals import Refused

PLACES = {
    "customer": "the customer's name",
    "artwork": "what it is called",
    "order": "the order's number",
    "size": "the finished size",
    "pieces": "how many pieces",
    "pictures": "how many pictures",
    "pixels": "the least size of a picture in the print's shape, in pixels",
    "small": "the pictures that are smaller, with their sizes and those they need",
    "due": "the day on which it is due",
    "way": "how it was sent, with its number",
    "shop": "the shop's name",
}
"""What may stand between braces in a text."""

MOST_LETTERS = 4000


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of text: its title on the page, and the wording it is shipped with."""

    title: str
    shipped: str


KINDS = {
    "small": Kind(
        "A picture is too small",
        "Dear {customer},\n\nfor {artwork} ({size}, {pictures} pictures, order {order}) each picture needs at least "
        "{pixels} pixels, so that the print shows all that the lens can. These are too small, each with what "
        "it needs:\n{small}\n\n"
        "Do you have larger ones, as they came from the camera? We can also print what we have; it will look softer."
        "\n\n{shop}",
    ),
    "proof": Kind(
        "A proof to look at",
        "Dear {customer},\n\nhere is the proof of {artwork}: {size}, {pictures} pictures, {pieces} pieces "
        "(order {order}). Please look at it and tell us whether we may make it so, or what to change. "
        "We begin when we have your word."
        "\n\n{shop}",
    ),
    "collect": Kind(
        "It may be collected",
        "Dear {customer},\n\n{artwork} ({pieces} pieces, {size}, order {order}) is finished and waits for you here."
        "\n\n{shop}",
    ),
    "sent": Kind(
        "It was sent",
        "Dear {customer},\n\n{artwork} ({pieces} pieces, {size}, order {order}) is on its way to you: {way}.\n\n{shop}",
    ),
    "late": Kind(
        "It takes longer",
        "Dear {customer},\n\n{artwork} (order {order}) takes longer than we said: we had promised it for {due} and "
        "shall not be done by then. We are sorry, and write again as soon as we know the day.\n\n{shop}",
    ),
}
_ONE = re.compile(r"(?<![\d.,])(1 (?:piece|picture))s\b")
"""One is no plural, whoever worded the text."""
_PLACE = re.compile(r"\{([^{}]*)\}")


def wordings(session: Session) -> dict[str, str]:
    """The shop's wording of each kind: its own, else the shipped one."""
    return {kind: fact(session, _key(kind), one.shipped) for kind, one in KINDS.items()}


def _key(kind: str) -> str:
    return f"text {kind}"


def set_wordings(session: Session, by: Actor, values: dict[str, str]) -> None:
    """Word texts anew; an empty one goes back to the shipped wording. Only what changed is recorded."""
    standing = wordings(session)
    wanted = {kind: _checked(kind, words) for kind, words in values.items() if kind in KINDS}
    changed = {kind: words for kind, words in wanted.items() if words != standing[kind]}
    if not changed:
        return
    known = {row.key: row for row in session.execute(select(ShopFact)).scalars()}
    for kind, words in changed.items():
        if _key(kind) in known:
            known[_key(kind)].value = words
        else:
            session.add(ShopFact(key=_key(kind), value=words))
    old = {kind: standing[kind] for kind in changed}
    record(session, by, Act("texts worded", ["shop:texts"], old=old, new=changed))


def _checked(kind: str, words: str) -> str:
    words = words.replace("\r\n", "\n").strip() or KINDS[kind].shipped
    if len(words) > MOST_LETTERS:
        raise Refused(f"A text has at most {MOST_LETTERS} letters.", field=kind)
    if strange := next((place for place in _PLACE.findall(words) if place not in PLACES), None):
        known = ", ".join(f"{{{place}}}" for place in PLACES)
        raise Refused(f"Nothing is known that could stand for {{{strange}}}; there are {known}.", field=kind)
    return words


def texts_for(session: Session, job: Job, manner: Manner = PLAIN) -> dict[str, str]:
    """Every kind of text, filled with what is on record about this job."""
    facts = _facts(session, job, manner)
    return {
        kind: _ONE.sub(r"\1", _PLACE.sub(lambda place: facts.get(place[1], place[0]), words))
        for kind, words in wordings(session).items()
    }


def _facts(session: Session, job: Job, manner: Manner) -> dict[str, str]:
    order = job.order
    needs = needs_of(job, materials_of(session, job))
    small = (
        [
            f"{one.picture.original_name} ({one.picture.width_px} × {one.picture.height_px}): "
            f"{one.wanted[0]} × {one.wanted[1]} in its own shape"
            for one in needs.small
        ]
        if needs
        else []
    )
    return {
        "customer": (order.customer.name if order.customer else None) or "…",
        "artwork": job.artwork,
        "order": order.number,
        "size": f"{manner.length(job.width)} × {manner.length(job.height)}",
        "pieces": str(job.quantity),
        "pictures": str(len(current(job))),
        "pixels": " × ".join(map(str, needs.pixels)) if needs else "…",
        "small": "\n".join(f"- {one}" for one in small) or "…",
        "due": f"{order.due_on:%Y-%m-%d}" if order.due_on else "…",
        "way": _way(session, job),
        "shop": fact(session, "shop name"),
    }


def _way(session: Session, job: Job) -> str:
    """How the last piece was sent."""
    found = select(Departure).join(Print, Departure.print_id == Print.id).where(Print.job_id == job.id)
    gone = session.execute(
        found.where(Departure.how == "sent").order_by(Departure.id.desc()).limit(1)
    ).scalar_one_or_none()
    return " ".join(filter(None, (gone.carrier, gone.tracking))) or "…" if gone else "…"
