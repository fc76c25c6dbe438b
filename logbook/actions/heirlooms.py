"""What a job leaves to its reorder, and what has changed since it was made, one plain sentence each.

Nothing is written here. What cannot be taken over is left out, and its gate stays open as on any new job.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import leakcorrections
from logbook.actions.jobs import MaterialChoice, materials_of, pitch_of
from logbook.actions.materials import left
from logbook.actions.pictures import current
from logbook.actions.pitchfacts import as_used, facts_and_needs
from logbook.actions.shop import standing_step_list
from logbook.actions.strengths import weigh
from logbook.manner import counted
from logbook.records.audit import Actor
from logbook.records.files import FileStore
from logbook.records.floor import JobPitch, Print, Run, RunPiece, Sheet
from logbook.records.leaks import JobCorrection
from logbook.records.materials import Lot
from logbook.records.orders import Job, Picture
from logbook.records.pitch import PitchOnRecord
from logbook.rules.findings import Finding, Strength
from logbook.rules.validity import may_serve


@dataclass(frozen=True, slots=True)
class Shelves:
    """Where a shop keeps its files and its own step list."""

    store: FileStore
    own_safety: Path


@dataclass(frozen=True, slots=True)
class Heirloom:
    """What a new job takes over from an old one, and what has changed since, in plain sentences."""

    job: Job
    pictures: tuple[Picture, ...]
    materials: MaterialChoice | None
    pitch: PitchOnRecord | None
    findings: tuple[Finding, ...]
    reason: str
    changed: tuple[str, ...]
    correction: JobCorrection | None = None


def heirloom(session: Session, by: Actor, shelves: Shelves, *, job: Job) -> Heirloom:
    """What this job leaves to a reorder of it made now."""
    changed = [*_customer(job), *_step_list(shelves.own_safety, job)]
    pictures = list(_pictures(shelves.store, job, changed))
    materials = _materials(session, by, job, changed)
    pitch, findings, reason = _pitch(session, by, job, materials, changed)
    correction = _correction(session, job, changed)
    return Heirloom(job, tuple(pictures), materials, pitch, tuple(findings), reason, tuple(changed), correction)


def _customer(job: Job) -> Iterator[str]:
    customer = job.order.customer
    if customer is not None and customer.erased_at is not None:
        yield "The customer was erased from the logbook; the new order carries no name."


def _step_list(own_safety: Path, job: Job) -> Iterator[str]:
    now = standing_step_list(own_safety)
    if json.loads(now) == json.loads(job.step_list.content):
        return
    then, today = job.step_list.revision, str(json.loads(now)["revision"])
    words = f"{then} then, {today} now" if then != today else f"both are called {then}, but they differ"
    yield f"The step list was revised: {words}. The new job follows the new one."


def _pictures(store: FileStore, job: Job, changed: list[str]) -> Iterator[Picture]:
    # never by its file's name: that may be a person's, and these sentences are kept
    for number, picture in enumerate(current(job), start=1):
        if store.has(picture.file.sha256) and store.has(picture.preview.sha256):
            yield picture
        else:
            changed.append(f"The file of picture {number} is not here any more; add that picture again.")


def _materials(session: Session, by: Actor, job: Job, changed: list[str]) -> MaterialChoice | None:
    then = _as_made(session, job)
    if then is None:
        return None
    troubles = [_lot_trouble(session, by, then.lens_lot), _printer_trouble(then)]
    changed.extend(trouble for trouble in troubles if trouble)
    paper_lot = _kept_lot(session, by, then.paper_lot, changed)
    adhesive_lot = _kept_lot(session, by, then.adhesive_lot, changed)
    if any(troubles):
        return None
    changed.extend(_scarce(session, job, then.lens_lot))
    return replace(then, paper_lot=paper_lot, adhesive_lot=adhesive_lot)


def _as_made(session: Session, job: Job) -> MaterialChoice | None:
    """The materials of the newest sheet made for the order, else those chosen; the room's climate is asked anew."""
    chosen = materials_of(session, job)
    if chosen is None:
        return None
    then = MaterialChoice(chosen.lens_lot, chosen.mode, chosen.paper, chosen.paper_lot, chosen.adhesive_lot)
    sheet = _newest_sheet(session, job)
    if sheet is None:
        return then
    paper_lot = sheet.paper_lot or then.paper_lot
    paper = paper_lot.material if paper_lot else then.paper
    return MaterialChoice(
        sheet.lens_lot, sheet.mode or then.mode, paper, paper_lot, sheet.adhesive_lot or then.adhesive_lot
    )


def _newest_sheet(session: Session, job: Job) -> Sheet | None:
    return session.execute(
        select(Sheet)
        .join(Print, Print.sheet_id == Sheet.id)
        .where(Print.job_id == job.id, Print.sample.is_(False), Print.stage != "scrapped")
        .order_by(Sheet.id.desc())
        .limit(1)
    ).scalar_one_or_none()


