"""The numbers of a traveller: of what will be made, and of each sheet as it was made.

Sheets of one job can come from several runs. What all of them share stands once,
large; what differs is never given one value for all, but stands beside each sheet.
"""

from dataclasses import fields, replace
from decimal import Decimal

from sqlalchemy.orm import object_session

from logbook.actions import outputs, targets
from logbook.actions.pitchfacts import as_used
from logbook.actions.recipes import corrected_words
from logbook.actions.sheets import without_run
from logbook.actions.standing import why_withdrawn
from logbook.manner import Manner
from logbook.paper import views
from logbook.paper.rows import limits
from logbook.records.floor import JobMaterials, JobPitch, Run, Sheet
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot
from logbook.records.orders import Job
from logbook.records.pitch import PitchOnRecord
from logbook.rules.signing import in_unit
from logbook.rules.steplist import Stage, StepList

PLAIN = Manner()
DIFFERS = "see each sheet"


def planned(
    job: Job, materials: JobMaterials | None, chosen: JobPitch | None, run: Run | None, *, manner: Manner = PLAIN
) -> tuple[views.Pitch, views.Numbers]:
    """What the next sheet will be made with: the run's own values once there is one, else what is chosen."""
    if run is not None:
        pitch = _pitch(run.pitch, run.lpi, run.u_lpi, manner)
    elif chosen is not None:
        used = as_used(job, chosen.pitch)
        pitch = _pitch(chosen.pitch, used.lpi, used.u_lpi, manner)
    else:
        pitch = _no_pitch(job)
    if materials is None:
        mode = run.mode if run else None
        return pitch, _numbers(job, run, lens_lot=None, mode=mode, paper="", adhesive=None, manner=manner)
    paper = run.paper if run else materials.paper
    return pitch, _numbers(
        job,
        run,
        lens_lot=run.lens_lot if run else materials.lens_lot,
        mode=run.mode if run else materials.mode,
        paper=_paper(paper.name, materials.paper_lot if materials.paper is paper else None),
        adhesive=materials.adhesive_lot,
        manner=manner,
    )


def _no_pitch(job: Job) -> views.Pitch:
    """Before one is chosen; a print that the customer brings never has one."""
    if job.kind == "mount-only":
        return views.Pitch(value="not on record", origin=without_run(job))
    return views.Pitch(value="", origin=views.NOT_CHOSEN)


def made(job: Job, sheet: Sheet, *, manner: Manner = PLAIN) -> tuple[views.Pitch, views.Numbers]:
    """What one sheet was made with; nothing of it is taken from what was chosen later."""
    run = sheet.run
    if run is None:
        pitch = views.Pitch(value="not on record", origin=without_run(job))
    else:
        pitch = _pitch(run.pitch, run.lpi, run.u_lpi, manner)
    name = run.paper.name if run else sheet.paper_lot.material.name if sheet.paper_lot else ""
    return pitch, _numbers(
        job,
        run,
        lens_lot=sheet.lens_lot,
        mode=sheet.mode,
        paper=_paper(name, sheet.paper_lot),
        adhesive=sheet.adhesive_lot,
        manner=manner,
    )


def _pitch(found: PitchOnRecord, lpi: Decimal, u_lpi: Decimal | float | None, manner: Manner) -> views.Pitch:
    value, uncertainty = manner.number(lpi), manner.number(f"{u_lpi:.4f}") if u_lpi is not None else ""
    lens = f"{found.lens_lot.material.name} lot {found.lens_lot.label}"
    where = f"{found.code}, {found.known_since.astimezone():%Y-%m-%d}, {lens}, {found.mode.machine.name}"
    session = object_session(found)
    gone = why_withdrawn(session, found) if session is not None else None
    origin, detail = (views.WITHDRAWN, f"{where}: {gone}") if gone else (found.origin, where)
    return views.Pitch(value=value, uncertainty=uncertainty, origin=origin, detail=detail)


