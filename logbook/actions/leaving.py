"""After inspection: verdicts on what did not pass, and the way out of the door."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import bench, doubts, sheets
from logbook.actions.bench import failed_inspection
from logbook.actions.finding import ref
from logbook.actions.orders import close_if_done, hashed
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import CustomersWord, Departure, Print, Verdict
from logbook.refusals import Refused
from logbook.rules.defects import CAUSES
from logbook.rules.findings import settle
from logbook.rules.gates import may_leave
from logbook.rules.stages import BONDED, expect, next_stage

VERDICTS = ("rework", "concession", "replace", "scrap")
WAYS_OUT = ("collected", "sent", "kept")


def verdicts_on(session: Session, piece: Print) -> list[Verdict]:
    """Everything that was decided about a print, oldest first."""
    return list(session.execute(select(Verdict).where(Verdict.print_id == piece.id).order_by(Verdict.id)).scalars())


def decide(
    session: Session, by: Actor, *, piece: Print, kind: str, reason: str, cause: str = "", word: str = ""
) -> None:
    """Rework, concession, replace or scrap; a concession is the owner's word. ``cause``: see ``rules.defects``.

    ``word`` is what the customer said to a concession; it can be erased, the trail keeps its keyed hash.
    """
    if not reason.strip():
        raise Refused("Write down why, in one line.", field="reason")
    if piece.stage in ("gone", "scrapped"):
        raise Refused(f"{piece.serial} has left the bench; nothing can be decided about it any more.")
    _check(session, by, piece, kind)
    if cause and cause not in CAUSES:
        raise Refused(f"{cause!r} is no cause on the list.", field="cause")
    made_now = Verdict(
        print_id=piece.id, kind=kind, reason=reason.strip(), cause=cause, person_id=by.person_id, at=by.now
    )
    session.add(made_now)
    said = _customers_word(made_now, piece, kind, word)
    new = sheets.replace_print(session, by, piece=piece) if kind == "replace" else None
    if kind == "concession":
        piece.stage = next_stage("inspect")
    elif kind in ("scrap", "replace"):
        _scrap(piece)
        session.flush()
        close_if_done(session, by, piece.job)  # what was left over may have been all that kept it open
    touched = [ref(piece), ref(piece.sheet), ref(piece.job)]
    made = [*([ref(new)] if new else []), *(ref(fresh) for fresh in (new.prints if new else []))]
    meaning = {"concession": "approved", "rework": "checked"}.get(kind, "rejected")
    told = {**({"cause": cause} if cause else {}), **said}
    record(session, by, Act(f"verdict: {kind}", [*touched, *made], new=told, reason=reason.strip(), meaning=meaning))


def _customers_word(made: Verdict, piece: Print, kind: str, word: str) -> dict[str, str]:
    """Keep what the customer said to a concession; as the trail holds it."""
    customer = piece.job.order.customer
    if not word.strip():
        return {}
    if kind != "concession" or customer is None:
        raise Refused("The customer's word belongs to a print that goes to a customer as it is.", field="word")
    made.word = CustomersWord(words=word.strip())
    return hashed(customer, word=word.strip())


def _check(session: Session, by: Actor, piece: Print, kind: str) -> None:
    if kind not in VERDICTS:
        raise Refused(f"{kind!r} is no verdict.", field="kind")
    if kind == "concession" and by.role != "owner":
        raise Refused("A concession is the owner's decision; ask the owner to sign in and record it.", field="kind")
    if kind in ("concession", "rework") and failed_inspection(session, piece) is None:
        raise Refused(f"{piece.serial} has no failed inspection to decide about.", field="kind")
    if kind == "rework" and piece.sheet.stage not in BONDED:
        raise Refused("This sheet is not bonded yet; go on with its stage.", field="kind")


def _scrap(piece: Print) -> None:
    piece.stage = "scrapped"
    if all(other.stage == "scrapped" for other in piece.sheet.prints) and piece.sheet.stage != "parted":
        piece.sheet.stage = "scrapped"


def put_back(session: Session, by: Actor, *, piece: Print, reason: str, lifted: str = "") -> None:
    """One reason that held a print is settled, and the owner says why; it goes on when none is left.

    ``lifted``: the reason as it stands on the print; may be left out where there is only one.
    """
    if piece.set_aside_reason is None:
        raise Refused(f"{piece.serial} is not set aside.")
    if by.role != "owner":
        raise Refused("Putting back what was set aside is the owner's decision.")
    if not reason.strip():
        raise Refused("Write down why it may go on.", field="reason")
    settled = doubts.lift(piece, lifted)
    old, new = {"set aside": settled}, {"still set aside": piece.set_aside_reason or ""}
    touched = [ref(piece), ref(piece.job)]
    record(session, by, Act("put back", touched, old=old, new=new, reason=reason.strip(), meaning="approved"))


@dataclass(frozen=True, slots=True)
class WayOut:
    """How a print leaves; reasons as on a signature.

    ``as_order`` False: a sample, or a piece that stays in the shop.
    """

    how: str
    on: date
    carrier: str = ""
    tracking: str = ""
    reason: str = ""
    as_order: bool = True
    reasons: Mapping[str, str] = field(default_factory=dict)


def leave(session: Session, by: Actor, *, piece: Print, way: WayOut, values: dict[str, str]) -> Departure:
    """Packed and out of the door: sent, collected, or kept in the shop."""
    expect(piece.stage, "pack", who=piece.serial)
    if way.how not in WAYS_OUT:
        raise Refused("Say whether it was sent, collected or kept.", field="how")
    conceded = any(verdict.kind == "concession" for verdict in verdicts_on(session, piece))
    settle(
        may_leave(
            serial=piece.serial,
            sample=piece.sample,
            for_order=way.as_order and way.how != "kept",
            set_aside=piece.set_aside_reason,
            failed=failed_inspection(session, piece) is not None,
            conceded=conceded,
        ),
        reason=None,
    )
    bench.sign_out(
        session,
        by,
        piece=piece,
        signature=bench.Signature(
            values=values,
            reason=way.reason,
            reasons=way.reasons,
            more={
                "how": way.how,
                "carrier": way.carrier.strip(),
                "tracking": way.tracking.strip(),
                "on": way.on.isoformat(),
                "as order": way.as_order,
            },
        ),
    )
    gone = Departure(
        print_id=piece.id,
        how=way.how,
        carrier=way.carrier.strip(),
        tracking=way.tracking.strip(),
        on=way.on,
        at=by.now,
        person_id=by.person_id,
    )
    session.add(gone)
    session.flush()
    close_if_done(session, by, piece.job)
    return gone
