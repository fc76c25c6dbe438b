"""Taking back a wrong tap: within the minute, by whoever made it, before anything was built on it.

Nothing is changed or removed: each record gets a correction that names it, and
the trail gets an entry of its own. Signatures at the rollers and on leaving stand:
what was said about safety or bonded is not untold by a tap.
"""

import json
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions.benchrecords import job_of, steps_of
from logbook.actions.finding import by_code, ref
from logbook.actions.materials import move
from logbook.records.audit import Act, Actor, AuditEntry, AuditObject, record
from logbook.records.floor import TAKEN_BACK, Print, Sheet, StepRecord
from logbook.records.materials import Lot, StockMove
from logbook.refusals import Refused
from logbook.rules.stages import LEFT_BY_A_TAP, step_back

WITHIN = timedelta(minutes=1)
_SIGNED = "stage signed"
_LOOK_BACK = 20
"""A shop of fifteen people does not sign more often than this within a minute."""

Subject = Sheet | Print


@dataclass(frozen=True, slots=True)
class Tap:
    """A signature that its maker may still take back: its entry in the trail, the stage, what was signed."""

    seq: int
    stage: str
    numbers: tuple[str, ...]
    codes: tuple[str, ...]


def last_tap(session: Session, by: Actor, *, on: Subject | None = None) -> Tap | None:
    """The newest signature that this person may take back now, on one sheet or print or on any; None for none."""
    newest = select(AuditEntry.id).where(AuditEntry.action == _SIGNED).order_by(AuditEntry.id.desc()).limit(_LOOK_BACK)
    # every page of the bench asks this: nothing is loaded of what stands anyway
    lately = select(AuditEntry).where(AuditEntry.id.in_(newest), AuditEntry.at >= by.now - WITHIN)
    for entry in session.execute(lately.order_by(AuditEntry.id.desc())).scalars():
        told = json.loads(entry.body)
        concerned = on is None or ref(on) in told["objects"]
        if concerned and _objection(session, by, entry, told) is None:
            subjects = _subjects(session, told)
            numbers = tuple(one.number if isinstance(one, Sheet) else one.serial for one in subjects)
            return Tap(entry.id, told["new"]["stage"], numbers, tuple(one.code for one in subjects))
    return None


def take_back(session: Session, by: Actor, *, seq: int) -> list[Subject]:
    """Correct a signature made within the last minute; what it signed stands where it stood. No reason is asked.

    Raises Refused where it is not the person's own, too old, at the rollers, or something was built on it.
    """
    entry = session.get(AuditEntry, seq)
    if entry is None or entry.action != _SIGNED:
        raise Refused("There is no such signature to take back; open the page again.")
    told = json.loads(entry.body)
    if objection := _objection(session, by, entry, told):
        raise Refused(objection)
    subjects = _subjects(session, told)
    for subject in subjects:
        _correct(session, by, subject, entry, told)
    record(
        session,
        by,
        Act(
            "signature taken back",
            told["objects"],
            old={"stage": told["new"]["next"]},
            new={"corrects": seq, "stage": told["new"]["stage"]},
        ),
    )
    return subjects


def _objection(session: Session, by: Actor, entry: AuditEntry, told: dict[str, Any]) -> str | None:
    """Why a signature stands, in one sentence; None where it may be taken back."""
    if by.person_id is None or entry.person_id != by.person_id:
        return f"Only {entry.actor_name} can take back what {entry.actor_name} signed."
    stage = told["new"]["stage"]
    if stage not in LEFT_BY_A_TAP or any(_asks_for_safety(one, stage) for one in _subjects(session, told)):
        return "What was signed about safety, bonding or leaving stands; it is not taken back."
    if not timedelta(0) <= by.now - entry.at <= WITHIN:
        return "More than a minute has passed since it was signed; it stands now."
    if _built_on(session, entry, told):
        return "Something was built on this signature since; it stands now."
    return None


def _built_on(session: Session, entry: AuditEntry, told: dict[str, Any]) -> bool:
    """Whether a later act touched what was signed, or the lot of paper that it used: a count since holds."""
    refs = [one for one in told["objects"] if one.startswith(("sheet:", "print:"))]
    sheets = [one for one in _subjects(session, told) if isinstance(one, Sheet)]
    refs += [ref(sheet.paper_lot) for sheet in sheets if sheet.paper_lot is not None]
    later = select(func.count(AuditObject.id)).where(AuditObject.ref.in_(refs), AuditObject.entry_id > entry.id)
    return session.execute(later).scalar_one() > 0


def _asks_for_safety(subject: Subject, stage: str) -> bool:
    """Whether the shop's own steps put a safety tick into this stage: such a signature is never untold by a tap."""
    return any(step.safety for step in steps_of(job_of(subject)).stage(stage).steps)


def _subjects(session: Session, told: dict[str, Any]) -> list[Subject]:
    """What was signed: of a sheet's stage its sheets, of a print's stage its prints."""
    table: type[Print | Sheet] = Print if told["new"]["stage"] in ("trim", "inspect") else Sheet
    wanted = f"{table.__name__.lower()}:"
    return [by_code(session, table, one.removeprefix(wanted)) for one in told["objects"] if one.startswith(wanted)]


def _correct(session: Session, by: Actor, subject: Subject, entry: AuditEntry, told: dict[str, Any]) -> None:
    stage = told["new"]["stage"]
    column = StepRecord.print_id if isinstance(subject, Print) else StepRecord.sheet_id
    signed = select(StepRecord).where(column == subject.id, StepRecord.stage == stage, StepRecord.at == entry.at)
    for row in session.execute(signed).scalars().all():
        session.add(
            StepRecord(
                print_id=row.print_id,
                sheet_id=row.sheet_id,
                stage=stage,
                step_key=f"{stage}{TAKEN_BACK}",
                person_id=by.person_id,
                at=by.now,
                replaces_id=row.id,
            )
        )
    if isinstance(subject, Sheet):
        _back_on_the_shelf(session, by, subject, entry, told)
        for piece in subject.prints:
            if piece.stage == "trim":
                piece.stage = "on sheet"
    subject.stage = step_back(subject.stage, stage)
    session.flush()


def _back_on_the_shelf(session: Session, by: Actor, sheet: Sheet, entry: AuditEntry, told: dict[str, Any]) -> None:
    """What the signature used is there again, and the sheet names the paper that it named before."""
    mine = (StockMove.lot_id == sheet.paper_lot_id, StockMove.sheet_id == sheet.id, StockMove.at == entry.at)
    for used in session.execute(select(StockMove).where(*mine)).scalars().all():
        lot = session.get_one(Lot, used.lot_id)
        move(session, by, lot=lot, change=-used.change, why=f"{used.why} taken back", sheet=sheet)
    before = told["old"].get("paper lots", {})
    if sheet.code in before:
        sheet.paper_lot = by_code(session, Lot, before[sheet.code]) if before[sheet.code] else None
