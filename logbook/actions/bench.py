"""The bench: signing stages of sheets and prints, one or several at once."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from logbook.actions import atrollers, benchfindings, benchrecords, doubts, materials
from logbook.actions.benchrecords import Subject
from logbook.actions.finding import ref
from logbook.actions.pictures import Intake
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore, keep
from logbook.records.floor import Print, Sheet, StepRecord
from logbook.records.machines import Machine, RollerSession
from logbook.records.materials import Lot
from logbook.refusals import Changed, Refused
from logbook.rules import signing, together
from logbook.rules.findings import Finding, settle_each
from logbook.rules.stages import ROLLER_STAGES, expect, next_stage
from logbook.rules.steplist import Stage

_MEANING = {"inspect": "checked", "pack": "released"}


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
    touched = [*map(ref, subjects), *benchrecords.around(subjects)]
    touched.extend(dict.fromkeys(ref(one.machine) for one in ready if one.machine))
    touched.extend(signature.touched)
    touched.extend(ref(benchrecords.job_of(subject).order) for subject in subjects if stage == "pack")
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
    definition = benchrecords.stage_definition(subject)
    values = _values(definition, stage, signature)
    machine = signature.machine
    if stage == "print":
        _print_on(subject, signature.paper_lot)
        if isinstance(subject, Sheet) and subject.mode is not None:  # of several, each has its own printer
            machine = subject.mode.machine
    by = signature.signer or by
    roller_session = atrollers.rolled(session, by, subject, stage) if stage in ROLLER_STAGES else None
    findings = _against(session, by, subject, signature.values, signature.machine)
    if roller_session is not None:
        findings.extend(atrollers.used(roller_session, by))
    return _Ready(subject, definition, values, machine, roller_session, findings)


def _against(
    session: Session, by: Actor, subject: Subject, values: Mapping[str, str], machine: Machine | None
) -> list[Finding]:
    """What speaks against signing it, made with this machine: a printer stands among its own findings already."""
    found = benchfindings.findings_for(session, by, subject, values)
    if machine is None or subject.stage in (*ROLLER_STAGES, "print"):
        return found
    return [*benchfindings.machine_findings(session, by, machine=machine), *found]


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
        settle_each(one.findings, reason=signature.reason, reasons=own) for one, own in zip(ready, reasons, strict=True)
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
    rows = [
        benchrecords.row(by, subject, stage, key, value, unit, **extra) for key, value, unit in [*ready.values, *paper]
    ]
    notes = " ".join([*from_paper, *(found.sentence for found in ready.findings)])
    signed = {"reason": reason, "notes": notes, "meaning": _MEANING.get(stage, "performed")}
    rows.append(benchrecords.row(by, subject, stage, ready.definition.sign.key, by.name, "", **signed, **extra))
    session.add_all(rows)
    _use_up(session, by, subject, stage)
    _move_on(subject, ready.values)
    session.flush()
    return rows


def _expect_at(session: Session, subject: Subject, stage: str, typed: Mapping[str, str]) -> None:
    """Refuse what stands elsewhere; where somebody was quicker, say who, when, and what differs from ``typed``."""
    name = subject.serial if isinstance(subject, Print) else f"Sheet {subject.number}"
    if subject.stage != stage:
        rows = [row for row in benchrecords.records_of(session, subject) if row.stage == stage]
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
    for step in benchrecords.steps_of(benchrecords.job_of(subject)).stage(stage).steps:
        mine = typed.get(step.key, "").strip()
        if step.record in ("number", "choice", "text") and mine and known.get(step.key, "").split(" ")[0] != mine:
            yield f"{step.text} {known.get(step.key) or 'nothing'} is on record; you typed {mine}."


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
