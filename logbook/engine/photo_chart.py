"""What a photograph's reader must know of a chart: its description beside the raster, in millimetres.

Millimetres are the printer's own (a nominal inch is 25.4 of them), counted from the middle of the lens box: x to the
right, y down the page.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from logbook.engine import chart_panel
from logbook.engine.resolution import Resolution, parse_dpi
from logbook.lengths import INCH_IN_MM
from logbook.refusals import Refused

MM = float(INCH_IN_MM)
BoxMm = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class PrintedBand:
    """One grating: its number (0 for the narrow bars at both ends), pitch and half-open box in millimetres."""

    number: int
    lpi: float
    box: BoxMm


@dataclass(frozen=True, slots=True)
class PrintedChart:
    """A chart as it lies on the paper; ``turned`` where its lines run across the page (up-down).

    ``marks`` are the four corner squares: upper left, upper right, lower left, lower right.
    """

    bands: tuple[PrintedBand, ...]
    marks: tuple[BoxMm, ...]
    codes: tuple[BoxMm, ...]
    code: str
    lens_box: BoxMm
    turned: bool

    @property
    def numbered(self) -> tuple[PrintedBand, ...]:
        """The bands that have a number."""
        return tuple(band for band in self.bands if band.number)

    @property
    def mark_centres(self) -> np.ndarray:
        """Middles of the corner marks, shape (4, 2)."""
        return np.array([((left + right) / 2, (top + bottom) / 2) for left, top, right, bottom in self.marks])

    @property
    def length_in(self) -> float:
        """Length of the bands across the lines, in the printer's inches."""
        left, top, right, bottom = self.numbered[0].box
        return (bottom - top if self.turned else right - left) / MM

    @property
    def pitches(self) -> tuple[float, float]:
        """Lowest and highest pitch that is tested."""
        every = [band.lpi for band in self.numbered]
        return min(every), max(every)


def printed_chart(told: Any, *, page: int | None = None) -> PrintedChart:
    """Read a chart's description as ``pitch chart`` wrote it; ``page`` (from 1) names one of several.

    Raises Refused where it is no such description, is printed on the back of the lens, or needs a page's number.
    """
    one = _one_page(told, page)
    try:
        if one["reversed"]:
            raise Refused("chart: it is printed on the back of the lens, which covers its corner marks: count its "
                          "fringes instead.", field="chart")
        return _laid(one)
    except (KeyError, TypeError, ValueError, IndexError) as error:
        if isinstance(error, Refused):
            raise
        raise Refused("chart: this JSON does not describe a pitch chart of bands; give the file that was written "
                      "beside the chart.", field="chart") from None


def _one_page(told: Any, page: int | None) -> Mapping[str, Any]:
    if not isinstance(told, dict):
        raise Refused("chart: this JSON does not describe a pitch chart.", field="chart")
    pages = told.get("pages", [told])
    if not isinstance(pages, list) or not pages:
        raise Refused("chart: this JSON does not describe a pitch chart.", field="chart")
    if page is None and len(pages) > 1:
        raise Refused(f"chart: it has {len(pages)} pages; say which one was photographed with --page.", field="page")
    if not 1 <= (page or 1) <= len(pages):
        raise Refused(f"page: the chart has {len(pages)}, there is no page {page}.", field="page")
    found = pages[(page or 1) - 1]
    return found if isinstance(found, dict) else {}


def _laid(one: Mapping[str, Any]) -> PrintedChart:
    dpi = parse_dpi(f"{float(one['dpi'][0]):.6f}x{float(one['dpi'][1]):.6f}")
    lens_box = [int(edge) for edge in one["lens_box_dots"]]
    ruler = _Ruler(per_dot=(MM / float(dpi[0]), MM / float(dpi[1])),
                   middle=((lens_box[0] + lens_box[2]) / 2, (lens_box[1] + lens_box[3]) / 2))
    bands = [PrintedBand(int(band["number"]), float(band["lpi"]), ruler.box(band["box_dots"])) for band in one["bands"]]
    guides = [PrintedBand(0, float(guide["lpi"]), ruler.box(guide["box_dots"])) for guide in one["guides"]]
    marks = tuple(ruler.box(mark) for mark in one["corner_marks"])
    if len(marks) != 4 or len(bands) < 2 or one["flip"] not in ("left-right", "up-down"):
        raise ValueError
    code = str(one["code"])
    codes = one.get("code_boxes") or [_usual_code_box(code, dpi)]
    return PrintedChart(bands=(*bands, *guides), marks=marks, codes=tuple(ruler.box(box) for box in codes), code=code,
                        lens_box=ruler.box(lens_box), turned=one["flip"] == "up-down")


def _usual_code_box(code: str, dpi: Resolution) -> Sequence[int]:
    """Charts made before their description said so carry the code in the upper left corner."""
    return (0, 0, *chart_panel.code_size(code, dpi))


@dataclass(frozen=True, slots=True)
class _Ruler:
    per_dot: tuple[float, float]
    middle: tuple[float, float]

    def box(self, dots: Sequence[int]) -> BoxMm:
        left, top, right, bottom = (int(edge) for edge in dots)
        x, y = self.per_dot
        return ((left - self.middle[0]) * x, (top - self.middle[1]) * y,
                (right - self.middle[0]) * x, (bottom - self.middle[1]) * y)
