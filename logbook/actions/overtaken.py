"""A run that what was chosen since has overtaken: made at another pitch, for other materials, from other pictures."""

from collections.abc import Collection

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session

from logbook.actions import leakcorrections
from logbook.actions.jobs import materials_of, pitch_of
from logbook.actions.pictures import current
from logbook.actions.pitchfacts import as_used
from logbook.actions.recipes import correction_of, load, pictures_of
from logbook.records.audit import AuditEntry, AuditObject
from logbook.records.floor import JobMaterials, JobPitch, Print, Run, RunPiece, Sheet
from logbook.records.leaks import JobCorrection
from logbook.records.materials import Lot, Material
from logbook.records.orders import Job, Picture
from logbook.rules.findings import Finding, ask


def overtaken(session: Session, run: Run) -> str:
    """What the run's job has chosen since the run was asked for, in whole sentences; empty when nothing changed.

    Both values stand in each sentence: which of the two is meant is the reader's to say.
    """
    jobs = list(dict.fromkeys(piece.job for piece in run.pieces))
    told = {
        job: [
            *_pitch(session, run, job),
            *_materials(run, materials_of(session, job)),
            *_pictures(run, job),
            *_correction(session, run, job),
        ]
        for job in jobs
    }
    name = len(jobs) > 1
    return " ".join(f"{job.number}: {words}" if name else words for job, said in told.items() for words in said)


def findings(session: Session, run: Run) -> list[Finding]:
    """The same as a question: who goes on with such a run says why."""
    told = overtaken(session, run)
    return [ask("overtaken", told)] if told else []


def before_printing(session: Session, sheet: Sheet) -> list[Finding]:
    """The question at the printer: where nobody was asked when the sheet began, or something was chosen since.

    ``sheet`` is one that is still to be printed; one without a run asks nothing. A replacement begins with the verdict
    on the print it replaces, whose reason is about that print alone.
    """
    return findings(session, sheet.run) if sheet.run is not None and unasked(session, [sheet.id]) else []


def unasked(session: Session, sheets: Collection[int]) -> set[int]:
    """Those of these sheets (row ids) about whose run nobody was asked since its job's newest choice."""
    rows = session.execute(_CHOICES.where(Sheet.id.in_(sheets)))
    return _lens_changed(session, sheets) | {sheet for sheet, started, replaces, *choices in rows
            if replaces or any(at is not None and at > started for at in choices)}  # fmt: skip


def _lens_changed(session: Session, sheets: Collection[int]) -> set[int]:
    """Those whose type of lens was changed since they began: a pitch is converted with its thickness and index."""
    began = {sheet: (started, f"material:{code}") for sheet, started, code in session.execute(
        select(Sheet.id, Sheet.started_at, Material.code).join(Lot, Sheet.lens_lot_id == Lot.id)
        .join(Material, Lot.material_id == Material.id).where(Sheet.id.in_(sheets)))}  # fmt: skip
    changes = select(AuditObject.ref, func.max(AuditEntry.at)).join(AuditEntry, AuditObject.entry_id == AuditEntry.id)
    changes = changes.where(
        AuditObject.ref.in_({name for _, name in began.values()}), AuditEntry.action == "material changed"
    )
    changed = {row[0]: row[1] for row in session.execute(changes.group_by(AuditObject.ref))}
    return {sheet for sheet, (started, name) in began.items() if name in changed and changed[name] > started}


_ITS_JOBS = select(RunPiece.job_id).where(RunPiece.run_id == Sheet.run_id).correlate(Sheet)
_CHOICES = select(
    Sheet.id,
    Sheet.started_at,
    exists().where(Print.sheet_id == Sheet.id, Print.replaces_id.is_not(None)),
    select(func.max(JobPitch.at)).where(JobPitch.job_id.in_(_ITS_JOBS)).scalar_subquery(),
    select(func.max(JobMaterials.at)).where(JobMaterials.job_id.in_(_ITS_JOBS)).scalar_subquery(),
    select(func.max(Picture.added_at))
    .where(Picture.job_id.in_(_ITS_JOBS), Picture.replaced_at.is_(None))
    .scalar_subquery(),
    select(func.max(JobCorrection.at)).where(JobCorrection.job_id.in_(_ITS_JOBS)).scalar_subquery(),
).where(Sheet.run_id.is_not(None))


def _pitch(session: Session, run: Run, job: Job) -> list[str]:
    chosen = pitch_of(session, job)
    if chosen is None:
        return []
    now = as_used(job, chosen.pitch).lpi
    if now == run.lpi and chosen.pitch is run.pitch:
        return []
    was, new = (f"{pitch.origin} {pitch.code}" for pitch in (run.pitch, chosen.pitch))
    return [f"This run was made at {run.lpi} lines per inch ({was}); the job's pitch is now {now} ({new})."]


def _materials(run: Run, now: JobMaterials | None) -> list[str]:
    if now is None:
        return []
    pairs = [
        ("lens lot", run.lens_lot, now.lens_lot, lambda lot: f"{lot.material.name}, {lot.label}"),
        ("printer mode", run.mode, now.mode, lambda mode: f"{mode.machine.name}, {mode.name}"),
        ("paper", run.paper, now.paper, lambda paper: paper.name),
    ]
    changed = [(what, words(was), words(new)) for what, was, new, words in pairs if was is not new]
    return [f"Its {what} is {was}; the job's is now {new}." for what, was, new in changed]


def _pictures(run: Run, job: Job) -> list[str]:
    if job.pictures_erased_at is not None:
        return []
    made = pictures_of(load(run.recipe), job)
    same = [one["sha256"] for one in made] == [picture.file.sha256 for picture in current(job)]
    return [] if same else ["The job's pictures are other ones now than those in this run."]


def _correction(session: Session, run: Run, job: Job) -> list[str]:
    chosen = leakcorrections.in_force(session, job)
    was, now = correction_of(load(run.recipe)), leakcorrections.correction_of(chosen) if chosen else None
    if was == now:
        return []
    words, new = (one.in_words().lower() if one else "not corrected for a leak" for one in (was, now))
    return [f"This run is {words}; the job's choice is now: {new}."]
