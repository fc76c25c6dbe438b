"""What a lens type would do for a print: numbers to choose by. The order follows the numbers; a person decides.

Everything here is geometry, except ``rule_of_thumb``: common practice of the trade, no source.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from logbook.engine.lens import lens_pitch_mm, view_angle_deg, zone_width_mm

EYES_MM = 63.0
"""Between the eyes' middles, as in the published geometry of two-view barriers (eye distance 63 mm at 560 mm)."""
FINEST_HAND, COARSEST_HAND, FINEST_FAR = 75.0, 50.0, 20.0
"""Common practice, no source: 50 to 75 lines per inch in the hand, 20 or fewer for large and distant prints."""
FEW_DOTS = 2.0
"""Below this an edge, which lies on a whole dot, may be off by more than a quarter of its strip."""
HAND_FIT, FAR_FIT = "hand", "wall"
DEPTH = "depth"
"""The effect for which each eye must see a picture of its own."""


@dataclass(frozen=True, slots=True)
class Use:
    """What the print is to do: sizes in inches with bleed, eye to print in mm, "hand" or "wall".

    ``effect`` is "depth" where each eye is to see a picture of its own; any other wants one picture for both.
    """

    width_in: float
    height_in: float
    distance_mm: float
    flip: str
    use: str
    pictures: int
    effect: str = ""


@dataclass(frozen=True, slots=True)
class LensType:
    """A lens type; what the maker's sheet does not say is None. Sheets as (width, height) in inches."""

    lpi: float
    thickness_mm: float | None = None
    index: float | None = None
    sheets_in: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Looks:
    """The numbers of one lens type for one use; what needs unknown facts is None."""

    line_arcmin: float
    view_deg: float | None
    picture_zone_mm: float | None
    eyes_together: bool | None
    dots_per_strip: Mapping[str, float]
    sheet_fits: bool | None
    thumb: bool | None
    eyes_wrong: bool = False
    """Both in one picture where depth needs two, or apart where one picture should fill the view of both."""

    @property
    def best_dots(self) -> float | None:
        """Dots per strip on the finest printer; None without a printer."""
        return max(self.dots_per_strip.values(), default=None)

    @property
    def possible(self) -> bool:
        """Whether it can be made at all: a dot for each strip somewhere, and a sheet that covers it."""
        return self.sheet_fits is not False and (self.best_dots is None or self.best_dots >= 1)

    @property
    def against(self) -> int:
        """How many of the reasons speak against it."""
        few = self.best_dots is not None and self.best_dots < FEW_DOTS
        return sum((self.eyes_wrong, few, self.thumb is False))


def line_arcmin(lpi: float, distance_mm: float) -> float:
    """How wide one ridge looks, in minutes of arc: 2·atan(p/2D)."""
    return 60 * math.degrees(2 * math.atan(lens_pitch_mm(lpi) / (2 * distance_mm)))


def rule_of_thumb(lpi: float, use: str) -> bool | None:
    """Whether the trade would take it for this use; None where the rule says nothing. Common practice, no source."""
    if use == HAND_FIT:
        return COARSEST_HAND <= lpi <= FINEST_HAND
    return True if lpi <= FINEST_FAR else None


def looks(lens: LensType, use: Use, *, printers: Mapping[str, tuple[float, float]]) -> Looks:
    """The numbers of a lens type. ``printers``: name to dots per inch, across and down."""
    zone = _picture_zone(lens, use)
    together = _together(zone, use.flip)
    axis = 0 if use.flip == "left-right" else 1
    return Looks(
        line_arcmin=line_arcmin(lens.lpi, use.distance_mm),
        view_deg=_view(lens),
        picture_zone_mm=zone,
        eyes_together=together,
        dots_per_strip={name: dpi[axis] / (lens.lpi * use.pictures) for name, dpi in printers.items()},
        sheet_fits=_fits(lens, use),
        thumb=rule_of_thumb(lens.lpi, use.use),
        eyes_wrong=together is (use.effect == DEPTH),
    )


def _view(lens: LensType) -> float | None:
    if lens.thickness_mm is None or lens.index is None:
        return None
    return view_angle_deg(pitch_mm=lens_pitch_mm(lens.lpi), thickness_mm=lens.thickness_mm, index=lens.index)


def _picture_zone(lens: LensType, use: Use) -> float | None:
    """How wide the place is from which one picture is seen, at the viewing distance."""
    if lens.thickness_mm is None or lens.index is None:
        return None
    zone = zone_width_mm(
        pitch_mm=lens_pitch_mm(lens.lpi),
        thickness_mm=lens.thickness_mm,
        index=lens.index,
        distance_mm=use.distance_mm,
    )
    return zone / use.pictures


def _together(zone_mm: float | None, flip: str) -> bool | None:
    """Whether both eyes can fall into one picture; with ridges across, the eyes lie along them and always do."""
    if flip != "left-right":
        return True
    return None if zone_mm is None else zone_mm >= EYES_MM


def _fits(lens: LensType, use: Use) -> bool | None:
    """A sheet cannot be turned: its ridges run one way."""
    if not lens.sheets_in:
        return None
    return any(wide >= use.width_in and high >= use.height_in for wide, high in lens.sheets_in)


def rank(found: Mapping[str, Looks]) -> list[str]:
    """Names in the order of their numbers: what can be made, with the fewest reasons against it, the finest lines."""
    return sorted(
        found, key=lambda name: (not found[name].possible, found[name].against, found[name].line_arcmin, name)
    )
