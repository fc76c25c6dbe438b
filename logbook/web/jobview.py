"""What a job's page shows: where every print is, what is next, who did what."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial

from flask import g, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session, lazyload, selectinload

from logbook.actions import (
    bench,
    jobs,
    leaving,
    onpaper,
    orders,
    overtaken,
    pictureneeds,
    pitchfacts,
    reorders,
    sheets,
)
from logbook.actions.finding import ref
from logbook.actions.pictures import current
from logbook.engine.needed import Threshold
from logbook.records.audit import AuditEntry, entries_for
from logbook.records.floor import JobMaterials, JobPitch, Print, Run, RunPiece, Sheet, TravellerIssue
from logbook.records.orders import Job, Picture, Proof
from logbook.rules.gates import Gates


@dataclass(frozen=True, slots=True)
class Next:
    """One thing that can go on now, or what it waits for: the customer's word, or a time that is not over."""

    words: str
    address: str | None = None
    for_customer: bool = False
    free_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class JobView:
    """Everything on a job's page."""

    job: Job
    pictures: list[Picture]
    least: Threshold
    small: dict[str, pictureneeds.Looked]
    proof: Proof | None
    gates: Gates
    materials: JobMaterials | None
    pitch: JobPitch | None
    used: pitchfacts.Used | None
    runs: list[Run]
    sheets: list[Sheet]
    prints: list[Print]
    on_paper: set[str]
    open_quantity: int
    next: list[Next]
    acts: list[AuditEntry]
    travellers: list[TravellerIssue]
    since: reorders.Since | None
    repeats: list[Job]


def job_view(session: Session, job: Job) -> JobView:
    """Gather a job's page inside one reading transaction."""
    pitch = jobs.pitch_of(session, job)
    runs = _runs(session, job)
    prints = list(session.execute(select(Print).where(Print.job_id == job.id).order_by(Print.id)).scalars())
    made = list(dict.fromkeys(piece.sheet for piece in prints))
    gates = jobs.gates(session, job)
    open_quantity = sheets.open_quantity(session, job)
    chosen = jobs.materials_of(session, job)
    least, small = pictureneeds.too_small(job, chosen)
    travellers = list(session.execute(select(TravellerIssue).where(TravellerIssue.job_id == job.id)).scalars())
    return JobView(
        job=job,
        pictures=current(job),
        least=least,
        small=small,
        proof=job.proofs[-1] if job.proofs else None,
        gates=gates,
        materials=chosen,
        pitch=pitch,
        used=pitchfacts.as_used(job, pitch.pitch) if pitch else None,
        runs=runs,
        sheets=made,
        prints=prints,
        on_paper=onpaper.codes_on_paper(session, [*made, *prints]),
        open_quantity=open_quantity,
        travellers=travellers,
        since=reorders.since(session, job),
        repeats=reorders.repeats(session, job),
        next=list(_next(session, job, lambda: gates, runs, prints)),
        acts=list(entries_for(session, ref(job)))[::-1],
    )


def _runs(session: Session, job: Job) -> list[Run]:
    return list(
        session.execute(
            select(Run)
            .join(RunPiece, RunPiece.run_id == Run.id)
            .where(RunPiece.job_id == job.id)
            .order_by(Run.id.desc())
        ).scalars()
    )


def next_of(session: Session, listed: list[Job]) -> dict[int, list[Next]]:
    """What can go on of many jobs, by row id, with as few questions as a work list can do with."""
    runs, prints = _runs_of(session, listed), _prints_of(session, listed)
    return {
        job.id: list(_next(session, job, partial(jobs.gates, session, job), runs[job.id], prints[job.id]))
        for job in listed
    }


def _runs_of(session: Session, listed: list[Job]) -> dict[int, list[Run]]:
    """Runs of each job, newest first, with their sheets and without what a work list does not show."""
    found: dict[int, list[Run]] = defaultdict(list)
    rows = session.execute(
        select(RunPiece.job_id, Run)
        .join(Run, RunPiece.run_id == Run.id)
        .where(RunPiece.job_id.in_([job.id for job in listed]))
        .order_by(Run.id.desc())
        .options(lazyload("*"), selectinload(Run.sheets).lazyload("*"))
    )
    for job_id, run in rows:
        found[job_id].append(run)
    return found


def _prints_of(session: Session, listed: list[Job]) -> dict[int, list[Print]]:
    found: dict[int, list[Print]] = defaultdict(list)
    rows = session.execute(
        select(Print)
        .where(Print.job_id.in_([job.id for job in listed]))
        .order_by(Print.id)
        .options(lazyload("*"), selectinload(Print.sheet).lazyload("*"))
    ).scalars()
    for piece in rows:
        found[piece.job_id].append(piece)
    return found


def _next(
    session: Session,
    job: Job,
    gates: Callable[[], Gates],
    runs: list[Run],
    prints: list[Print],
) -> Iterator[Next]:
    if job.ended_at is not None:
        yield Next("Everything has gone out.")
        return
    if job.kind == sheets.MOUNT_ONLY:
        yield from _mounting_next(session, job)
    else:
        yield from _before_the_run(job, gates, runs)
        yield from _runs_next(session, job, runs)
    if prints and orders.all_gone(session, job):
        yield Next(_LEFT_OVER.format(job.quantity), f"{url_for('jobs.job', code=job.code)}#prints")
    for sheet in dict.fromkeys(piece.sheet for piece in prints):
        if sheet.stage not in ("parted", "scrapped"):
            doubts = [one.set_aside_reason for one in prints if one.sheet is sheet and one.set_aside_reason]
            address, free_at = url_for("bench.sheet", code=sheet.code), None if doubts else _free_at(session, sheet)
            does = _WAITS[sheet.stage] if free_at else _sheet_words(session, sheet)
            does = f"set aside, {doubts[0]}" if doubts else does
            yield Next(f"{sheet.number}: {does}", address, free_at=free_at)
    for piece in prints:
        if piece.stage in _PRINT_NEXT:
            address = url_for("bench.piece", code=piece.code)
            free_at = None if piece.set_aside_reason else _free_at(session, piece)
            yield Next(_piece_words(session, piece), address, free_at=free_at)


