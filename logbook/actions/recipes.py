"""A run's recipe: everything needed to make its output, now or a year later, as canonical JSON."""

import json
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from logbook.actions.alignment import is_moved, shift_dots
from logbook.actions.pictures import current
from logbook.engine.phase import parse_pitch
from logbook.engine.plan import Plan, Shift, make_plan
from logbook.engine.sheet import Waste
from logbook.lengths import Length, parse_length
from logbook.records.audit import canonical
from logbook.records.floor import JobMaterials
from logbook.records.machines import PrinterMode
from logbook.records.orders import Job, Picture
from logbook.records.pitch import PitchOnRecord
from logbook.rules.findings import Finding, ask


@dataclass(frozen=True, slots=True)
class Ingredients:
    """What a recipe is written from. ``waste``: marks, check bars, strip and label stand around the print."""

    job: Job
    materials: JobMaterials
    pitch: PitchOnRecord
    lpi: str
    run_code: str
    waste: bool = False
    address: str = ""


def recipe(what: Ingredients) -> str:
    """The recipe as canonical JSON."""
    job, mode = what.job, what.materials.mode
    return canonical(
        {
            "pictures": [_picture(one, mode) for one in current(job)],
            "lpi": what.lpi,
            "dpi": [mode.dpi_across, mode.dpi_down],
            "flip": job.flip,
            "fit": job.fit,
            "width": str(job.width),
            "height": str(job.height),
            "bleed": str(job.bleed),
            "waste": _waste(what) if what.waste else None,
        }
    )


def _picture(one: Picture, mode: PrinterMode) -> dict[str, Any]:
    told: dict[str, Any] = {"sha256": one.file.sha256, "name": one.original_name}
    if is_moved(one):
        told["shift"] = [str(dots) for dots in shift_dots(one, mode)]
    return told


def _waste(what: Ingredients) -> dict[str, Any]:
    pitch = what.pitch
    source = f"{what.lpi} lines per inch, {pitch.origin} {pitch.code}"
    told = f"Run {what.run_code}, {what.job.number}: {source}, {what.job.flip}"
    # read as the pitch was: from the same distance, the lens laid on, so that no conversion stands between them
    strip = str(pitch.lpi) if pitch.distance is not None and pitch.lens_loose else None
    return {
        "label": [told],
        "code": f"{what.address}go/{what.run_code}" if what.address else what.run_code,
        "strip_lpi": strip,
        "bench_distance": str(pitch.distance) if strip else None,
    }


def plan_of(made: dict[str, Any]) -> Plan:
    """The engine's plan for a recipe. Raises Refused where it cannot be interlaced."""
    across, down = made["dpi"]
    bleed = parse_length(made["bleed"], positive=False)
    return make_plan(
        lpi=made["lpi"],
        dpi=f"{across}x{down}",
        width=parse_length(made["width"]),
        height=parse_length(made["height"]),
        flip=made["flip"],
        fit=made["fit"],
        pictures=len(made["pictures"]),
        bleed=bleed if bleed.value else None,
        waste=waste_of(made.get("waste")),
        shifts=[_shift(one) for one in made["pictures"]],
    )


def _shift(told: dict[str, Any]) -> Shift:
    right, down = told.get("shift", ("0", "0"))
    return Fraction(right), Fraction(down)


def waste_of(told: dict[str, Any] | None) -> Waste | None:
    """What stands around the print, from the recipe."""
    if told is None:
        return None
    return Waste(
        label=tuple(told["label"]),
        code=told["code"],
        strip_lpi=parse_pitch(told["strip_lpi"]) if told["strip_lpi"] else None,
        bench_distance=parse_length(told["bench_distance"]) if told["bench_distance"] else None,
    )


def fits(plan: Plan, materials: JobMaterials) -> list[Finding]:
    """Whether lens sheet and printer are large enough; what nobody wrote down is not judged."""
    wide, high = plan.inches
    found: list[Finding] = []
    lot, widest = materials.lens_lot, materials.mode.machine.widest
    if lot.sheet_width and lot.sheet_height and not _covers(lot.sheet_width, lot.sheet_height, plan):
        size = f"{lot.sheet_width} × {lot.sheet_height}"
        found.append(ask("lens sheet", f"The lens sheet of {size} does not cover the print with its check bars."))
    if widest and widest.inches < min(wide, high):
        size = f"{float(wide):.2f} × {float(high):.2f} in"
        found.append(ask("printer width", f"The sheet is {size}; the printer takes {widest}."))
    return found


def _covers(width: Length, height: Length, plan: Plan) -> bool:
    """The lens must cover the print and its check bars; the strip and the label below may lie bare."""
    left, top, _, _ = plan.margins
    wide = plan.printed.dots[0] + (0 if plan.across else 2 * left)
    high = plan.printed.dots[1] + (2 * top if plan.across else 0)
    return width.inches >= wide / plan.dpi[0] and height.inches >= high / plan.dpi[1]


def load(text: str) -> dict[str, Any]:
    """A kept recipe."""
    made: dict[str, Any] = json.loads(text)
    return made
