"""Interlace runs: asked for, claimed by a worker, finished, accepted. The row is the truth about the work."""

import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, or_, select, update
from sqlalchemy.orm import Session

from logbook.actions import leakcorrections, overtaken, recipes, sheetsizes
from logbook.actions.finding import ref
from logbook.actions.jobs import gates, materials_of, pitch_of
from logbook.actions.materials import refuse_set_aside
from logbook.actions.pictures import current
from logbook.actions.pitchchoices import findings_for
from logbook.actions.pitchfacts import Used, as_used
from logbook.actions.repairs import MENDED
from logbook.actions.sheets import MOUNT_ONLY
from logbook.actions.strengths import weigh
from logbook.records.audit import Act, Actor, entries_for, record
from logbook.records.base import new_code
from logbook.records.files import keep
from logbook.records.floor import UNFINISHED, JobMaterials, JobPitch, Run, RunPiece
from logbook.records.orders import Job
from logbook.refusals import Refused
from logbook.rules.findings import Finding, Strength, settle, settle_each
from logbook.rules.gates import may_interlace

LEASE = timedelta(seconds=30)
MOST_ATTEMPTS = 3


@dataclass(frozen=True, slots=True)
class RunWish:
    """How a run is wanted: for the order or as a sample, with or without marks in the waste."""

    sample: bool = False
    waste: bool = False
    reason: str = ""
    """Serves where only one thing is asked."""
    reasons: Mapping[str, str] = field(default_factory=dict)
    """By the asks' fields."""
    address: str = ""
    """This logbook's address, for the code in the waste."""


def ask_for(session: Session, by: Actor, *, job: Job, wish: RunWish = RunWish()) -> Run:
    """A run for a job: every number it needs is copied into it now. Every ask takes a reason of its own."""
    ready = ready_for(session, by, job=job, wish=wish)
    settled = settle_each(ready.findings, reason=wish.reason, reasons=wish.reasons)
    run = new_run(by, ready, recipe=ready.recipe, sample=wish.sample)
    run.pieces.append(RunPiece(job=job))
    session.add(run)
    session.flush()
    _record_asked(session, by, job, run, settled)
    return run


def new_run(by: Actor, ready: "Ready", *, recipe: str, sample: bool) -> Run:
    """A run with every number copied into it, and no piece yet."""
    chosen, materials = ready.chosen, ready.materials
    return Run(
        code=ready.code,
        sample=sample,
        pitch=chosen.pitch,
        pitch_lpi=chosen.pitch.lpi,
        lpi=ready.used.lpi,
        u_lpi=ready.used.u_lpi,
        pitch_reason=chosen.reason,
        lens_lot=materials.lens_lot,
        mode=materials.mode,
        paper=materials.paper,
        recipe=recipe,
        asked_at=by.now,
        asked_by_id=by.person_id,
    )


def asks_before(session: Session, by: Actor, *, job: Job, wish: RunWish) -> list[Finding]:
    """What would ask for a reason, each for its own; none where the run cannot be asked for at all."""
    try:
        findings = ready_for(session, by, job=job, wish=wish).findings
    except Refused:
        return []
    return [found for found in findings if found.strength is Strength.ASK]


@dataclass(frozen=True, slots=True)
class Ready:
    """What a run is made of, nothing written yet, and what the rules say of it."""

    code: str
    chosen: JobPitch
    materials: JobMaterials
    used: Used
    recipe: str
    findings: list[Finding]


def ready_for(session: Session, by: Actor, *, job: Job, wish: RunWish) -> Ready:
    """What a run of this job would be made of, nothing written. Raises Refused for whatever stops it."""
    if job.kind == MOUNT_ONLY:
        raise Refused(
            f"{job.number} is only mounted here: the customer brings the print. Start its sheets on the page "
            "of the job."
        )
    # stops first: without materials or pitch there is nothing to plan
    findings = weigh(session, may_interlace(gates(session, job), sample=wish.sample))
    settle([found for found in findings if found.strength is Strength.STOP], reason=None)
    materials, chosen = materials_of(session, job), pitch_of(session, job)
    assert materials is not None
    assert chosen is not None
    refuse_set_aside(materials.lens_lot, materials.paper_lot, materials.adhesive_lot)
    # what was true when the pitch was chosen may not be true any more
    still = findings_for(session, by, job=job, pitch=chosen.pitch)
    settle([found for found in still if found.strength is Strength.STOP], reason=None)
    used, code = as_used(job, chosen.pitch), new_code()
    corrected = leakcorrections.in_force(session, job)
    made = recipes.recipe(
        recipes.Ingredients(
            job,
            materials,
            chosen.pitch,
            str(used.lpi),
            code,
            wish.waste,
            wish.address,
            leakcorrections.told(corrected) if corrected else None,
        )
    )
    plan = recipes.plan_of(recipes.load(made))
    findings = [*findings, *_not_asked_yet(chosen, still), *sheetsizes.findings(session, plan, materials)]
    findings.extend(leakcorrections.findings(session, job))
    return Ready(code, chosen, materials, used, made, findings)