def _lot_trouble(session: Session, by: Actor, lot: Lot) -> str | None:
    """Why nothing can be made of a lot any more; None where it can."""
    words = f"{lot.material.kind.capitalize()} lot {lot.label}"
    if lot.set_aside_reason:
        return f"{words} was set aside: {lot.set_aside_reason}."
    if lot.expires_on is not None and lot.expires_on < by.day:
        return f"{words} expired on {lot.expires_on:%Y-%m-%d}."
    count = left(session, lot)
    if count is not None and count <= 0:
        return f"{words} is used up."
    return None


def _kept_lot(session: Session, by: Actor, lot: Lot | None, changed: list[str]) -> Lot | None:
    if lot is None or (trouble := _lot_trouble(session, by, lot)) is None:
        return lot
    changed.append(f"{trouble} Choose another.")
    return None


def _printer_trouble(then: MaterialChoice) -> str | None:
    machine = then.mode.machine
    return f"{machine.name} is out of use: {machine.out_of_use_reason}." if machine.out_of_use_reason else None


def _scarce(session: Session, job: Job, lot: Lot) -> Iterator[str]:
    count = left(session, lot)
    if count is not None and count < job.quantity:
        were = "was" if job.quantity == 1 else "were"
        yield f"Lens lot {lot.label} has {count} left; {counted(job.quantity, 'piece')} {were} made then."


def _pitch(
    session: Session, by: Actor, job: Job, materials: MaterialChoice | None, changed: list[str]
) -> tuple[PitchOnRecord | None, list[Finding], str]:
    """The pitch that was used then, where it may serve again without a new reason."""
    chosen = pitch_of(session, job)
    pitch = _pitch_as_made(session, job) or (chosen.pitch if chosen else None)
    if pitch is None:
        return None, [], ""
    if (trouble := _pitch_trouble(pitch, materials)) is not None or materials is None:
        changed.append(f"Pitch {pitch.lpi} ({pitch.code}) {trouble}")
        return None, [], ""
    findings = weigh(session, may_serve(*facts_and_needs(session, by, job=job, materials=materials, pitch=pitch)))
    known = _known(chosen)
    changed.extend(_reckoned(session, job, pitch))
    news = [found for found in findings if found.rule not in known or found.strength is Strength.STOP]
    changed.extend(f"Pitch {pitch.lpi} ({pitch.code}): {found.sentence}" for found in news)
    if any(found.strength is not Strength.NOTE for found in news):
        return None, [], ""
    return pitch, findings, chosen.reason if chosen else ""


def _pitch_trouble(pitch: PitchOnRecord, materials: MaterialChoice | None) -> str | None:
    """Why a pitch cannot even be judged; None where it can."""
    if (gone := pitch.withdrawal) is not None:
        return f"was withdrawn on {gone.at.astimezone():%Y-%m-%d}: {gone.reason}"
    if materials is None:
        return "waits for the materials: it serves its own lot and printer only."
    return None


def _run_as_made(session: Session, job: Job) -> Run | None:
    """The newest file that was accepted for the order."""
    found = select(Run).join(RunPiece, RunPiece.run_id == Run.id)
    found = found.where(RunPiece.job_id == job.id, Run.sample.is_(False), Run.accepted_at.is_not(None))
    return session.execute(found.order_by(Run.id.desc()).limit(1)).scalar_one_or_none()


def _pitch_as_made(session: Session, job: Job) -> PitchOnRecord | None:
    """The pitch of that file."""
    run = _run_as_made(session, job)
    return run.pitch if run is not None else None


def _reckoned(session: Session, job: Job, pitch: PitchOnRecord) -> Iterator[str]:
    """The same pitch on record is used at another value where what is known of the lens has changed."""
    run, now = _run_as_made(session, job), as_used(job, pitch).lpi
    if run is not None and run.pitch is pitch and run.lpi != now:
        yield (f"Pitch {pitch.lpi} ({pitch.code}) was used at {run.lpi} then and is used at {now} now: the lens's "
               "thickness or index was written down or changed.")


def _correction(session: Session, job: Job, changed: list[str]) -> JobCorrection | None:
    """The leak correction chosen for the job; where it does not serve any more, the new job's run will ask."""
    changed.extend(found.sentence for found in leakcorrections.findings(session, job))
    return leakcorrections.in_force(session, job)


def _known(chosen: JobPitch | None) -> set[str]:
    """The rules that had something to say when the pitch was chosen: nothing new when they say it again."""
    return {rule for _, rule, _ in json.loads(chosen.findings or "[]")} if chosen else set()
