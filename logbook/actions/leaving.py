"""After inspection: verdicts on what did not pass, and the way out of the door."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session, lazyload

from logbook.actions import bench, doubts, sheets, writtenoff
from logbook.actions.benchfindings import failed_inspection
from logbook.actions.finding import ref
from logbook.actions.orders import close_if_done, hashed
from logbook.actions.pictures import Intake
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore, keep
from logbook.records.floor import CustomersWord, Departure, Print, Sheet, Verdict
from logbook.refusals import Refused
from logbook.rules.defects import CAUSES
from logbook.rules.findings import settle
from logbook.rules.gates import may_leave
from logbook.rules.reasons import needed as reason_needed
from logbook.rules.stages import BONDED, expect, next_stage

VERDICTS = ("rework", "concession", "replace", "scrap")
WAYS_OUT = ("collected", "sent", "kept")


def verdicts_on(session: Session, piece: Print) -> list[Verdict]:
    """Everything that was decided about a print, oldest first."""
    return list(session.execute(select(Verdict).where(Verdict.print_id == piece.id).order_by(Verdict.id)).scalars())


def replacement_of(session: Session, piece: Print) -> Print | None:
    """The print that was made in place of a lost one."""
    mine = select(Print).where(Print.job_id == piece.job_id, Print.replaces_id == piece.id)
    return session.execute(mine.limit(1).options(lazyload("*"))).scalar_one_or_none()


@dataclass(frozen=True, slots=True)
class Defect:
    """What was wrong: the code of its cause (see ``rules.defects``), and a photograph that is kept with the verdict."""

    cause: str = ""
    photo: Intake | None = None
    store: FileStore | None = None


def decide(
    session: Session,
    by: Actor,
    *,
    piece: Print,
    kind: str,
    reason: str,
    cause: str = "",
    word: str = "",
    defect: Defect | None = None,
) -> None:
    """Rework, concession, replace or scrap; a concession is the owner's word. ``cause`` alone stands for a defect.

    ``word`` is what the customer said to a concession; it can be erased, the trail keeps its keyed hash.
    """
    _decide(session, by, [piece], kind=kind, reason=reason, defect=defect or Defect(cause), word=word)


def decide_sheet(
    session: Session, by: Actor, *, sheet: Sheet, kind: str, reason: str, defect: Defect = Defect()
) -> None:
    """A sheet is spoiled before it was cut apart: everything on it is scrapped, or replaced by one new sheet."""
    if sheet.stage in ("parted", "scrapped"):
        raise Refused(f"Sheet {sheet.number} is {sheet.stage}; decide on the pages of its prints.")
    if kind not in ("scrap", "replace"):
        raise Refused("A whole sheet can be scrapped or replaced; the rest is decided at the inspection.", field="kind")
    pieces = [piece for piece in sheet.prints if piece.stage != "scrapped"]
    _decide(session, by, pieces, kind=kind, reason=reason, defect=defect, word="")


def _decide(
    session: Session, by: Actor, pieces: list[Print], *, kind: str, reason: str, defect: Defect, word: str
) -> None:
    _check_words(pieces, reason, defect)
    for piece in pieces:
        _check(session, by, piece, kind)
    lost = kind in ("scrap", "replace")
    off = {piece.id: writtenoff.of(session, piece) if lost else {} for piece in pieces}
    made = [_verdict(session, by, piece, kind, reason, defect, off[piece.id]) for piece in pieces]
    said = _customers_word(made[0], pieces[0], kind, word)
    files = _keep_photo(session, by, defect)
    new = sheets.replace_prints(session, by, pieces=pieces) if kind == "replace" else None
    _carry_out(session, by, pieces, kind)
    touched = [*map(ref, pieces), ref(pieces[0].sheet), *dict.fromkeys(ref(piece.job) for piece in pieces)]
    fresh = [ref(new), *map(ref, new.prints)] if new else []
    told: dict[str, object] = {**({"cause": defect.cause} if defect.cause else {}), **said}
    if lost:
        told["written off"] = {piece.serial: writtenoff.words(off[piece.id]) for piece in pieces}
    meaning = {"concession": "approved", "rework": "checked"}.get(kind, "rejected")
    act = Act(f"verdict: {kind}", [*touched, *fresh], new=told, reason=reason.strip(), meaning=meaning, files=files)
    record(session, by, act)


def _check_words(pieces: list[Print], reason: str, defect: Defect) -> None:
    reason_needed(reason, "Write down why, in one line.")
    for piece in pieces:
        if piece.stage in ("gone", "scrapped"):
            raise Refused(f"{piece.serial} has left the bench; nothing can be decided about it any more.")
    if defect.cause and defect.cause not in CAUSES:
        raise Refused(f"{defect.cause!r} is no cause on the list; choose one that is.", field="cause")


def _verdict(
    session: Session, by: Actor, piece: Print, kind: str, reason: str, defect: Defect, off: Mapping[str, str | None]
) -> Verdict:
    made = Verdict(
        print_id=piece.id,
        kind=kind,
        reason=reason.strip(),
        cause=defect.cause,
        photo_sha256=defect.photo.sha256 if defect.photo else "",
        written_off=json.dumps(off) if off else "",
        person_id=by.person_id,
        at=by.now,
    )
    session.add(made)
    return made


def _keep_photo(session: Session, by: Actor, defect: Defect) -> list[str]:
    if defect.photo is None:
        return []
    assert defect.store is not None
    sha256, size = defect.store.adopt(defect.photo.waiting)
    keep(session, sha256=sha256, size=size, media_type=defect.photo.media_type, kind="record", now=by.now)
    return [sha256]


def _carry_out(session: Session, by: Actor, pieces: list[Print], kind: str) -> None:
    if kind == "concession":
        pieces[0].stage = next_stage("inspect")
    elif kind in ("scrap", "replace"):
        for piece in pieces:
            _scrap(piece)
        session.flush()
        for job in dict.fromkeys(piece.job for piece in pieces):
            close_if_done(session, by, job)  # what was left over may have been all that kept it open


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
        raise Refused(f"{kind!r} is no verdict; choose one that the page offers.", field="kind")
    if kind == "concession" and by.role != "owner":
        raise Refused("A concession is the owner's decision; ask the owner to sign in and record it.", field="kind")
    if kind in ("concession", "rework") and failed_inspection(session, piece) is None:
        raise Refused(f"{piece.serial} has no failed inspection to decide about; inspect it first.", field="kind")
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
        raise Refused(f"{piece.serial} is not set aside; there is nothing to put back.")
    if by.role != "owner":
        raise Refused("Putting back what was set aside is the owner's decision; ask the owner.")
    reason = reason_needed(reason, "Write down why it may go on.")
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


def leave(
    session: Session,
    by: Actor,
    *,
    piece: Print,
    way: WayOut,
    values: Mapping[str, str],
    paper: bench.Signature | None = None,
) -> Departure:
    """Packed and out of the door: sent, collected, or kept in the shop. ``paper``: as a page of paper was signed."""
    signer = (paper.signer if paper else None) or by
    expect(piece.stage, "pack", who=piece.serial)
    if way.how not in WAYS_OUT:
        raise Refused("Say whether it was sent, collected or kept.", field="how")
    if way.on > by.day:
        raise Refused("That day has not come yet; sign it on the day it leaves.", field="on")
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
        signature=replace(
            paper or bench.Signature(values),
            values=values,
            reason=way.reason,
            reasons=way.reasons,
            more={
                **(paper.more if paper else {}),
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
        at=signer.now,
        person_id=signer.person_id,
    )
    session.add(gone)
    session.flush()
    close_if_done(session, by, piece.job)
    return gone