def _free_at(session: Session, subject: Sheet | Print) -> datetime | None:
    """When a waiting time that guards its stage is over; None where nothing waits, or it is over already."""
    now = datetime.now(UTC)
    wait = bench.wait_for(session, subject) if subject.stage in _WAITS else None
    return wait.until if wait is not None and wait.left(now) else None


def _sheet_words(session: Session, sheet: Sheet) -> str:
    """What a sheet waits for; one that was overtaken before it was printed says so first."""
    if sheet.stage == "print" and (found := overtaken.before_printing(session, sheet)):
        return f"look before printing it. {found[0].sentence}"
    return _SHEET_NEXT[sheet.stage]


_LEFT_OVER = "All that was ordered has gone ({}). What is still here is more: finish it, keep it or throw it away"
_WAITS = {"dry": "dries", "dwell": "rests before trimming", "pack": "rests before it leaves"}
_SHEET_NEXT = {
    "print": "print it",
    "dry": "it is dry: test it and sign",
    "adhesive": "bring the adhesive on",
    "laminate": "register and laminate",
    "dwell": "it has rested: look and sign",
}
_PRINT_NEXT = {"trim": "trim it", "inspect": "inspect it", "pack": "pack it and let it go"}


def _piece_words(session: Session, piece: Print) -> str:
    if piece.set_aside_reason:
        return f"{piece.serial}: set aside, {piece.set_aside_reason}"
    if piece.stage == "inspect" and leaving.failed_inspection(session, piece):
        return f"{piece.serial}: failed its inspection, decide what becomes of it"
    return f"{piece.serial}: {_PRINT_NEXT[piece.stage]}"


def _mounting_next(session: Session, job: Job) -> Iterator[Next]:
    if open_quantity := sheets.open_quantity(session, job):
        words = f"Take the customer's own prints ({open_quantity}) and choose their lens"
        yield Next(words, _choosing("mounting.begin", job))


def _before_the_run(job: Job, asked: Callable[[], Gates], runs: list[Run]) -> Iterator[Next]:
    if job.entered_at_stage or any(run.state in ("waiting", "running", "done") and not run.sample for run in runs):
        return
    here, gates = url_for("jobs.job", code=job.code), asked()
    if gates.pictures < 2:
        yield Next(f"Pictures: {2 - gates.pictures} more at least", f"{here}#pictures")
    elif not gates.for_shop and not (gates.answer == "approved" and gates.answer_is_current):
        yield _answer_next(gates, here)
    if not gates.materials_chosen:
        yield Next("Choose lens lot, printer and paper", _choosing("jobs.materials", job))
    elif not gates.pitch_chosen:
        yield Next("Choose a pitch", _choosing("jobs.pitch", job))
    if gates.pictures >= 2 and gates.materials_chosen and gates.pitch_chosen:
        yield Next("Interlace", f"{here}#interlace")


def _choosing(endpoint: str, job: Job) -> str:
    """The page where something is chosen; who only looks is led to the job."""
    return url_for(endpoint if g.me.may_write else "jobs.job", code=job.code)


def _answer_next(gates: Gates, here: str) -> Next:
    if gates.answer == "none" or not gates.answer_is_current:
        return Next("Make a proof", f"{here}#proof")
    if gates.answer == "change":
        return Next("The customer asked for a change: bring it in and make a new proof", f"{here}#pictures")
    words = "We wait for the customer's word on the proof: send it, and write down the answer"
    return Next(words, f"{here}#proof", for_customer=True)


def _runs_next(session: Session, job: Job, runs: list[Run]) -> Iterator[Next]:
    for run in runs:
        if words := _run_words(run):
            yield from _one_run(session, job, run, words, newest=run is _newest(runs, sample=run.sample))
    accepted = next((run for run in runs if run.accepted_at and not run.sample), None)
    if accepted and accepted.sheets and (open_quantity := sheets.open_quantity(session, job)):
        words = f"{open_quantity} more to print from run {accepted.code}"
        yield from _one_run(session, job, accepted, words, newest=accepted is _newest(runs, sample=False))


def _newest(runs: list[Run], *, sample: bool) -> Run | None:
    return next((run for run in runs if run.sample is sample and run.state != "cancelled"), None)


def _run_words(run: Run) -> str:
    if run.state in ("waiting", "running"):
        return f"Run {run.code} is at work"
    if run.state == "failed":
        return f"Run {run.code} failed: {run.trouble}"
    if run.state == "done" and run.accepted_at is None:
        return f"Look at run {run.code} and accept it"
    if run.state == "done" and not run.sheets:
        return f"Hand run {run.code} to the printer and start its sheets"
    return ""


def _one_run(session: Session, job: Job, run: Run, words: str, *, newest: bool) -> Iterator[Next]:
    """What a run waits for; one that its job has overtaken is never offered as if nothing had happened."""
    told = overtaken.overtaken(session, run) if run.state == "done" else ""
    if not told:
        yield Next(words, url_for("runs.run", code=run.code))
    elif newest:
        here = f"{url_for('jobs.job', code=job.code)}#interlace"
        yield Next(f"Interlace anew; do not go on with run {run.code} as it is. {told}", here)
