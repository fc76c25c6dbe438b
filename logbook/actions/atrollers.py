"""At the rollers: what is read and ticked before they move, for whom it holds, and how it ends."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import benchfindings, benchrecords, gluelots, sheetsizes
from logbook.actions.benchrecords import Subject
from logbook.actions.finding import ref
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Sheet, StepRecord
from logbook.records.machines import Machine, RollerSession
from logbook.records.materials import Lot
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules import rollers, signing, waits
from logbook.rules.findings import Finding, Strength, settle, settle_each
from logbook.rules.reasons import needed as reason_needed
from logbook.rules.stages import ROLLER_STAGES, expect

_OF_A_DAY = 20
"""Sessions of one person at one machine that are looked through for a day's words."""


@dataclass(frozen=True, slots=True)
class RollerStart:
    """Who works at which laminator, which safety steps they ticked, and what is brought on."""

    machine: Machine
    helper: Person | None
    alone_with: str
    ticks: frozenset[str]
    adhesive_lot: Lot | None = None
    """What is really brought on; None: as planned."""
    reasons: Mapping[str, str] = field(default_factory=dict)


def open_session(session: Session, by: Actor, *, machine: Machine, helper: Person | None) -> RollerSession | None:
    """The session that still covers this person, helper and machine: same day, at most half an hour idle."""
    newest = session.execute(
        select(RollerSession).where(RollerSession.machine_id == machine.id).order_by(RollerSession.id.desc()).limit(1)
    ).scalar_one_or_none()
    if newest is None or newest.ended_at is not None or newest.person_id != by.person_id:
        return None
    return newest if _is_fresh(newest, by) and newest.helper_id == (helper.id if helper else None) else None


def last_today(session: Session, by: Actor, machine: Machine) -> RollerSession | None:
    """This person's newest session at a machine today, over or not."""
    return next(iter(_of_today(session, by, machine)), None)


def said_today(session: Session, by: Actor, machine: Machine) -> str:
    """Who calls, as this person last said today at this machine: it is asked once a day."""
    keys = [f"{stage}-alone" for stage in ROLLER_STAGES]
    mine = (StepRecord.machine_id == machine.id, StepRecord.person_id == by.person_id, StepRecord.step_key.in_(keys))
    later = session.execute(select(StepRecord).where(*mine).order_by(StepRecord.id.desc()).limit(1)).scalar()
    said = [(row.started_at, row.alone_with) for row in _of_today(session, by, machine) if row.alone_with]
    said += [(later.at, later.value)] if later and later.at.astimezone().date() == by.day else []
    return max(said, default=(by.now, ""))[1]


def _of_today(session: Session, by: Actor, machine: Machine) -> list[RollerSession]:
    """This person's newest sessions at a machine, as far as they began today."""
    mine = (RollerSession.machine_id == machine.id, RollerSession.person_id == by.person_id)
    newest = select(RollerSession).where(*mine).order_by(RollerSession.id.desc()).limit(_OF_A_DAY)
    return [row for row in session.execute(newest).scalars() if row.started_at.astimezone().date() == by.day]


def _is_fresh(covering: RollerSession, by: Actor) -> bool:
    return rollers.still_covers(
        last_used_at=covering.last_used_at,
        last_day=covering.last_used_at.astimezone().date(),
        now=by.now,
        today=by.day,
    )