def _not_asked_yet(chosen: JobPitch, still: list[Finding]) -> list[Finding]:
    """What asks for a reason now and did not when the pitch was chosen: the room, the printer or the size changed."""
    known = {sentence for _, _, sentence in json.loads(chosen.findings or "[]")}
    return [found for found in still if found.strength is Strength.ASK and found.sentence not in known]


def asked_because(session: Session, run: Run) -> str:
    """The reason that was given when a run, or a shared sheet, was asked for; empty for most."""
    asked = ("interlace run asked for", "shared sheet asked for")
    return next((entry.reason or "" for entry in entries_for(session, ref(run)) if entry.action in asked), "")


def _record_asked(session: Session, by: Actor, job: Job, run: Run, settled: str) -> None:
    told = {"lpi": run.lpi, "pitch on record": run.pitch_lpi, "sample": run.sample, "origin": run.pitch.origin}
    if words := recipes.corrected_words(run.recipe):
        told["correction"] = words
    hashes = [picture.file.sha256 for picture in current(job)]
    touched = [ref(run), ref(job), ref(run.pitch), ref(run.lens_lot)]
    record(session, by, Act("interlace run asked for", touched, reason=settled or None, new=told, files=hashes))


@dataclass(frozen=True, slots=True)
class Claim:
    """A run that one worker may work on until its lease ends; every later write shows the token."""

    run_id: int
    code: str
    token: str
    recipe: dict
    provenance: dict[str, str]
    sample: bool


def waiting_runs(session: Session, now: datetime) -> list[int]:
    """Runs that nobody works on: waiting, or running with a lease that ended."""
    return list(session.execute(select(Run.id).where(_claimable(now)).order_by(Run.id)).scalars())


def _claimable(now: datetime) -> ColumnElement[bool]:
    return UNFINISHED & or_(Run.state == "waiting", Run.lease_until < now)


def claim(session: Session, run_id: int, now: datetime, by: Actor | None = None) -> Claim | None:
    """Take a run, or None when another worker was quicker or it is not to be had.

    A run that is taken over from a dead worker is on record as a repair by ``by``.
    """
    token = secrets.token_hex(16)
    taken: Any = session.execute(
        update(Run)
        .where(Run.id == run_id, _claimable(now), Run.attempts < MOST_ATTEMPTS, Run.cancel_wanted.is_(False))
        .values(
            state="running", token=token, lease_until=now + LEASE, attempts=Run.attempts + 1, progress=0, started_at=now
        )
    )
    if taken.rowcount != 1:
        return None
    run = session.get_one(Run, run_id)
    session.refresh(run)
    if by is not None and run.attempts > 1:
        why = "its worker had stopped answering"
        record(session, by, Act("interlace run begun again", [*_touched(run), MENDED], reason=why))
    return Claim(run.id, run.code, token, json.loads(run.recipe), provenance(run), run.sample)


def provenance(run: Run) -> dict[str, str]:
    """What the output file says about itself: no serial and no clock, so that the same recipe gives the same bytes.

    On a shared sheet also whose each piece is, in the order of the file's pieces.
    """
    told = {
        "run": run.code,
        "pitch_source": f"{run.pitch.origin} {run.pitch.code}",
        "pitch_on_record": str(run.pitch_lpi),
    }
    shared = json.loads(run.recipe).get("pieces", ())
    return told | ({"jobs": ", ".join(piece["job"] for piece in shared)} if shared else {})


def beat(session: Session, claimed: Claim, *, percent: int, now: datetime) -> bool:
    """Keep the lease and report progress; True when the run is to go on."""
    kept: Any = session.execute(
        update(Run)
        .where(Run.id == claimed.run_id, Run.token == claimed.token, Run.state == "running")
        .values(lease_until=now + LEASE, progress=percent)
    )
    if kept.rowcount != 1:
        return False
    return not session.execute(select(Run.cancel_wanted).where(Run.id == claimed.run_id)).scalar_one()


