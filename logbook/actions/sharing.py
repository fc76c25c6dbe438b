"""Several jobs and copies on one lens sheet: who may share it, how they lie, and the run that interlaces them.

Everything that a run of one job asks and refuses holds for each of them; on top of that they must agree in all
that one sheet has once: the lens lot, printer mode, paper, pitch at their distances, and the way of the lenticules.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import recipes, runs, sheetsizes
from logbook.actions.finding import ref
from logbook.actions.orders import for_the_order
from logbook.actions.pictures import current
from logbook.actions.runs import Ready, RunWish
from logbook.engine.layout import Layout, lay_out
from logbook.engine.phase import dots_for
from logbook.engine.plan import Plan, number_text
from logbook.engine.sharedsheet import ROOM_MM, SharedPlan
from logbook.lengths import INCH_IN_MM, Length, parse_length
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Run, RunPiece
from logbook.records.orders import Job, Order
from logbook.refusals import Refused
from logbook.rules.findings import Finding, settle_each

MOST_PIECES = 200
OF_ONE_JOB = ("answer",)
"""Rules that ask about one job, however alike their words are."""
_BARS_MM = Fraction(11)
"""The lens covers the check bars beyond both ends of the pieces; the engine's waste is as deep."""


@dataclass(frozen=True, slots=True)
class Share:
    """So many copies of a job."""

    job: Job
    copies: int