def start_rollers(
    session: Session, by: Actor, *, sheets: Sequence[Sheet], stage: str, start: RollerStart
) -> RollerSession:
    """What is read and ticked before the rollers move. Nothing is asked again until they have stopped."""
    _check_start(by, sheets, stage, start)
    findings = benchfindings.machine_findings(session, by, machine=start.machine, helper=start.helper)
    findings.extend(one for sheet in sheets for one in sheetsizes.at_rollers(start.machine, sheet))
    settle([*findings, *(found for sheet in sheets for found in benchfindings.in_doubt(sheet))], reason=None)
    definition = benchrecords.stage_definition(sheets[0])
    covering = open_session(session, by, machine=start.machine, helper=start.helper)
    signing.check_ticks(definition, start.ticks, safety_covered=covering is not None)
    start = replace(start, alone_with=start.alone_with.strip() or said_today(session, by, start.machine))
    if start.helper is None and start.machine.drive == "powered" and covering is None and not start.alone_with:
        raise Refused(
            "You work alone at powered rollers: write down who calls you, and when, as the shop's own risk "
            "assessment asks.",
            field="alone_with",
        )
    was, glue = _bring_on(session, by, sheets, stage, start)
    others = others_at_work(session, by, machine=start.machine, sheets=sheets, helper=start.helper)
    reason = settle_each([*glue, *others], reasons=start.reasons)
    findings.extend(one for one in (*glue, *others) if one.strength is Strength.NOTE)
    covering = covering or _new_session(session, by, start)
    covering.last_used_at = by.now
    notes = " ".join(found.sentence for found in findings)
    common = {"roller_session_id": covering.id, "machine_id": start.machine.id, "meaning": "checked"}
    for sheet in sheets:
        if start.helper is None and start.alone_with != covering.alone_with:
            session.add(benchrecords.row(by, sheet, stage, f"{stage}-alone", start.alone_with, "", **common))
        session.add_all(benchrecords.row(by, sheet, stage, key, "ticked", "", **common) for key in sorted(start.ticks))
        session.add(
            benchrecords.row(by, sheet, stage, f"{stage}-before", "read", "", notes=notes, reason=reason, **common)
        )
    session.flush()
    touched = [*map(ref, sheets), *benchrecords.around(sheets), ref(start.machine), ref(covering)]
    touched += [ref(start.helper)] if start.helper else []
    if stage == "adhesive":
        touched += sorted({ref(sheet.adhesive_lot) for sheet in sheets if sheet.adhesive_lot})
    told = _told_of(stage, start)
    record(session, by, Act("rollers set up", touched, meaning="checked", reason=reason or None, old=was, new=told))
    return covering


def others_at_work(
    session: Session, by: Actor, *, machine: Machine, sheets: Sequence[Sheet], helper: Person | None = None
) -> list[Finding]:
    """Who may be at these rollers, or have one of these sheets in others: set up a while ago, not signed, not left."""
    us = {by.person_id, helper.id if helper else None} - {None}
    standing = session.execute(select(Sheet).where(Sheet.stage.in_(ROLLER_STAGES)).order_by(Sheet.id)).scalars()
    found = []
    for sheet in standing:
        theirs = _covering(session, sheet, sheet.stage)
        if theirs is None or {theirs.person_id, theirs.helper_id} & us or not _is_fresh(theirs, by):
            continue
        if theirs.machine_id == machine.id or sheet in sheets:
            since = f"{theirs.last_used_at.astimezone():%H:%M}"
            found.append(rollers.somebody_there(theirs.person.name, theirs.machine.name, sheet.number, since))
    return found


def _told_of(stage: str, start: RollerStart) -> dict[str, object]:
    return {
        "stage": stage,
        "ticks": sorted(start.ticks),
        "helper": start.helper.name if start.helper else None,
        "alone_with": start.alone_with.strip(),
    }


def _bring_on(
    session: Session, by: Actor, sheets: Sequence[Sheet], stage: str, start: RollerStart
) -> tuple[dict[str, dict[str, str | None]], list[Finding]]:
    """Name the adhesive; what changed by that, and what speaks against it."""
    if stage != "adhesive":
        return {}, []
    was = gluelots.lay(sheets, start.adhesive_lot)
    lots = dict.fromkeys(sheet.adhesive_lot for sheet in sheets)
    return was, [one for lot in lots for one in gluelots.at_the_rollers(session, by, lot)]


