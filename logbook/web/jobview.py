"""What a job's page shows: where every print is, what is next, who did what."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial

from flask import g, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, lazyload, selectinload

from logbook.actions import (
    benchlist,
    jobs,
    orders,
    overtaken,
    pictureneeds,
    pitchfacts,
    reorders,
    sheets,
    takingoff,
)
from logbook.actions.finding import ref
from logbook.actions.pictures import current
from logbook.actions.sheets import shared
from logbook.actions.standing import fallen_among, why_withdrawn
from logbook.engine.needed import Threshold
from logbook.records.audit import AuditEntry, entries_for
from logbook.records.floor import JobMaterials, JobPitch, Print, Run, RunPiece, Sheet, TravellerIssue
from logbook.records.orders import Job, Picture, Proof
from logbook.rules.gates import Gates


@dataclass(frozen=True, slots=True)
class Next:
    """One thing that can go on now, or what it waits for: the customer's word, a time that is not over, a doubt."""

    words: str
    address: str | None = None
    for_customer: bool = False
    free_at: datetime | None = None
    held: bool = False


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
    taken_off: set[int]
    """Ids of the sheets that were taken off before they were printed."""
    fallen: set[int]
    """Ids of the runs whose pitch was withdrawn since."""
    open_quantity: int
    next: list[Next]
    acts: list[AuditEntry]
    travellers: list[TravellerIssue]
    since: reorders.Since | None
    repeats: list[tuple[str, str]]


def job_view(session: Session, job: Job) -> JobView:
    """Gather a job's page inside one reading transaction."""
    pitch = jobs.pitch_of(session, job)
    runs = _runs(session, job)
    prints = _prints(session, job)
    made = list(dict.fromkeys(piece.sheet for piece in prints))
    chosen = jobs.materials_of(session, job)
    gone = (pitch and why_withdrawn(session, pitch.pitch)) or ""
    gates = jobs.gates(session, job, jobs.Chosen(pitch is not None, gone, chosen is not None))
    pieces = orders.for_the_order(session, job)
    least, small = pictureneeds.too_small(job, chosen)
    gathered = _gathered(session, job, gates, runs, pieces)
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
        on_paper={one.code for one in gathered.standing if one.on_paper},
        taken_off=takingoff.taken_off(session, made),
        open_quantity=pieces.still_open(job),
        fallen=fallen_among(session, runs),
        travellers=_travellers(session, job),
        since=reorders.since(session, job),
        repeats=reorders.repeats(session, job),
        next=list(_next(session, job, gathered)),
        acts=list(entries_for(session, ref(job)))[::-1],
    )


def _gathered(session: Session, job: Job, gates: Gates, runs: list[Run], pieces: orders.Pieces) -> "_Gathered":
    """Of a job that is over nothing stands at the bench."""
    standing = benchlist.standing(session, [job.id]) if job.ended_at is None else []
    return _Gathered(lambda: gates, runs, standing, pieces, _unasked(session, standing))


def _prints(session: Session, job: Job) -> list[Print]:
    """Its prints with their sheets alone: the job and its runs, to which these are joined, are there already."""
    mine = select(Print).where(Print.job_id == job.id).order_by(Print.id)
    alone = mine.options(lazyload("*"), joinedload(Print.sheet).lazyload("*"))
    return list(session.execute(alone).scalars())


def _runs(session: Session, job: Job) -> list[Run]:
    """Its runs, newest first, with their files and who accepted them: what else belongs to one is mostly there."""
    mine = select(Run).join(RunPiece, RunPiece.run_id == Run.id).where(RunPiece.job_id == job.id)
    alone = mine.options(lazyload("*"), joinedload(Run.output), joinedload(Run.accepted_by))
    return list(session.execute(alone.order_by(Run.id.desc())).scalars().unique())


def _travellers(session: Session, job: Job) -> list[TravellerIssue]:
    mine = select(TravellerIssue).where(TravellerIssue.job_id == job.id)
    alone = mine.options(lazyload("*"), joinedload(TravellerIssue.file))
    return list(session.execute(alone.order_by(TravellerIssue.id)).scalars())


@dataclass(frozen=True, slots=True)
class _Gathered:
    """What is known of a job before it is asked what can go on: its runs, newest first, and all that stands of it."""

    gates: Callable[[], Gates]
    runs: list[Run]
    standing: Sequence[benchlist.Standing]
    pieces: orders.Pieces
    unasked: Collection[int] = ()


def next_of(session: Session, listed: list[Job]) -> dict[int, list[Next]]:
    """What can go on of many jobs, by row id, with as few questions as a work list can do with."""
    ids = [job.id for job in listed]
    runs, pieces = _runs_of(session, listed), orders.pieces_of(session, ids)
    at_bench: dict[int, list[benchlist.Standing]] = defaultdict(list)
    for one in benchlist.standing(session, ids):
        for job_id in one.jobs:
            at_bench[job_id].append(one)
    _look_ahead(session, [job for job in ids if not runs[job]])
    chosen = jobs.chosen_of(session, ids)
    unasked = _unasked(session, (one for ones in at_bench.values() for one in ones))
    gathered = {
        job.id: _Gathered(
            partial(jobs.gates, session, job, chosen[job.id]),
            runs[job.id],
            at_bench[job.id],
            pieces.get(job.id, orders.Pieces()),
            unasked,
        )
        for job in listed
    }
    return {job.id: list(_next(session, job, gathered[job.id])) for job in listed}


def _unasked(session: Session, standing: Iterable[benchlist.Standing]) -> set[int]:
    """The sheets before the printer whose run was overtaken, or may have been, since somebody was asked."""
    printing = {one.sheet for one in standing if one.stage == "print"}
    return overtaken.unasked(session, printing) if printing else set()