@dataclass(frozen=True, slots=True)
class SheetWish:
    """What one sheet is to carry. ``width`` and ``height`` are those of the lens sheet."""

    shares: tuple[Share, ...]
    width: Length
    height: Length
    waste: bool = True
    address: str = ""
    reasons: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Proposed:
    """A sheet as it would be: where everything lies, what found no room, and what the rules say."""

    code: str
    first: Ready
    jobs: tuple[Job, ...]
    left_over: tuple[Share, ...]
    recipe: str
    plan: SharedPlan
    findings: list[Finding]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A job that may share a sheet with another, or why not; ``lacking`` copies are still to be made."""

    job: Job
    lacking: int
    why_not: str = ""


def candidates(session: Session, by: Actor, *, job: Job) -> list[Candidate]:
    """Every open job beside this one, those that may share its sheet first."""
    first = runs.ready_for(session, by, job=job, wish=RunWish())
    rows = session.execute(
        select(Job)
        .join(Order)
        .where(Job.ended_at.is_(None), Order.cancelled_reason.is_(None), Job.id != job.id)
        .order_by(Order.due_on.is_(None), Order.due_on, Job.id)
    ).scalars()
    found = [_candidate(session, by, first, job, other) for other in rows]
    return [Candidate(job, _lacking(session, job)), *sorted(found, key=lambda one: bool(one.why_not))]


def _lacking(session: Session, job: Job) -> int:
    return for_the_order(session, job).still_open(job)


def _candidate(session: Session, by: Actor, first: Ready, job: Job, other: Job) -> Candidate:
    try:
        why_not = _difference(first, job, runs.ready_for(session, by, job=other, wish=RunWish()), other)
    except Refused as refusal:
        why_not = refusal.sentence
    return Candidate(other, _lacking(session, other), why_not)


def _difference(first: Ready, job: Job, ready: Ready, other: Job) -> str:
    """Why two jobs cannot lie on one sheet; empty where they can."""
    if other.flip != job.flip:
        return "Its lenticules would run the other way: it would lie turned."
    mine, theirs = first.materials, ready.materials
    for what, one, two in (
        ("lens lot", mine.lens_lot, theirs.lens_lot),
        ("printer mode", mine.mode, theirs.mode),
        ("paper", mine.paper, theirs.paper),
    ):
        if one is not two:
            return f"It has another {what}."
    if first.chosen.pitch is not ready.chosen.pitch or first.used.lpi != ready.used.lpi:
        return f"Its pitch at its distance is {ready.used.lpi}, not {first.used.lpi} lines per inch."
    if "correction" in recipes.load(ready.recipe):
        return "It is corrected for a leak, which a shared sheet cannot be: interlace it by itself."
    if other.step_list_id != job.step_list_id:
        return "It was begun under another revision of the steps."
    return ""


def proposed(session: Session, by: Actor, wish: SheetWish) -> Proposed:
    """Lay the pieces out and ask every rule; nothing is written. Raises Refused where it cannot be."""
    wanted = [share for share in wish.shares if share.copies > 0]
    if not wanted:
        raise Refused("Write how many copies of each job the sheet is to carry: at least one.", field="copies")
    if sum(share.copies for share in wanted) > MOST_PIECES:
        raise Refused(f"At most {MOST_PIECES} pieces on one sheet; take fewer.", field="copies")
    run_wish = RunWish(waste=wish.waste, address=wish.address)
    ready = {share.job.number: runs.ready_for(session, by, job=share.job, wish=run_wish) for share in wanted}
    first_job, first = wanted[0].job, ready[wanted[0].job.number]
    for share in wanted:
        if why_not := _difference(first, first_job, ready[share.job.number], share.job):
            raise Refused(f"{share.job.number} cannot share this sheet. {why_not}", field="copies")
    return _laid(session, wish, wanted, first, _said(ready))


def _said(ready: Mapping[str, Ready]) -> list[Finding]:
    """Every rule's words with the job that they are about; what is true of all of them once.

    A customer's word is given for one job, and so is the reason to go on without it.
    """
    by_words: dict[tuple[str, str], list[tuple[str, Finding]]] = {}
    for number, one in ready.items():
        for found in one.findings:
            if found.rule not in sheetsizes.OF_THE_SHEET:  # of a piece alone; the sheet is asked for itself
                alone = number if found.rule in OF_ONE_JOB else ""
                by_words.setdefault((alone, found.sentence), []).append((number, found))
    return [
        found[0][1] if len(found) == len(ready) else replace(found[0][1], rule=f"{found[0][1].rule}: {number}",
                                                             sentence=f"{number}: {words}")
        for (_, words), found in by_words.items()
        for number in [", ".join(name for name, _ in found)]
    ]  # fmt: skip


def _laid(
    session: Session, wish: SheetWish, wanted: Sequence[Share], first: Ready, said: list[Finding]
) -> Proposed:
    job = wanted[0].job
    what = recipes.Ingredients(
        job, first.materials, first.chosen.pitch, str(first.used.lpi), first.code, wish.waste, wish.address
    )
    jobs = [share.job for share in wanted for _ in range(share.copies)]
    room = _room(wish, job.flip)
    alone = {share.job: recipes.plan_of(recipes.load(recipes.recipe(replace(what, job=share.job, waste=False))))
             for share in wanted}  # fmt: skip
    layout = _layout(jobs, alone, room)
    kept = [(one, at) for one, at in zip(jobs, layout.places, strict=True) if at is not None]
    made = recipes.shared_recipe(
        recipes.Sheetful(
            what, tuple(one for one, _ in kept), tuple(at for _, at in kept), str(room[0]), str(room[1])
        )
    )
    plan = recipes.shared_plan_of(recipes.load(made))
    assert plan is not None
    left = {share.job: sum(one is share.job for one, at in zip(jobs, layout.places, strict=True) if at is None)
            for share in wanted}  # fmt: skip
    return Proposed(
        first.code,
        first,
        tuple(one for one, _ in kept),
        tuple(Share(one, count) for one, count in left.items() if count),
        made,
        plan,
        [*said, *sheetsizes.findings(session, plan.sheet, first.materials)],
    )


def _room(wish: SheetWish, flip: str) -> tuple[Length, Length]:
    """The lens sheet less what its check bars take at both ends."""
    bars = 2 * _BARS_MM if wish.waste else Fraction(0)
    off = (Fraction(0), bars) if flip == "left-right" else (bars, Fraction(0))
    sides = [length.mm - less for length, less in zip((wish.width, wish.height), off, strict=True)]
    if min(sides) <= 0:
        raise Refused("The lens sheet is smaller than its own check bars: write its true size.", field="width")
    return parse_length(f"{number_text(sides[0])} mm"), parse_length(f"{number_text(sides[1])} mm")


def _layout(jobs: Sequence[Job], alone: Mapping[Job, Plan], room: tuple[Length, Length]) -> Layout:
    dpi = next(iter(alone.values())).dpi
    area = dots_for(room[0].inches, dpi[0]), dots_for(room[1].inches, dpi[1])
    bare = dots_for(ROOM_MM / INCH_IN_MM, dpi[0]), dots_for(ROOM_MM / INCH_IN_MM, dpi[1])
    return lay_out([alone[job].printed.dots for job in jobs], area=area, room=bare)


def ask_for(session: Session, by: Actor, wish: SheetWish) -> Run:
    """A run for a shared sheet: every number it needs is copied into it now; each ask takes a reason of its own."""
    made = proposed(session, by, wish)
    settled = settle_each(made.findings, reasons=wish.reasons)
    run = runs.new_run(by, made.first, recipe=made.recipe, sample=False)
    run.pieces.extend(RunPiece(job=job) for job in made.jobs)
    session.add(run)
    session.flush()
    jobs = list(dict.fromkeys(made.jobs))
    told = {
        "lpi": run.lpi,
        "pitch on record": run.pitch_lpi,
        "origin": run.pitch.origin,
        "pieces": {job.number: sum(one is job for one in made.jobs) for job in jobs},
    }
    hashes = [picture.file.sha256 for job in jobs for picture in current(job)]
    touched = [ref(run), *map(ref, jobs), ref(run.pitch), ref(run.lens_lot)]
    record(session, by, Act("shared sheet asked for", touched, reason=settled or None, new=told, files=hashes))
    return run
