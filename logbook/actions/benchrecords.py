"""What stands on record of a sheet or print at the bench, and the steps that it is to take."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, aliased

from logbook.actions import targets
from logbook.actions.finding import ref
from logbook.actions.shop import step_list
from logbook.records.audit import Actor
from logbook.records.database import once
from logbook.records.floor import TAKEN_BACK, Print, Sheet, StepRecord
from logbook.records.orders import Job
from logbook.rules.steplist import Stage, StepList
from logbook.rules.targets import aimed

Subject = Sheet | Print


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
    return (
        texts
        | {f"{stage.key}-before": "Read and set up before the rollers:" for stage in stages if stage.has_rollers}
        | {f"{stage.key}-on-paper": "This stage is done" for stage in stages}
        | {f"{stage.key}-alone": "Alone; who calls, and when:" for stage in stages if stage.has_rollers}
    )


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


def around(subjects: Sequence[Subject]) -> list[str]:
    """What else an entry about these touches, as the trail names it: the prints of sheets, and the jobs."""
    sheets = [subject.sheet if isinstance(subject, Print) else subject for subject in subjects]
    prints = [piece for sheet in sheets for piece in sheet.prints] if isinstance(subjects[0], Sheet) else []
    jobs = {ref(piece.job) for sheet in sheets for piece in sheet.prints}
    return [*map(ref, prints), *sorted(jobs)]


def row(by: Actor, subject: Subject, stage: str, key: str, value: str, unit: str, **more: object) -> StepRecord:
    """One step of a stage as somebody recorded it; ``more`` are further columns."""
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
