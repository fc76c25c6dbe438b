"""A run's recipe: everything needed to make its output, now or a year later, as canonical JSON."""

import json
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from logbook.actions.alignment import is_moved, shift_dots
from logbook.actions.pictures import current
from logbook.engine.leakcorrection import Correction, of_told
from logbook.engine.phase import parse_pitch
from logbook.engine.plan import Plan, Shift, make_plan
from logbook.engine.sharedsheet import Laid, SharedPlan
from logbook.engine.sheet import Waste
from logbook.lengths import parse_length
from logbook.records.audit import canonical
from logbook.records.floor import JobMaterials
from logbook.records.machines import PrinterMode
from logbook.records.orders import Job, Picture
from logbook.records.pitch import PitchOnRecord


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
    correction: dict[str, Any] | None = None
    """The leak that is corrected, as ``correction_of`` reads it."""


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
            # said only where there is one: other recipes stay as they were
            **({"correction": what.correction} if what.correction else {}),
        }
    )


def _picture(one: Picture, mode: PrinterMode) -> dict[str, Any]:
    told: dict[str, Any] = {"sha256": one.file.sha256, "name": one.original_name}
    if is_moved(one):
        told["shift"] = [str(dots) for dots in shift_dots(one, mode)]
    return told


def _waste(what: Ingredients, names: str = "") -> dict[str, Any]:
    pitch = what.pitch
    source = f"{what.lpi} lines per inch, {pitch.origin} {pitch.code}"
    told = f"Run {what.run_code}, {names or what.job.number}: {source}, {what.job.flip}"
    # read as the pitch was: from the same distance, the lens laid on, so that no conversion stands between them
    strip = str(pitch.lpi) if pitch.distance is not None and pitch.lens_loose else None
    return {
        "label": [told],
        "code": f"{what.address}go/{what.run_code}" if what.address else what.run_code,
        "strip_lpi": strip,
        "bench_distance": str(pitch.distance) if strip else None,
    }


def plan_of(made: dict[str, Any]) -> Plan:
    """The engine's plan for a recipe; of a shared sheet that of the whole sheet, as if its first piece filled it.

    Raises Refused where it cannot be interlaced.
    """
    pictures = made["pictures"]
    if "pieces" in made:
        pictures = [pictures[number] for number in made["pieces"][0]["pictures"]]
    return _plan(made, made, pictures)


def _plan(made: dict[str, Any], piece: dict[str, Any], pictures: list[dict[str, Any]]) -> Plan:
    """The plan of a print that has pitch, resolution and flip in common with all that ``made`` holds."""
    across, down = made["dpi"]
    bleed = parse_length(piece["bleed"], positive=False)
    return make_plan(
        lpi=made["lpi"],
        dpi=f"{across}x{down}",
        width=parse_length(piece["width"]),
        height=parse_length(piece["height"]),
        flip=made["flip"],
        fit=piece["fit"],
        pictures=len(pictures),
        bleed=bleed if bleed.value else None,
        waste=waste_of(piece.get("waste")),
        shifts=[_shift(one) for one in pictures],
    )


def shared_plan_of(made: dict[str, Any]) -> SharedPlan | None:
    """The plan of a shared sheet; None for a recipe of one piece. Raises Refused where it cannot be interlaced."""
    if "pieces" not in made:
        return None
    laid = tuple(
        Laid(
            _plan(made, piece, [made["pictures"][number] for number in piece["pictures"]]),
            tuple(piece["pictures"]),
            (piece["at"][0], piece["at"][1]),
        )
        for piece in made["pieces"]
    )
    return SharedPlan(plan_of(made), laid)


def pictures_of(made: dict[str, Any], job: Job) -> list[dict[str, Any]]:
    """Those of a recipe's pictures that are a job's."""
    pictures: list[dict[str, Any]] = made["pictures"]
    if "pieces" not in made:
        return pictures
    numbers: list[int] = next((piece["pictures"] for piece in made["pieces"] if piece["job"] == job.number), [])
    return [pictures[number] for number in numbers]


@dataclass(frozen=True, slots=True)
class Sheetful:
    """What a shared recipe is written from: jobs as often as they lie on the sheet, and where (dots)."""

    what: Ingredients
    """Of the first piece; pitch, materials and marks are the sheet's."""
    jobs: tuple[Job, ...]
    at: tuple[tuple[int, int], ...]
    width: str
    height: str


def shared_recipe(full: Sheetful) -> str:
    """The recipe of a shared sheet as canonical JSON; ``width`` and ``height`` are the room for the pieces."""
    mode = full.what.materials.mode
    numbers: dict[str, list[int]] = {}
    pictures: list[dict[str, Any]] = []
    for job in dict.fromkeys(full.jobs):
        own = [_picture(one, mode) for one in current(job)]
        numbers[job.number] = list(range(len(pictures), len(pictures) + len(own)))
        pictures += own
    waste = _waste(full.what, names=", ".join(numbers)) if full.what.waste else None
    return canonical(
        {
            "pictures": pictures,
            "lpi": full.what.lpi,
            "dpi": [mode.dpi_across, mode.dpi_down],
            "flip": full.what.job.flip,
            "fit": "crop",
            "width": full.width,
            "height": full.height,
            "bleed": "0 mm",
            "waste": {**waste, "corners": False} if waste else None,
            "pieces": [
                {
                    "job": job.number,
                    "at": list(at),
                    "pictures": numbers[job.number],
                    "fit": job.fit,
                    "width": str(job.width),
                    "height": str(job.height),
                    "bleed": str(job.bleed),
                }
                for job, at in zip(full.jobs, full.at, strict=True)
            ],
        }
    )


def correction_of(made: dict[str, Any]) -> Correction | None:
    """The leak that a recipe corrects."""
    return of_told(made["correction"]) if made.get("correction") else None


def corrected_words(text: str) -> str:
    """One line on what a kept recipe corrects; empty where nothing is."""
    correction = correction_of(load(text))
    return correction.in_words() if correction else ""


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
        corners=told.get("corners", True),
    )


def load(text: str) -> dict[str, Any]:
    """A kept recipe."""
    made: dict[str, Any] = json.loads(text)
    return made
