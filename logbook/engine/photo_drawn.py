"""What was found in a photograph of a chart, as lines to draw over it: marks, bands, and every dark fringe.

Whoever looks at the picture sees at once whether the fringes were found where they are.
"""

import numpy as np

from logbook.engine.photo import PhotoReading
from logbook.engine.photo_chart import PrintedBand, PrintedChart
from logbook.engine.photo_fringes import beat
from logbook.engine.photo_marks import corners

_STEPS = 600
_INSIDE = 0.15
"""A fringe is drawn over the middle of its band's height, this share short of either side."""

Points = list[list[float]]


def drawn(read: PhotoReading, chart: PrintedChart) -> dict[str, object]:
    """Pixels of the upright photograph: its size, marks and bands as corners, fringes as lines from side to side."""
    camera = read.camera
    bands = [{"number": band.number, "corners": _pixels(read, corners(band.box), plane="ridges"),
              "fringes": _fringes(read, band, turned=chart.turned)} for band in chart.bands]
    return {"size": list(camera.view.size), "bands": bands,
            "marks": [_pixels(read, corners(mark)) for mark in chart.marks]}


def _pixels(read: PhotoReading, points: np.ndarray, *, plane: str = "paper") -> Points:
    seen = read.fringes.camera.pixels(np.asarray(points, dtype=float), plane=plane)
    return [[round(float(x), 1), round(float(y), 1)] for x, y in seen]


def _fringes(read: PhotoReading, band: PrintedBand, *, turned: bool) -> list[Points]:
    """Where the beat is darkest, from one side of the band to the other."""
    left, top, right, bottom = band.box
    low, high, first, last = (top, bottom, left, right) if turned else (left, right, top, bottom)
    inset = (last - first) * _INSIDE
    along = np.linspace(low, high, _STEPS)
    sides = [_dark(read, band, along, beside, turned=turned) for beside in (first + inset, last - inset)]
    ends = [{round(rounds): at for rounds, at in side} for side in sides]
    lines = []
    for number in sorted(ends[0].keys() & ends[1].keys()):
        points = [(ends[0][number], first + inset), (ends[1][number], last - inset)]
        lines.append(_pixels(read, np.array([point[::-1] if turned else point for point in points]), plane="ridges"))
    return lines


def _dark(read: PhotoReading, band: PrintedBand, along: np.ndarray, beside: float, *,
          turned: bool) -> list[tuple[float, float]]:
    """(whole rounds, place in mm) of every dark fringe along one side of a band."""
    other = np.full_like(along, beside)
    points = np.stack([other, along] if turned else [along, other], axis=-1)
    rounds = beat(read.fringes, band.lpi, float(along[0]), points, turned=turned) - read.fringes.darkest
    order = 1 if rounds[-1] > rounds[0] else -1
    rising = rounds[::order]
    if np.any(np.diff(rising) <= 0):
        return []  # hardly half a fringe: there is no line to draw
    wanted = np.arange(np.ceil(rising[0]), np.floor(rising[-1]) + 1)
    return list(zip(wanted.tolist(), np.interp(wanted, rising, along[::order]).tolist(), strict=True))
