"""The bench: signing stages of sheets and prints, and sessions at the rollers."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session, aliased

from logbook.actions import (
    doubts,
    gluelots,
    machinehistory,
    machines,
    materials,
    overtaken,
    printers,
    sheetsizes,
    targets,
    waithours,
)
from logbook.actions.finding import ref
from logbook.actions.pictures import Intake
from logbook.actions.shop import step_list
from logbook.actions.strengths import weigh
from logbook.records.audit import Act, Actor, record
from logbook.records.database import once
from logbook.records.files import FileStore, keep
from logbook.records.floor import TAKEN_BACK, Print, Sheet, StepRecord, Verdict
from logbook.records.machines import Machine, RollerSession
from logbook.records.materials import Lot
from logbook.records.orders import Job
from logbook.records.people import Person
from logbook.refusals import Changed, Refused
from logbook.rules import rollers, signing, together, waits
from logbook.rules.findings import Finding, Strength, settle, settle_each
from logbook.rules.reasons import needed as reason_needed
from logbook.rules.stages import ROLLER_STAGES, expect, next_stage
from logbook.rules.steplist import Stage, StepList
from logbook.rules.targets import aimed
from logbook.rules.validity import printer_history

Subject = Sheet | Print
_MEANING = {"inspect": "checked", "pack": "released"}


def stage_of(subject: Subject) -> str:
    """The stage at which a sheet or print stands."""
    return subject.stage


def job_of(subject: Subject) -> Job:
    """The job a sheet or print belongs to; of a sheet with several, its first."""
    return subject.job if isinstance(subject, Print) else subject.prints[0].job


def stage_definition(subject: Subject) -> Stage:
    """The steps of the stage at which it stands, in the revision its job started with, and what they aim at."""
    job = job_of(subject)
    sheet = subject.sheet if isinstance(subject, Print) else subject
    stage = steps_of(job).stage(subject.stage)
    return aimed(stage, targets.of_stage(stage.key, job=job, run=sheet.run))


def steps_of(job: Job) -> StepList:
    """The step list in the revision a job started with."""
    return step_list(job.step_list)


def step_texts(subject: Subject) -> dict[str, str]:
    """The words of every step that may be recorded on it."""
    stages = steps_of(job_of(subject)).stages
    texts = {step.key: step.text for stage in stages for step in stage.steps}
    return texts | {
        f"{stage.key}-before": "Read and set up before the rollers:" for stage in stages if stage.has_rollers
    } | {
        f"{stage.key}-on-paper": "This stage is done" for stage in stages
    } | {f"{stage.key}-alone": "Alone; who calls, and when:" for stage in stages if stage.has_rollers}


def records_of(session: Session, subject: Subject) -> list[StepRecord]:
    """Everything recorded on it that nobody replaced or took back, oldest first."""
    return list(once(session, ("records", ref(subject)), lambda: _records_of(session, subject)))


def _records_of(session: Session, subject: Subject) -> list[StepRecord]:
    column = StepRecord.print_id if isinstance(subject, Print) else StepRecord.sheet_id
    rows = list(session.execute(select(StepRecord).where(column == subject.id).order_by(StepRecord.id)).scalars())
    replaced = {row.replaces_id for row in rows}
    return [row for row in rows if row.id not in replaced and not row.step_key.endswith(TAKEN_BACK)]


def signed_at(session: Session, sheet: Sheet, stage: str) -> datetime | None:
    """When a stage of a sheet was signed; None before, or when it was done before the logbook."""
    return session.execute(_SIGNED, {"sheet": sheet.id, "step": f"{stage}-sign"}).scalar_one_or_none()


_LATER = aliased(StepRecord)
# made once: a page of the bench asks it for every sheet
_SIGNED = (
    select(StepRecord.at)
    .where(StepRecord.sheet_id == bindparam("sheet"), StepRecord.step_key == bindparam("step"))
    .where(StepRecord.source != "before the logbook")
    .where(~select(_LATER.id).where(_LATER.replaces_id == StepRecord.id).exists())
    .order_by(StepRecord.id.desc())
    .limit(1)
)


def wait_for(session: Session, subject: Subject) -> waits.Wait | None:
    """The waiting time that guards the stage at which it stands."""
    sheet = subject.sheet if isinstance(subject, Print) else subject
    return waits.guarding(subject.stage, waithours.of_sheet(sheet), lambda since: signed_at(session, sheet, since))


def findings_for(session: Session, by: Actor, subject: Subject, values: Mapping[str, str]) -> list[Finding]:
    """Everything that stands in the way of signing, or is worth knowing."""
    wait = wait_for(session, subject)
    found = list(wait.findings(by.now)) if wait else []
    stage = stage_definition(subject)
    found.extend((*signing.outside_limits(stage, values), *signing.unmeasured(stage, values)))
    found.extend(_in_doubt(subject))
    if isinstance(subject, Sheet) and subject.stage == "print":
        found.extend(overtaken.before_printing(session, subject))
        found.extend(gluelots.findings(session, by, subject.paper_lot))
        found.extend(_at_the_printer(session, by, subject))
    if isinstance(subject, Print) and subject.stage == "inspect":
        found.extend(_before_inspection(session, by, subject))
    return weigh(session, found)


def _at_the_printer(session: Session, by: Actor, sheet: Sheet) -> Iterator[Finding]:
    """A printer out of use, and what happened to it since the run was asked for: nobody was asked about that yet."""
    if sheet.mode is not None:
        yield from machine_findings(session, by, machine=sheet.mode.machine)
        yield from printers.findings(session, sheet.mode)
    event = machinehistory.since(session, sheet.run.pitch) if sheet.run else None
    if event is not None and sheet.run is not None and event.at > sheet.run.asked_at:
        yield from printer_history(machinehistory.said(event), ended=event.ends_pitches)


def _in_doubt(subject: Subject) -> Iterator[Finding]:
    for piece in [subject] if isinstance(subject, Print) else subject.prints:
        if piece.set_aside_reason and piece.stage != "scrapped":
            yield signing.set_aside(piece.serial, piece.set_aside_reason)


def _before_inspection(session: Session, by: Actor, piece: Print) -> Iterator[Finding]:
    if failed_inspection(session, piece) is not None:
        yield signing.undecided(piece.serial)
    if by.name in _makers(session, piece):
        yield signing.inspected_by_maker(by.name)


def failed_inspection(session: Session, piece: Print) -> StepRecord | None:
    """The newest inspection, when it failed and nobody decided about it since."""
    rows = [row for row in records_of(session, piece) if row.step_key == "inspect-result"]
    decided = select(func.count(Verdict.id)).where(
        Verdict.print_id == piece.id, Verdict.kind.in_(("rework", "concession"))
    )
    undecided = rows and signing.is_undecided([row.value for row in rows], session.execute(decided).scalar_one())
    return rows[-1] if undecided else None


def _makers(session: Session, piece: Print) -> set[str]:
    rows = records_of(session, piece.sheet) + records_of(session, piece)
    return {row.person.name for row in rows if row.person and row.step_key.endswith("-sign") and row.stage != "inspect"}


@dataclass(frozen=True, slots=True)
class Signature:
    """What was filled in on a stage's page: values by step key, a reason where one was asked for, the tool used.

    ``reasons`` are by the fields of the asks that they serve; ``reason`` serves where only one thing is asked.
    ``paper_lot`` is what was really printed on; ``photos`` are received pictures by step key, kept in ``store``;
    ``more`` goes into the trail beside the values, ``touched`` among its objects. What is taken over from paper names
    its ``signer``, at the paper's own time, and the photograph of its ``page``.
    """

    values: Mapping[str, str]
    reason: str = ""
    reasons: Mapping[str, str] = field(default_factory=dict)
    machine: Machine | None = None
    paper_lot: Lot | None = None
    photos: Sequence[tuple[str, Intake]] = ()
    store: FileStore | None = None
    more: Mapping[str, object] = field(default_factory=dict)
    signer: Actor | None = None
    page: Intake | None = None
    touched: Sequence[str] = ()


def sign_stage(session: Session, by: Actor, *, subjects: Sequence[Subject], stage: str, signature: Signature) -> None:
    """Sign a stage of one or several sheets, or prints, at once; each moves on to its next stage."""
    if not subjects:
        raise Refused("Choose at least one.")
    if stage == "pack":
        raise Refused("Say how it leaves: sent, collected or kept.")
    _sign(session, by, subjects, stage, signature)


def sign_out(session: Session, by: Actor, *, piece: Print, signature: Signature) -> None:
    """Sign the last stage of a print; part of its leaving, which asks first whether it may, and may close the order."""
    _sign(session, by, [piece], "pack", signature)


def _sign(session: Session, by: Actor, subjects: Sequence[Subject], stage: str, signature: Signature) -> None:
    subjects = list(dict.fromkeys(subjects))
    papers = _papers(subjects)
    ready = [_looked_at(session, by, subject, stage, signature) for subject in subjects]
    reasons = _settled(ready, signature)
    rows = [
        row
        for one, reason in zip(ready, reasons, strict=True)
        for row in _sign_one(session, by, one, stage, signature, reason)
    ]
    photos = _keep_photos(session, by, signature)
    rules = sorted({row.reason for row in rows if row.reason})
    touched = [*map(ref, subjects), *_around(subjects)]
    touched.extend(dict.fromkeys(ref(one.machine) for one in ready if one.machine))
    touched.extend(signature.touched)
    touched.extend(ref(job_of(subject).order) for subject in subjects if stage == "pack")
    touched.extend(sorted({ref(row.roller_session) for row in rows if row.roller_session is not None}))
    record(
        session,
        by,
        Act(
            "stage taken over from paper" if signature.signer else "stage signed",
            touched,
            reason="; ".join(rules) or None,
            meaning=_MEANING.get(stage, "performed"),
            old={"paper lots": papers} if papers != _papers(subjects) else {},
            new={"stage": stage, "values": _told(rows), "next": subjects[0].stage, **signature.more},
            files=sorted({*_files(subjects), *photos}),
        ),
    )


def _papers(subjects: Sequence[Subject]) -> dict[str, str | None]:
    """The paper lot that each sheet names, by code: a signature may name another."""
    sheets = [one for one in subjects if isinstance(one, Sheet)]
    return {sheet.code: sheet.paper_lot.code if sheet.paper_lot else None for sheet in sheets}


def _told(rows: Sequence[StepRecord]) -> dict[str, str]:
    """What was recorded, by step: a form sends more than that, its own token for one."""
    return {row.step_key: _in_the_trail(row) for row in rows if not row.step_key.endswith("-sign")}


def _in_the_trail(row: StepRecord) -> str:
    """A value, with its unit where somebody measured in inches: its step alone would say millimetres."""
    return f"{row.value} {row.unit}" if row.unit.startswith("in") else row.value


def _keep_photos(session: Session, by: Actor, signature: Signature) -> set[str]:
    """Photographs of steps, kept whole and once, for however many they show; returns their SHA-256 sums."""
    kept = set()
    for intake in [*(each for _, each in signature.photos), *([signature.page] if signature.page else [])]:
        assert signature.store is not None
        sha256, size = signature.store.adopt(intake.waiting)
        keep(session, sha256=sha256, size=size, media_type=intake.media_type, kind="record", now=by.now)
        kept.add(sha256)
    return kept


def _values(definition: Stage, stage: str, signature: Signature) -> list[tuple[str, str, str]]:
    """What is recorded of what was filled in: of a photograph its SHA-256, of several one record each."""
    taken = [step.key for step in definition.steps if step.record == "photo"]
    if strange := next((key for key, _ in signature.photos if key not in taken), None):
        raise Refused(f"No photograph is asked for at {strange!r}.")
    typed = {key: value for key, value in signature.values.items() if key not in taken}
    photos = {key: intake.sha256 for key, intake in signature.photos}
    moment = "after" if stage in ROLLER_STAGES else None
    values = signing.checked_values(definition, {**typed, **photos}, moment=moment)
    further = [(key, intake.sha256, "") for key, intake in signature.photos if intake.sha256 != photos[key]]
    return [*values, *further]


def _print_on(subject: Subject, lot: Lot | None) -> None:
    """The paper lot that was really printed on; another paper is another pitch."""
    if lot is None or not isinstance(subject, Sheet):
        return
    materials.refuse_set_aside(lot)
    if lot.material.kind != "paper":
        raise Refused(f"Lot {lot.label} is {lot.material.name}: no paper; choose a lot of paper.", field="paper_lot")
    if subject.run is not None and lot.material is not subject.run.paper:
        raise Refused(
            f"Lot {lot.label} is {lot.material.name}; this file was interlaced for {subject.run.paper.name}. "
            "Another paper needs a pitch and a run of its own.",
            field="paper_lot",
        )
    subject.paper_lot = lot


def _around(subjects: Sequence[Subject]) -> list[str]:
    sheets = [subject.sheet if isinstance(subject, Print) else subject for subject in subjects]
    prints = [piece for sheet in sheets for piece in sheet.prints] if isinstance(subjects[0], Sheet) else []
    jobs = {ref(piece.job) for sheet in sheets for piece in sheet.prints}
    return [*map(ref, prints), *sorted(jobs)]


def _files(subjects: Sequence[Subject]) -> set[str]:
    sheets = [subject.sheet if isinstance(subject, Print) else subject for subject in subjects]
    return {sheet.run.output.sha256 for sheet in sheets if sheet.run and sheet.run.output}


@dataclass(frozen=True, slots=True)
class _Ready:
    """One that can be signed: what was filled in, with what it was made, and what speaks against it."""

    subject: Subject
    definition: Stage
    values: list[tuple[str, str, str]]
    machine: Machine | None
    roller_session: RollerSession | None
    findings: list[Finding]


def _looked_at(session: Session, by: Actor, subject: Subject, stage: str, signature: Signature) -> _Ready:
    _expect_at(session, subject, stage, signature.values)
    definition = stage_definition(subject)
    values = _values(definition, stage, signature)
    machine = signature.machine
    if stage == "print":
        _print_on(subject, signature.paper_lot)
        if isinstance(subject, Sheet) and subject.mode is not None:  # of several, each has its own printer
            machine = subject.mode.machine
    by = signature.signer or by
    roller_session = _rolled(session, by, subject, stage) if stage in ROLLER_STAGES else None
    findings = _against(session, by, subject, signature.values, signature.machine)
    if roller_session is not None:
        findings.extend(_used(roller_session, by))
    return _Ready(subject, definition, values, machine, roller_session, findings)


def _against(
    session: Session, by: Actor, subject: Subject, values: Mapping[str, str], machine: Machine | None
) -> list[Finding]:
    """What speaks against signing it, made with this machine: a printer stands among its own findings already."""
    found = findings_for(session, by, subject, values)
    if machine is None or subject.stage in (*ROLLER_STAGES, "print"):
        return found
    return [*machine_findings(session, by, machine=machine), *found]


def findings_together(
    session: Session, by: Actor, *, subjects: Sequence[Subject], machine: Machine | None
) -> list[Finding]:
    """What speaks against signing these in one act, with nothing filled in: the same is said once."""
    return together.told_together(
        [_weighed(subject, _against(session, by, subject, {}, machine)) for subject in subjects]
    )


def _weighed(subject: Subject, findings: Sequence[Finding]) -> together.Weighed:
    called = subject.serial if isinstance(subject, Print) else subject.number
    return together.Weighed(called, subject.code, findings)


def _settled(ready: Sequence[_Ready], signature: Signature) -> list[str]:
    """Of each the reason to record; refused for all that stands in the way of any of them at once."""
    each = [_weighed(one.subject, one.findings) for one in ready]
    settle_each(together.told_together(each), reason=signature.reason, reasons=signature.reasons)
    reasons = together.reasons_of(each, signature.reasons)
    return [
        settle_each(one.findings, reason=signature.reason, reasons=own)
        for one, own in zip(ready, reasons, strict=True)
    ]


def _sign_one(
    session: Session, by: Actor, ready: _Ready, stage: str, signature: Signature, reason: str
) -> list[StepRecord]:
    subject, roller_session = ready.subject, ready.roller_session
    from_paper = [f"From paper, entered by {by.name}."] if signature.signer else []
    by = signature.signer or by
    extra = {
        "roller_session_id": roller_session.id if roller_session else None,
        "machine_id": roller_session.machine_id if roller_session else ready.machine.id if ready.machine else None,
        "source": "paper" if signature.signer else "screen",
    }
    paper = [(f"{stage}-page", signature.page.sha256, "")] if signature.page else []
    rows = [_row(by, subject, stage, key, value, unit, **extra) for key, value, unit in [*ready.values, *paper]]
    notes = " ".join([*from_paper, *(found.sentence for found in ready.findings)])
    signed = {"reason": reason, "notes": notes, "meaning": _MEANING.get(stage, "performed")}
    rows.append(_row(by, subject, stage, ready.definition.sign.key, by.name, "", **signed, **extra))
    session.add_all(rows)
    _use_up(session, by, subject, stage)
    _move_on(subject, ready.values)
    session.flush()
    return rows


def _expect_at(session: Session, subject: Subject, stage: str, typed: Mapping[str, str]) -> None:
    """Refuse what stands elsewhere; where somebody was quicker, say who, when, and what differs from ``typed``."""
    name = subject.serial if isinstance(subject, Print) else f"Sheet {subject.number}"
    if subject.stage != stage:
        rows = [row for row in records_of(session, subject) if row.stage == stage]
        signed = [row for row in rows if row.step_key == f"{stage}-sign" and row.person]
        for quicker in signed[-1:]:
            who = quicker.person.name if quicker.person else ""
            when = f"{quicker.at.astimezone():%Y-%m-%d %H:%M}"
            told = f"{who} signed {stage!r} of {name} at {when} already; it stands at {subject.stage!r} now."
            raise Changed(" ".join([told, *_differing(subject, stage, rows, typed)]))
    expect(subject.stage, stage, who=name)


def _differing(subject: Subject, stage: str, rows: Sequence[StepRecord], typed: Mapping[str, str]) -> Iterator[str]:
    """What is on record of a stage beside what somebody typed who came later: that is not kept."""
    known = {row.step_key: f"{row.value} {row.unit}".strip() for row in rows}
    for step in steps_of(job_of(subject)).stage(stage).steps:
        mine = typed.get(step.key, "").strip()
        if step.record in ("number", "choice", "text") and mine and known.get(step.key, "").split(" ")[0] != mine:
            yield f"{step.text} {known.get(step.key) or 'nothing'} is on record; you typed {mine}."


def row(by: Actor, subject: Subject, stage: str, key: str, value: str, unit: str, **more: object) -> StepRecord:
    """One step of a stage as somebody recorded it; ``more`` are further columns."""
    return _row(by, subject, stage, key, value, unit, **more)


def _row(by: Actor, subject: Subject, stage: str, key: str, value: str, unit: str, **more: object) -> StepRecord:
    where = {"print_id": subject.id} if isinstance(subject, Print) else {"sheet_id": subject.id}
    return StepRecord(
        **where,
        stage=stage,
        step_key=key,
        value=value,
        unit=unit,
        person_id=by.person_id,
        at=by.now,
        **{"source": "screen", **more},
    )


def _use_up(session: Session, by: Actor, subject: Subject, stage: str) -> None:
    if isinstance(subject, Sheet):
        lot = {"print": subject.paper_lot, "adhesive": subject.adhesive_lot, "laminate": subject.lens_lot}.get(stage)
        materials.consume(session, by, lot=lot, why=stage, sheet=subject)
        if lot is not None and lot.set_aside_reason:  # set aside since: what is made of it is held with it
            doubts.set_aside(subject.prints, materials.doubt_about(lot))


def _move_on(subject: Subject, values: list[tuple[str, str, str]]) -> None:
    if subject.stage == "inspect" and ("inspect-result", "failed", "") in values:
        return
    subject.stage = next_stage(subject.stage)
    if isinstance(subject, Sheet) and subject.stage == "parted":
        for piece in subject.prints:
            if piece.stage != "scrapped":
                piece.stage = next_stage(piece.stage)


# --- at the rollers -------------------------------------------------------------------------------------------------


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


def machine_findings(session: Session, by: Actor, *, machine: Machine, helper: Person | None = None) -> list[Finding]:
    """Every reason why the signed-in person (and a helper) may not work at this machine now."""
    person = session.get(Person, by.person_id)
    people = [one for one in (person, helper) if one is not None]
    workers = [machines.worker_facts(session, machine, one, by.day) for one in people]
    checked = machines.last_check(machine)
    return rollers.may_run(
        machines.machine_facts(machine),
        workers,
        today=by.day,
        local_day=checked.at.astimezone().date() if checked else None,
    )


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
    mine = (RollerSession.machine_id == machine.id, RollerSession.person_id == by.person_id)
    newest = session.execute(select(RollerSession).where(*mine).order_by(RollerSession.id.desc()).limit(1)).scalar()
    return newest if newest is not None and newest.started_at.astimezone().date() == by.day else None


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
    findings = machine_findings(session, by, machine=start.machine, helper=start.helper)
    findings.extend(one for sheet in sheets for one in sheetsizes.at_rollers(start.machine, sheet))
    settle([*findings, *(found for sheet in sheets for found in _in_doubt(sheet))], reason=None)
    definition = stage_definition(sheets[0])
    covering = open_session(session, by, machine=start.machine, helper=start.helper)
    signing.check_ticks(definition, start.ticks, safety_covered=covering is not None)
    start = replace(start, alone_with=start.alone_with.strip() or said_today(session, by, start.machine))
    if start.helper is None and start.machine.drive == "powered" and covering is None and not start.alone_with:
        raise Refused(
            "You work alone at powered rollers: write down who calls you, and when, as the shop's own risk "
            "assessment asks.",
            field="alone_with",
        )
    was, reason, glue = _bring_on(session, by, sheets, stage, start)
    covering = covering or _new_session(session, by, start)
    covering.last_used_at = by.now
    notes = " ".join(found.sentence for found in [*findings, *glue])
    common = {"roller_session_id": covering.id, "machine_id": start.machine.id, "meaning": "checked"}
    for sheet in sheets:
        if start.helper is None and start.alone_with != covering.alone_with:
            session.add(_row(by, sheet, stage, f"{stage}-alone", start.alone_with, "", **common))
        session.add_all(_row(by, sheet, stage, key, "ticked", "", **common) for key in sorted(start.ticks))
        session.add(_row(by, sheet, stage, f"{stage}-before", "read", "", notes=notes, reason=reason, **common))
    session.flush()
    touched = [*map(ref, sheets), *_around(sheets), ref(start.machine), ref(covering)]
    touched += [ref(start.helper)] if start.helper else []
    if stage == "adhesive":
        touched += sorted({ref(sheet.adhesive_lot) for sheet in sheets if sheet.adhesive_lot})
    told = _told_of(stage, start)
    record(session, by, Act("rollers set up", touched, meaning="checked", reason=reason or None, old=was, new=told))
    return covering


def _told_of(stage: str, start: RollerStart) -> dict[str, object]:
    return {
        "stage": stage,
        "ticks": sorted(start.ticks),
        "helper": start.helper.name if start.helper else None,
        "alone_with": start.alone_with.strip(),
    }


def _bring_on(
    session: Session, by: Actor, sheets: Sequence[Sheet], stage: str, start: RollerStart
) -> tuple[dict[str, dict[str, str | None]], str, list[Finding]]:
    """Name the adhesive; what changed by that, the reason for one past its date, and what is only noted."""
    if stage != "adhesive":
        return {}, "", []
    was = gluelots.lay(sheets, start.adhesive_lot)
    lots = dict.fromkeys(sheet.adhesive_lot for sheet in sheets)
    found = [one for lot in lots for one in gluelots.at_the_rollers(session, by, lot)]
    return was, settle_each(found, reasons=start.reasons), [one for one in found if one.strength is Strength.NOTE]


def _check_start(by: Actor, sheets: Sequence[Sheet], stage: str, start: RollerStart) -> None:
    if stage not in ROLLER_STAGES or not sheets:
        raise Refused("There is nothing to bring to the rollers; open the page of the sheet that is next.")
    for sheet in sheets:
        expect(sheet.stage, stage, who=f"Sheet {sheet.number}")
    if start.machine.kind != "laminator":
        raise Refused(f"{start.machine.name} has no rollers; choose a laminator.", field="machine")
    if start.helper is not None and start.helper.id == by.person_id:
        raise Refused("You cannot be your own helper: leave that empty and write down who calls.", field="helper")


def said_today(session: Session, by: Actor, machine: Machine) -> str:
    """Who calls, as this person last said today at this machine: it is asked once a day."""
    keys = [f"{stage}-alone" for stage in ROLLER_STAGES]
    later = session.execute(
        select(StepRecord)
        .where(
            StepRecord.machine_id == machine.id, StepRecord.person_id == by.person_id, StepRecord.step_key.in_(keys)
        )
        .order_by(StepRecord.id.desc())
        .limit(1)
    ).scalar_one_or_none()
    rows = session.execute(
        select(RollerSession)
        .where(RollerSession.machine_id == machine.id, RollerSession.person_id == by.person_id)
        .order_by(RollerSession.id.desc())
        .limit(20)
    ).scalars()
    said = [(row.started_at, row.alone_with) for row in rows if row.alone_with]
    said += [(later.at, later.value)] if later else []
    when, words = max(said, default=(by.now, ""))
    return words if when.astimezone().date() == by.day else ""


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
    rows = [row for row in records_of(session, subject) if row.stage == stage and row.step_key == f"{stage}-before"]
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


def _rolled(session: Session, by: Actor, subject: Subject, stage: str) -> RollerSession:
    """The session under which a sheet went through the rollers; who was not part of it does not sign for it."""
    covering = _covering(session, subject, stage)
    if covering is None:
        raise Refused("Read and tick what comes before the rollers first.")
    if not _took_part(covering, by):
        raise Refused(f"{covering.person.name} set up the rollers for this sheet; read and tick before you sign.")
    return covering


def _used(covering: RollerSession, by: Actor) -> Iterator[Finding]:
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
    for row in records_of(session, sheet):
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
