"""Sheets and prints come into being: from an accepted run, or half done from before the logbook."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions import overtaken
from logbook.actions.finding import ref
from logbook.actions.jobs import materials_of
from logbook.actions.materials import refuse_set_aside
from logbook.actions.orders import for_the_order
from logbook.actions.standing import refuse_withdrawn
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import JobMaterials, Print, Run, Sheet, StepRecord
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot
from logbook.records.orders import Job
from logbook.refusals import Refused
from logbook.rules.findings import settle
from logbook.rules.stages import stages_before

SHEET_STAGES = ("print", "dry", "adhesive", "laminate", "dwell")
BEFORE = "before the logbook"
SPARE = 5
"""So many sheets more than are lacking may be started at once: for setting up, and for what may be spoiled."""
MOUNT_ONLY, OWN_PRINT = "mount-only", "the customer's own print"


def without_run(job: Job) -> str:
    """Where the interlacing of a sheet without a run was done."""
    return OWN_PRINT if job.kind == MOUNT_ONLY else BEFORE


def open_quantity(session: Session, job: Job) -> int:
    """Pieces that the order still needs: not on their way and not gone."""
    return for_the_order(session, job).still_open(job)


def start_sheets(session: Session, by: Actor, *, run: Run, count: int, reason: str = "") -> list[Sheet]:
    """Sheets to be printed from an accepted run, each with one print per piece of the run.

    A run that its job has overtaken (see ``actions.overtaken``) makes sheets for a reason only.
    """
    if run.accepted_at is None:
        raise Refused("Look at the interlaced file and accept it first.")
    _check_count(session, run, count)
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


def _check_count(session: Session, run: Run, count: int) -> None:
    """A slip of the finger (40 for 4) prints no heap of lens sheets that nobody ordered."""
    if count < 1:
        raise Refused("Write how many sheets: at least one.", field="count")
    if run.sample and count > SPARE:
        raise Refused(f"Of a sample at most {SPARE} sheets at once.", field="count")
    lacking = 0 if run.sample else sheets_lacking(session, run)
    if count > lacking + SPARE and shared(run):
        raise Refused(
            f"The jobs on it need {lacking} more of this sheet; at most {lacking + SPARE} at once.", field="count"
        )
    if count > lacking + SPARE:
        raise Refused(
            f"The job lacks {lacking} {'piece' if lacking == 1 else 'pieces'}; at most {lacking + SPARE} sheets at "
            "once. If more are wanted, raise its number of pieces first.",
            field="count",
        )


def shared(run: Run) -> bool:
    """Whether several pieces lie on each sheet of a run."""
    return len(run.pieces) > 1


def sheets_lacking(session: Session, run: Run) -> int:
    """So many sheets of this run give every job on it all the pieces that it lacks."""
    copies = Counter(piece.job for piece in run.pieces)
    return max(-(-open_quantity(session, job) // count) for job, count in copies.items())


def _jobs(prints: list[Print]) -> list[str]:
    return list(dict.fromkeys(ref(piece.job) for piece in prints))


def _from_run(session: Session, by: Actor, run: Run) -> Sheet:
    job = run.pieces[0].job
    materials = materials_of(session, job)
    _check_source(session, run, materials)
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


def _check_source(session: Session, run: Run, materials: JobMaterials | None) -> None:
    """What was withdrawn or set aside after the run makes no new sheets."""
    refuse_withdrawn(session, run)
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


def replace_prints(session: Session, by: Actor, *, pieces: Sequence[Print]) -> Sheet:
    """A new sheet from the same run for prints of one sheet that are lost, each named by its own; part of an act."""
    piece = pieces[0]
    run = piece.sheet.run
    if run is None and piece.job.kind == MOUNT_ONLY:
        raise Refused(f"{piece.serial} is the customer's own print: scrap it, and ask them for another to mount.")
    if run is None:
        raise Refused(f"{piece.serial} was interlaced before the logbook; start a run for its job instead.")
    if shared(run) and len(pieces) < sum(one.stage != "scrapped" for one in piece.sheet.prints):
        raise Refused(
            f"{piece.serial} lay on a shared sheet, which would be made whole again for it: scrap it, and interlace "
            f"{piece.job.number} by itself or on another sheet."
        )
    sheet = _from_run(session, by, run)
    lost = list(pieces)
    for new in sheet.prints:
        if (old := next((one for one in lost if one.job_id == new.job_id), None)) is not None:
            lost.remove(old)
            new.replaces, new.sample = old, old.sample
    return sheet


def enter_midway(session: Session, by: Actor, *, job: Job, stage: str, count: int, note: str = "") -> list[Sheet]:
    """Work that was half done when the logbook began: earlier stages are marked, not invented."""
    if job.kind == MOUNT_ONLY:
        raise Refused("A print that is only mounted here begins with its lens: take the customer's own prints.")
    materials = materials_of(session, job)
    if materials is None:
        raise Refused("Say which lens lot it is made from first.", field="lens_lot")
    if count < 1:
        raise Refused("Write how many sheets: at least one.", field="count")
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


@dataclass(frozen=True, slots=True)
class Mounting:
    """What a customer's own prints are mounted with. ``note`` keeps what is known of their pitch and printer."""

    lens_lot: Lot
    adhesive_lot: Lot | None = None
    count: int = 1
    note: str = ""


