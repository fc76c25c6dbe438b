"""How many pixels a picture needs so that lens and eye, not the picture, decide what is seen.

Across the lenticules each picture shows one colour per lenticule: more pixels than lenticules are not seen (geometry).
Along them the print is seen as it is, down to one minute of arc (ISO 8596: acuity 1).
"""

import math
from dataclasses import dataclass
from fractions import Fraction

from logbook.engine.lens import INCH_MM
from logbook.engine.plan import Plan

_ONE_MINUTE = math.radians(1 / 60)


def eye_pixels_per_inch(distance_mm: float) -> float:
    """Pixels per inch of which one subtends one minute of arc at this distance."""
    return INCH_MM / (distance_mm * math.tan(_ONE_MINUTE))


@dataclass(frozen=True, slots=True)
class Threshold:
    """The least pixels per inch of the print, across and down the sheet."""

    across: float
    down: float

    def pixels(self, printed_in: tuple[float, float]) -> tuple[int, int]:
        """Least width and height of a picture in the shape of ``printed_in`` inches (bleed included).

        A camera's pixels are square: whoever asks for a picture asks for the finer of both axes on both.
        """
        wide, high = printed_in
        dense = max(self.across, self.down)
        return math.ceil(dense * wide - 1e-9), math.ceil(dense * high - 1e-9)

    def met_by(self, density: tuple[float, float]) -> bool:
        """Whether a picture's own pixels per inch reach it on both axes."""
        return density[0] >= self.across and density[1] >= self.down


def threshold(*, lpi: float, distance_mm: float, flip: str, dpi: tuple[float, float] | None = None) -> Threshold:
    """What this lens shows of a picture at this distance; along the ridges never more than the printer's own dots."""
    along = eye_pixels_per_inch(distance_mm)
    if dpi is not None:
        along = min(along, dpi[1] if flip == "left-right" else dpi[0])
    return Threshold(lpi, along) if flip == "left-right" else Threshold(along, lpi)


def density(plan: Plan, size: tuple[int, int]) -> tuple[float, float]:
    """Pixels of a picture of ``size`` per inch of the print once the plan has placed it, across and down."""
    placed = plan.place(size)
    (left, top, right, bottom), (x0, y0, x1, y1) = placed.box, placed.place
    across = Fraction(right - left) * plan.dpi[0] / (x1 - x0)
    down = Fraction(bottom - top) * plan.dpi[1] / (y1 - y0)
    return float(across), float(down)