def _look_ahead(session: Session, jobs: list[int]) -> None:
    """Load at once what the gates of each would ask for one by one."""
    proofs = selectinload(Job.proofs).selectinload(Proof.answers)
    pictures = selectinload(Job.pictures).selectinload(Picture.shifts)
    session.execute(select(Job).where(Job.id.in_(jobs)).options(lazyload(Job.order), proofs, pictures)).scalars().all()


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
        if run not in found[job_id][-1:]:  # several copies lie on a shared sheet
            found[job_id].append(run)
    return found


def _next(session: Session, job: Job, found: _Gathered) -> Iterator[Next]:
    if job.ended_at is not None:
        yield Next("Everything has gone out.")
        return
    if job.kind == sheets.MOUNT_ONLY:
        yield from _mounting_next(job, found.pieces)
    else:
        yield from _before_the_run(job, found.gates, found.runs)
        yield from _runs_next(session, job, found)
    if found.pieces.gone >= job.quantity:
        yield Next(_LEFT_OVER.format(job.quantity), f"{url_for('jobs.job', code=job.code)}#prints")
    now = datetime.now(UTC)
    for one in found.standing:
        if one.on_paper and not one.aside:
            yield Next(f"{one.called}: on paper, take its page over when it is done", _page_of(one))
        elif not one.aside:
            free_at = one.free_at(now)
            does = _words(session, one, resting=free_at is not None, unasked=one.sheet in found.unasked)
            yield Next(f"{one.called}: {does}", _at_the_bench(one), free_at=free_at)
    yield from _held(job, found.standing)


def _at_the_bench(one: benchlist.Standing) -> str:
    return url_for("bench.piece" if one.is_print else "bench.sheet", code=one.code)


def _page_of(one: benchlist.Standing) -> str:
    return url_for("onpaper.take_over", kind="print" if one.is_print else "sheet", code=one.code)


def _held(job: Job, standing: Sequence[benchlist.Standing]) -> Iterator[Next]:
    """One line for all sheets and prints of a job that are held for the same reason."""
    held: dict[str, list[benchlist.Standing]] = defaultdict(list)
    for one in standing:
        if one.aside:
            held[one.aside].append(one)
    for why, ones in held.items():
        if len(ones) == 1:
            yield Next(f"{ones[0].called}: set aside, {why}", _at_the_bench(ones[0]), held=True)
        else:
            yield Next(f"{len(ones)} set aside, {why}", f"{url_for('jobs.job', code=job.code)}#prints", held=True)


def _words(session: Session, one: benchlist.Standing, *, resting: bool, unasked: bool) -> str:
    """What a sheet or print waits for; one that was overtaken before it was printed says so first."""
    if resting:
        return _RESTS[one.stage]
    if one.failed:
        return "failed its inspection, decide what becomes of it"
    run = session.get_one(Sheet, one.sheet).run if unasked else None
    if run is not None and (told := overtaken.overtaken(session, run)):
        return f"look before printing it. {told}"
    return _DOES[one.stage]


_LEFT_OVER = "All that was ordered has gone ({}). What is still here is more: finish it, keep it or throw it away"
_RESTS = {"dry": "dries", "dwell": "rests before trimming", "pack": "rests before it leaves"}
_DOES = {
    "print": "print it",
    "dry": "it is dry: test it and sign",
    "adhesive": "bring the adhesive on",
    "laminate": "register and laminate",
    "dwell": "it has rested: look and sign",
    "trim": "trim it",
    "inspect": "inspect it",
    "pack": "pack it and let it go",
}


def _mounting_next(job: Job, pieces: orders.Pieces) -> Iterator[Next]:
    if open_quantity := pieces.still_open(job):
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
    elif gates.pitch_gone:
        yield _another_pitch(job, gates.pitch_gone)
    elif not gates.pitch_chosen:
        yield Next("Choose a pitch", _choosing("jobs.pitch", job))
    if gates.pictures >= 2 and gates.materials_chosen and gates.pitch_chosen and not gates.pitch_gone:
        yield Next("Interlace", f"{here}#interlace")


def _another_pitch(job: Job, why: str) -> Next:
    words = f"Choose another pitch and interlace at it: the one of this job was withdrawn ({why})"
    return Next(words, _choosing("jobs.pitch", job))


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


def _runs_next(session: Session, job: Job, found: _Gathered) -> Iterator[Next]:
    runs = found.runs
    for run in runs:
        if words := _run_words(run):
            yield from _one_run(session, job, run, words, newest=run is _newest(runs, sample=run.sample))
    accepted = next((run for run in runs if run.accepted_at and not run.sample), None)
    if accepted and accepted.sheets and (open_quantity := found.pieces.still_open(job)):
        words = f"{open_quantity} more to print from run {accepted.code}"
        if shared(accepted):
            words = f"{open_quantity} more to make: print another sheet of run {accepted.code}, or interlace anew"
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
    """What a run waits for; one that was overtaken, or whose pitch was withdrawn, is never offered as it is."""
    told = overtaken.overtaken(session, run) if run.state == "done" else ""
    gone = why_withdrawn(session, run.pitch) if run.state == "done" else None
    if gone and not told:
        if newest:
            yield _another_pitch(job, gone)
    elif not told:
        yield Next(words, url_for("runs.run", code=run.code))
    elif newest:
        here = f"{url_for('jobs.job', code=job.code)}#interlace"
        yield Next(f"Interlace anew; do not go on with run {run.code} as it is. {told}", here)