def finish(
    session: Session, by: Actor, claimed: Claim, *, stored: tuple[str, int], result: dict, engine_version: str
) -> bool:
    """Record the output; False when the run was taken from this worker meanwhile."""
    run = session.get_one(Run, claimed.run_id)
    if run.token != claimed.token or run.state != "running":
        return False
    sha256, size = stored
    if run.pixels_sha256 not in (None, result["pixels_sha256"]):
        was = run.pixels_sha256 or ""
        _end(session, by, run, "failed", f"made anew, its dots differ from those that were printed ({was[:8]})")
        return False
    run.output = keep(
        session, sha256=sha256, size=size, media_type="image/tiff", kind="interlaced", now=by.now, recipe=run.recipe
    )
    run.state, run.progress, run.ended_at, run.engine_version = "done", 100, by.now, engine_version
    run.result, run.pixels_sha256 = json.dumps(result, sort_keys=True), result["pixels_sha256"]
    run.token = run.lease_until = run.trouble = None
    boxes = result.get("pieces_trim_dots") or [result["trim_dots"]] * len(run.pieces)
    for piece, box in zip(run.pieces, boxes, strict=True):
        piece.trim_dots = " ".join(str(dot) for dot in box)
    record(
        session,
        by,
        Act(
            "interlace run done",
            _touched(run),
            files=[sha256],
            new={"pixels_sha256": run.pixels_sha256, "dots": result["dots"], "engine": engine_version},
        ),
    )
    return True


def fail(session: Session, by: Actor, claimed: Claim, *, trouble: str) -> None:
    """Give a run up with a reason."""
    run = session.get_one(Run, claimed.run_id)
    if run.token == claimed.token and run.state == "running":
        _end(session, by, run, "failed", trouble)


def _end(session: Session, by: Actor, run: Run, state: str, trouble: str, *more: str) -> None:
    # prints came from a run that was only to be made anew: it stays done, its file stays away
    run.state = state if run.pixels_sha256 is None else "done"
    run.trouble, run.ended_at, run.cancel_wanted = trouble, by.now, False
    run.token = run.lease_until = None
    record(
        session,
        by,
        Act(f"interlace run {state}", [*_touched(run), *more], reason=_without_names(run, trouble)),
    )


def _without_names(run: Run, trouble: str) -> str:
    """A file's name may be a person's, and the trail keeps none."""
    for number, picture in enumerate(recipes.load(run.recipe)["pictures"], start=1):
        trouble = trouble.replace(picture["name"], f"picture {number}")
    return trouble


def _touched(run: Run) -> list[str]:
    return [ref(run), *dict.fromkeys(ref(piece.job) for piece in run.pieces)]


def cancel(session: Session, by: Actor, *, run: Run) -> None:
    """Stop a run: at once while it waits, within a moment while it runs."""
    if run.state == "waiting":
        _end(session, by, run, "cancelled", f"stopped by {by.name}")
    elif run.state == "running":
        run.cancel_wanted = True
        record(session, by, Act("interlace run to be stopped", _touched(run)))
    else:
        raise Refused("This run has ended already; there is nothing left to stop.")


def stopped(session: Session, by: Actor, claimed: Claim) -> None:
    """The worker obeyed the wish to stop."""
    run = session.get_one(Run, claimed.run_id)
    if run.token == claimed.token and run.state == "running":
        _end(session, by, run, "cancelled", "stopped while it ran")


def give_up_dead(session: Session, by: Actor, now: datetime) -> list[Run]:
    """Fail runs that died too often, and end those that were to be stopped when their worker died."""
    dead = list(
        session.execute(
            select(Run).where(
                Run.state == "running", Run.lease_until < now, or_(Run.attempts >= MOST_ATTEMPTS, Run.cancel_wanted)
            )
        ).scalars()
    )
    for run in dead:
        if run.cancel_wanted:
            _end(session, by, run, "cancelled", "stopped while it ran")
        else:
            trouble = f"the worker stopped answering {MOST_ATTEMPTS} times; start it again"
            _end(session, by, run, "failed", trouble, MENDED)
    return dead


def again(session: Session, by: Actor, *, run: Run) -> None:
    """Put a failed or stopped run back into the queue."""
    if run.state not in ("failed", "cancelled"):
        raise Refused("Only a run that failed or was stopped can be started again.")
    if any(piece.job.pictures_erased_at for piece in run.pieces):
        raise Refused("Its pictures were erased; add pictures and start a new run.")
    run.state, run.attempts, run.cancel_wanted, run.trouble, run.ended_at = "waiting", 0, False, None, None
    record(session, by, Act("interlace run started again", _touched(run)))


def accept(session: Session, by: Actor, *, run: Run, reason: str = "") -> None:
    """Somebody looked at the interlaced file and takes it for printing; with a reason, if its job moved on since."""
    if run.state != "done" or run.output is None:
        raise Refused("Only a finished run can be accepted; wait until it is done.")
    if run.accepted_at is not None:
        raise Refused("This run was accepted already; start its sheets.")
    settled = settle(overtaken.findings(session, run), reason=reason)
    run.accepted_at, run.accepted_by_id = by.now, by.person_id
    record(
        session,
        by,
        Act(
            "interlaced file accepted",
            _touched(run),
            meaning="approved",
            reason=settled or None,
            files=[run.output.sha256],
        ),
    )