def start_mounting(session: Session, by: Actor, *, job: Job, what: Mounting) -> list[Sheet]:
    """Sheets of a mount-only job: the customer's own prints begin where the adhesive goes on."""
    if job.kind != MOUNT_ONLY:
        raise Refused(f"{job.number} is printed here; its sheets begin from an interlace run.")
    if what.count < 1:
        raise Refused("Write how many sheets: at least one.", field="count")
    if what.lens_lot.material.kind != "lens":
        raise Refused(
            f"Lot {what.lens_lot.label} is {what.lens_lot.material.name}: no lens; choose a lot of a lens.",
            field="lens_lot",
        )
    if what.adhesive_lot is not None and what.adhesive_lot.material.kind != "adhesive":
        raise Refused(f"Lot {what.adhesive_lot.label} is no adhesive; choose a lot of adhesive.", field="adhesive_lot")
    refuse_set_aside(what.lens_lot, what.adhesive_lot)
    stuff = _Stuff(what.lens_lot, None, None, what.adhesive_lot)
    made = [
        _sheet_at(
            session, by, job, stuff, "adhesive", stages_before("adhesive"), value=OWN_PRINT, notes=what.note.strip()
        )
        for _ in range(what.count)
    ]
    prints = [piece for sheet in made for piece in sheet.prints]
    lots = [ref(lot) for lot in (what.lens_lot, what.adhesive_lot) if lot is not None]
    told = {"serials": [piece.serial for piece in prints], "note": what.note.strip()}
    record(
        session, by, Act("customer's own prints taken", [ref(job), *map(ref, made), *map(ref, prints), *lots], new=told)
    )
    return made


@dataclass(frozen=True, slots=True)
class _Stuff:
    lens_lot: Lot
    mode: PrinterMode | None
    paper_lot: Lot | None
    adhesive_lot: Lot | None


def _midway_sheet(session: Session, by: Actor, job: Job, stage: str, earlier: tuple[str, ...]) -> Sheet:
    materials = materials_of(session, job)
    assert materials is not None
    stuff = _Stuff(materials.lens_lot, materials.mode, materials.paper_lot, materials.adhesive_lot)
    return _sheet_at(session, by, job, stuff, stage, earlier, value=BEFORE)


def _sheet_at(
    session: Session,
    by: Actor,
    job: Job,
    stuff: _Stuff,
    stage: str,
    earlier: tuple[str, ...],
    *,
    value: str,
    notes: str = "",
) -> Sheet:
    """A sheet with one piece that enters at a stage; the earlier ones say ``value`` and name nobody.

    ``notes`` stand at the first of them: what is known of it.
    """
    on_sheet = stage in SHEET_STAGES
    sheet = Sheet(
        number=_sheet_number(session, job),
        run=None,
        lens_lot=stuff.lens_lot,
        mode=stuff.mode,
        paper_lot=stuff.paper_lot,
        adhesive_lot=stuff.adhesive_lot,
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
                value=value,
                notes=notes if before == earlier[0] else "",
                at=by.now,
                source=BEFORE,
                person_id=None,
            )
        )
    return sheet