def _paper(name: str, lot: Lot | None) -> str:
    return name + (f", lot {lot.label}" if lot is not None else "")


def _numbers(
    job: Job,
    run: Run | None,
    *,
    lens_lot: Lot | None,
    mode: PrinterMode | None,
    paper: str,
    adhesive: Lot | None,
    manner: Manner,
) -> views.Numbers:
    size = outputs.whole_size(run, manner) if run else ""
    return views.Numbers(
        dots_per_inch=f"{mode.dpi_across} × {mode.dpi_down}" if mode else "",
        printed_size=manner.on_paper(job.width.mm + 2 * job.bleed.mm, job.height.mm + 2 * job.bleed.mm),
        finished_size=manner.on_paper(job.width.mm, job.height.mm),
        bleed=manner.on_paper(job.bleed.mm),
        viewing_distance=manner.on_paper(job.distance.mm, fine=False),
        lens_lot=f"{lens_lot.material.name}, lot {lens_lot.label}" if lens_lot else "",
        paper=paper,
        adhesive=f"{adhesive.material.name}, lot {adhesive.label}" if adhesive else "",
        printer=mode.machine.name if mode else "",
        mode=mode.name if mode else "",
        file_name=outputs.file_name(run, outputs.label(run)) if run else "",
        file_size=f"file {size}: print at 100 %{_corrected(run)}" if size else "",
        file_hash=run.output.sha256[:8] if run and run.output else "",
    )


def _corrected(run: Run | None) -> str:
    words = corrected_words(run.recipe) if run else ""
    return f"; {words[0].lower()}{words[1:]}: judge it through the lens only" if words else ""


def shared(found: list[tuple[views.Pitch, views.Numbers]]) -> tuple[views.Pitch, views.Numbers]:
    """What several sheets have in common; where they differ, the words that send the reader to each sheet."""
    pitches, numbers = {pitch for pitch, _ in found}, [one for _, one in found]
    pitch = pitches.pop() if len(pitches) == 1 else views.Pitch(value=DIFFERS, origin="several")
    names = [field.name for field in fields(views.Numbers)]
    return pitch, views.Numbers(**{name: _one_or_differs({getattr(one, name) for one in numbers}) for name in names})


def _one_or_differs(values: set[str]) -> str:
    return values.pop() if len(values) == 1 else DIFFERS


_BESIDE = {
    "dots_per_inch": "dpi",
    "lens_lot": "lens lot",
    "paper": "paper",
    "adhesive": "adhesive",
    "printer": "printer",
    "mode": "mode",
}


def beside(own: views.Numbers, common: views.Numbers) -> tuple[str, ...]:
    """Lines beside a sheet for what the job's sheets do not share; pitch and file stand there anyway."""
    lines = tuple(
        f"{words} {getattr(own, name) or '?'}" for name, words in _BESIDE.items() if getattr(common, name) == DIFFERS
    )
    return (*lines, own.file_size) if own.file_size and common.file_size == DIFFERS else lines


def own_steps(steps: StepList, manner: Manner) -> StepList:
    """The step list with its numbers in the units of whoever prints it."""
    return replace(steps, stages=tuple(_own_stage(stage, manner) for stage in steps.stages))


def _own_stage(stage: Stage, manner: Manner) -> Stage:
    return replace(stage, steps=tuple(in_unit(step, manner.unit(step.unit)) for step in stage.steps))


def limits_of(steps: StepList, job: Job, run: Run | None, manner: Manner) -> dict[str, str]:
    """What the numbers of this job aim at and keep within, as it stands beside their steps, by step key."""
    own = {step.key: limits(step) for stage in steps.stages for step in stage.steps if step.record == "number"}
    aims = [targets.of_stage(stage, job=job, run=run) for stage in ("print", "trim")]
    aimed = {key: f"{one.value:f} ± {one.tolerance} mm" for found in aims for key, one in found.items()}
    return {key: manner.told(words) for key, words in {**own, **aimed}.items() if words}