def _check_start(by: Actor, sheets: Sequence[Sheet], stage: str, start: RollerStart) -> None:
    if stage not in ROLLER_STAGES or not sheets:
        raise Refused("There is nothing to bring to the rollers; open the page of the sheet that is next.")
    for sheet in sheets:
        expect(sheet.stage, stage, who=f"Sheet {sheet.number}")
    if start.machine.kind != "laminator":
        raise Refused(f"{start.machine.name} has no rollers; choose a laminator.", field="machine")
    if start.helper is not None and start.helper.id == by.person_id:
        raise Refused("You cannot be your own helper: leave that empty and write down who calls.", field="helper")


def _new_session(session: Session, by: Actor, start: RollerStart) -> RollerSession:
    ticks = {key: by.now.isoformat() for key in sorted(start.ticks)}
    made = RollerSession(
        machine_id=start.machine.id,
        person_id=by.person_id,
        helper_id=start.helper.id if start.helper else None,
        alone_with=start.alone_with.strip(),
        started_at=by.now,
        last_used_at=by.now,
        ticks=json.dumps(ticks),
    )
    session.add(made)
    session.flush()
    return made


def _covering(session: Session, subject: Subject, stage: str) -> RollerSession | None:
    rows = [
        row
        for row in benchrecords.records_of(session, subject)
        if row.stage == stage and row.step_key == f"{stage}-before"
    ]
    covering = rows[-1].roller_session if rows else None
    # a jam with one sheet ends it for every other that was set up with it
    return covering if covering is not None and covering.ended_at is None else None


def is_set_up(session: Session, by: Actor, sheet: Sheet) -> bool:
    """Whether what comes before the rollers was read and ticked for the stage at which the sheet stands.

    By whoever asks, or with their help, today, and at most half an hour ago: anybody else reads and ticks anew.
    """
    covering = _covering(session, sheet, sheet.stage) if sheet.stage in ROLLER_STAGES else None
    return covering is not None and _took_part(covering, by) and _is_fresh(covering, by)


def _took_part(covering: RollerSession, by: Actor) -> bool:
    return by.person_id is not None and by.person_id in (covering.person_id, covering.helper_id)


def rolled(session: Session, by: Actor, subject: Subject, stage: str) -> RollerSession:
    """The session under which a sheet went through the rollers; who was not part of it does not sign for it."""
    covering = _covering(session, subject, stage)
    if covering is None:
        raise Refused("Read and tick what comes before the rollers first.")
    if not _took_part(covering, by):
        raise Refused(f"{covering.person.name} set up the rollers for this sheet; read and tick before you sign.")
    return covering


def used(covering: RollerSession, by: Actor) -> Iterator[Finding]:
    """A signature keeps the session alive, unless it came too late to say that somebody was there all the time."""
    if _is_fresh(covering, by):
        covering.last_used_at = by.now
    else:
        yield rollers.signed_late(waits.describe(by.now - covering.last_used_at))


def leave_rollers(session: Session, by: Actor, *, sheet: Sheet, reason: str) -> None:
    """A jam or another interruption: the session ends, and everything is asked anew."""
    covering = _covering(session, sheet, sheet.stage)
    if covering is None:
        raise Refused("Nothing is set up at the rollers for this sheet; read and tick what comes before them.")
    reason = reason_needed(reason, "Say what happened.")
    covering.ended_at = by.now
    for row in benchrecords.records_of(session, sheet):
        if row.stage == sheet.stage and row.step_key == f"{sheet.stage}-before":
            session.add(
                StepRecord(
                    sheet_id=sheet.id,
                    stage=sheet.stage,
                    step_key=f"{sheet.stage}-interrupted",
                    value=reason,
                    person_id=by.person_id,
                    at=by.now,
                    replaces_id=row.id,
                )
            )
    record(session, by, Act("rollers left", [ref(sheet), ref(covering)], reason=reason))
