"""Whether a job's pictures are large enough for its lens, size and distance, and which size would be."""

import math
from dataclasses import dataclass

from logbook.actions.jobs import MaterialChoice
from logbook.actions.machines import dots_per_inch
from logbook.actions.pictures import current
from logbook.engine import needed
from logbook.engine.plan import Plan, Shift, make_plan
from logbook.lengths import INCH_IN_MM
from logbook.records.floor import JobMaterials
from logbook.records.orders import Job, Picture

FAR = 2
_NO_LENS = 0.0
"""Lines per inch as long as no lens is chosen: across the ridges nothing is asked yet."""
_ANY_DOTS = "1200"
"""Dots per inch as long as no printer is chosen: only for where pictures land."""


@dataclass(frozen=True, slots=True)
class Looked:
    """One picture: pixels per inch of the print on the axis that is short of them most, and whether both suffice."""

    picture: Picture
    density: tuple[float, float]
    enough: bool
    lacking: float
    """How many times more pixels, on both sides, would suffice; at most 1 where there are enough."""

    @property
    def wanted(self) -> tuple[int, int]:
        """Width and height in pixels that this very picture would need, in its own shape."""
        wide, high = self.picture.width_px, self.picture.height_px
        return math.ceil(wide * self.lacking - 1e-6), math.ceil(high * self.lacking - 1e-6)

    @property
    def far(self) -> bool:
        """Whether it has less than half of the pixels that it needs on a side."""
        return self.lacking > FAR


@dataclass(frozen=True, slots=True)
class Needs:
    """The least pixels of a picture that covers the print with its bleed, and each picture against it."""

    threshold: needed.Threshold
    pixels: tuple[int, int]
    looked: tuple[Looked, ...]

    @property
    def small(self) -> tuple[Looked, ...]:
        """The pictures that show less than the lens could."""
        return tuple(one for one in self.looked if not one.enough)


def needs_of(job: Job, materials: JobMaterials | MaterialChoice | None, *, fit: str | None = None) -> Needs | None:
    """What this job's pictures need under its fit (or another); None until its lens is known."""
    nominal = materials.lens_lot.material.nominal_lpi if materials is not None else None
    if materials is None or nominal is None:
        return None
    plan = _plan(job, materials, fit or job.fit)
    dpi = (float(plan.dpi[0]), float(plan.dpi[1]))
    least = needed.threshold(lpi=float(nominal), distance_mm=float(job.distance.mm), flip=job.flip, dpi=dpi)
    printed = (plan.printed.dots[0] / dpi[0], plan.printed.dots[1] / dpi[1])
    return Needs(least, least.pixels(printed), tuple(_looked(plan, least, one) for one in current(job)))


def too_small(job: Job, materials: JobMaterials | None) -> tuple[needed.Threshold, dict[str, Looked]]:
    """What is needed, and the pictures that show less, by their code.

    Before a lens is chosen only the eye is asked, along the ridges: its threshold across them is 0.
    """
    if found := needs_of(job, materials):
        return found.threshold, {one.picture.code: one for one in found.small}
    plan = _plan(job, None, job.fit)
    least = needed.threshold(lpi=_NO_LENS, distance_mm=float(job.distance.mm), flip=job.flip)
    looked = (_looked(plan, least, one) for one in current(job))
    return least, {one.picture.code: one for one in looked if not one.enough}


def _plan(job: Job, materials: JobMaterials | MaterialChoice | None, fit: str) -> Plan:
    """Only for where pictures land: the pitch and the number of pictures do not matter there."""
    mode = materials.mode if materials is not None else None
    return make_plan(
        lpi="10",
        dpi=(dots_per_inch(mode.dpi_across), dots_per_inch(mode.dpi_down)) if mode else _ANY_DOTS,
        width=job.width,
        height=job.height,
        flip=job.flip,
        fit=fit,
        pictures=2,
        bleed=job.bleed if job.bleed.value else None,
    )


def _looked(plan: Plan, least: needed.Threshold, picture: Picture) -> Looked:
    density = needed.density(plan, (picture.width_px, picture.height_px))
    lacking = max(least.across / density[0], least.down / density[1])
    return Looked(picture, density, least.met_by(density), lacking)


def bare_edges(picture: Picture, materials: JobMaterials | MaterialChoice, shift: Shift) -> dict[str, float]:
    """Edges of the finished piece that a moved picture leaves white, in mm; small moves stay within the bleed."""
    plan = _plan(picture.job, materials, picture.job.fit)
    left, top, right, bottom = plan.place((picture.width_px, picture.height_px), shift=shift).place
    (wide, high), (beside, above) = plan.printed.dots, plan.printed.bleed
    across, down = (INCH_IN_MM / dpi for dpi in plan.dpi)
    edges = {
        "left": (left - beside) * across,
        "top": (top - above) * down,
        "right": (wide - beside - right) * across,
        "bottom": (high - above - bottom) * down,
    }
    return {edge: float(bare) for edge, bare in edges.items() if bare > 0}
