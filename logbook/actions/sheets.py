"""Sheets and prints come into being: from an accepted run, or half done from before the logbook."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions import overtaken
from logbook.actions.finding import ref
from logbook.actions.jobs import materials_of
from logbook.actions.materials import refuse_set_aside
from logbook.actions.orders import for_the_order
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import JobMaterials, Print, Run, Sheet, StepRecord
from logbook.records.orders import Job
from logbook.refusals import Refused
from logbook.rules.findings import settle
from logbook.rules.stages import stages_before

SHEET_STAGES = ("print", "dry", "adhesive", "laminate", "dwell")
BEFORE = "before the logbook"


def open_quantity(session: Session, job: Job) -> int:
    """Pieces that the order still needs: not on their way and not gone."""
    return max(0, job.quantity - session.execute(for_the_order(job)).scalar_one())


def start_sheets(session: Session, by: Actor, *, run: Run, count: int, reason: str = "") -> list[Sheet]:
    """Sheets to be printed from an accepted run, each with one print per piece of the run.

    A run that its job has overtaken (see ``actions.overtaken``) makes sheets for a reason only.
    """
    if run.accepted_at is None:
        raise Refused("Look at the interlaced file and accept it first.")
    if count < 1:
        raise Refused("At least one sheet.", field="count")
    settled = settle(overtaken.findings(session, run), reason=reason)
    made = [_from_run(session, by, run) for _ in range(count)]
    prints = [piece for sheet in made for piece in sheet.prints]
    record(
        session,
        by,
        Act(
            "sheets started",
            [ref(run), *map(ref, made), *map(ref, prints), *_jobs(prints)],
            reason=settled or None,
            new={"sheets": [sheet.number for sheet in made], "serials": [piece.serial for piece in prints]},
        ),
    )
    return made


def _jobs(prints: list[Print]) -> list[str]:
    return [ref(piece.job) for piece in prints]


def _from_run(session: Session, by: Actor, run: Run) -> Sheet:
    job = run.pieces[0].job
    materials = materials_of(session, job)
    _check_source(run, materials)
    sheet = Sheet(
        number=_sheet_number(session, job),
        run=run,
        lens_lot=run.lens_lot,
        mode=run.mode,
        stage="print",
        # chosen anew since: another paper would not be the run's
        paper_lot=materials.paper_lot if materials and materials.paper is run.paper else None,
        adhesive_lot=materials.adhesive_lot if materials else None,
        started_at=by.now,
    )
    session.add(sheet)
    session.flush()
    for piece in run.pieces:
        _new_print(session, sheet, piece.job, sample=run.sample)
    return sheet


def _check_source(run: Run, materials: JobMaterials | None) -> None:
    """What was withdrawn or set aside after the run makes no new sheets."""
    if run.pitch.withdrawal is not None:
        raise Refused(f"The pitch of this run was withdrawn: {run.pitch.withdrawal.reason} Start another run.")
    lots = (materials.paper_lot, materials.adhesive_lot) if materials else ()
    refuse_set_aside(run.lens_lot, *lots)


def _sheet_number(session: Session, job: Job) -> str:
    count = session.execute(select(func.count(Sheet.id)).where(Sheet.number.like(f"{job.number}-S%"))).scalar_one()
    return f"{job.number}-S{count + 1}"


def _new_print(session: Session, sheet: Sheet, job: Job, *, sample: bool, replaces: Print | None = None) -> Print:
    count = session.execute(select(func.count(Print.id)).where(Print.job_id == job.id)).scalar_one()
    piece = Print(serial=f"{job.number}{count + 1}", job=job, sheet=sheet, sample=sample, replaces=replaces)
    session.add(piece)
    session.flush()
    return piece


def replace_print(session: Session, by: Actor, *, piece: Print) -> Sheet:
    """A new sheet from the same run for a print that is lost; part of another act."""
    run = piece.sheet.run
    if run is None:
        raise Refused(f"{piece.serial} was interlaced before the logbook; start a run for its job instead.")
    sheet = _from_run(session, by, run)
    for new in sheet.prints:
        if new.job_id == piece.job_id:
            new.replaces, new.sample = piece, piece.sample
    return sheet


def enter_midway(session: Session, by: Actor, *, job: Job, stage: str, count: int, note: str = "") -> list[Sheet]:
    """Work that was half done when the logbook began: earlier stages are marked, not invented."""
    materials = materials_of(session, job)
    if materials is None:
        raise Refused("Say which lens lot it is made from first.", field="lens_lot")
    if count < 1:
        raise Refused("At least one sheet.", field="count")
    earlier = stages_before(stage)
    job.entered_at_stage = stage
    made = [_midway_sheet(session, by, job, stage, earlier) for _ in range(count)]
    prints = [piece for sheet in made for piece in sheet.prints]
    record(
        session,
        by,
        Act(
            "entered half done",
            [ref(job), *map(ref, made), *map(ref, prints)],
            reason=note.strip() or None,
            new={"stage": stage, "serials": [piece.serial for piece in prints]},
        ),
    )
    return made


def _midway_sheet(session: Session, by: Actor, job: Job, stage: str, earlier: tuple[str, ...]) -> Sheet:
    materials = materials_of(session, job)
    assert materials is not None
    on_sheet = stage in SHEET_STAGES
    sheet = Sheet(
        number=_sheet_number(session, job),
        run=None,
        lens_lot=materials.lens_lot,
        mode=materials.mode,
        paper_lot=materials.paper_lot,
        adhesive_lot=materials.adhesive_lot,
        stage=stage if on_sheet else "parted",
        started_at=by.now,
    )
    session.add(sheet)
    session.flush()
    piece = _new_print(session, sheet, job, sample=False)
    piece.stage = "on sheet" if on_sheet else stage
    for before in earlier:
        sheet_id, print_id = (sheet.id, None) if before in SHEET_STAGES else (None, piece.id)
        session.add(
            StepRecord(
                sheet_id=sheet_id,
                print_id=print_id,
                stage=before,
                step_key=f"{before}-sign",
                value=BEFORE,
                at=by.now,
                source=BEFORE,
                person_id=None,
            )
        )
    return sheet
