"""The pitch strip in the waste beside each print: five bands that make every print a test.

The bands run along the whole print, centred on the pitch converted to the bench distance that is printed beside
them, half a lenticule apart end to end: where all is right they show 1, 1/2, 0, 1/2 and 1 fringes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from logbook.engine.chart import band_row
from logbook.engine.fit import Fit, fit_readings
from logbook.engine.lettering import draw_line
from logbook.engine.phase import PITCH_DECIMALS, dots_for, parse_pitch
from logbook.engine.readings import Reading
from logbook.engine.resolution import text
from logbook.lengths import INCH_IN_MM, Length
from logbook.refusals import Refused

BANDS = 5
EXPECTED_FRINGES = (Decimal(1), Decimal("0.5"), Decimal(0), Decimal("0.5"), Decimal(1))
LEAST_BAND_MM = Fraction(4)
_GAP_MM, _LETTERING_MM, _MIDDLE_LINE_MM = Fraction(1), Fraction(3), Fraction(1, 5)


@dataclass(frozen=True, slots=True)
class StripPlan:
    """A strip ``length_dots`` long along the pitch axis; places are half-open ranges of rows from the strip's edge."""

    lpi: Decimal
    step: Decimal
    pitch_dpi: Fraction
    line_dpi: Fraction
    length_dots: int
    depth_dots: int
    bands: tuple[tuple[Decimal, tuple[int, int]], ...]
    label: str

    @property
    def length_in(self) -> Fraction:
        """The strip's length in the printer's inches."""
        return self.length_dots / self.pitch_dpi


def strip_step(length_in: Fraction) -> Decimal:
    """Half a lenticule over the strip: 0.5/W lines per inch (4 in 0.125, 8 in 0.0625), to six decimals."""
    exact = Fraction(1, 2) / length_in
    return round(Decimal(exact.numerator) / Decimal(exact.denominator), PITCH_DECIMALS)


def strip_depth_dots(line_dpi: Fraction) -> int:
    """How much waste a strip needs beside the print, in dots along the lines."""
    return _layout(line_dpi)[1]


def make_strip(*, lpi: Decimal, length_dots: int, pitch_dpi: Fraction, line_dpi: Fraction,
               bench_distance: Length) -> StripPlan:
    """Plan a strip centred on ``lpi``, the print's pitch converted to ``bench_distance``.

    Raises Refused where the strip is too short for its coarsest band.
    """
    if length_dots < 1:
        raise Refused("strip: the print has no length for a pitch strip.", field="strip")
    lpi, step = parse_pitch(lpi), strip_step(length_dots / pitch_dpi)
    pitches = [lpi + step * place for place in range(-2, 3)]
    if pitches[0] <= 0 or 2 * Fraction(pitches[-1]) > pitch_dpi:
        raise Refused("strip: the print is too short for a pitch strip at this pitch; leave it out.", field="strip")
    places, depth = _layout(line_dpi)
    counted = ", ".join(text(fringes) for fringes in EXPECTED_FRINGES)
    label = (f"Pitch strip, read from {bench_distance}. Expected fringes, band 1 to 5: {counted}. Band 3: {text(lpi)} "
             "lines per inch")
    return StripPlan(lpi=lpi, step=step, pitch_dpi=pitch_dpi, line_dpi=line_dpi, length_dots=length_dots,
                     depth_dots=depth, bands=tuple(zip(pitches, places, strict=True)), label=label)


def draw_strip(plan: StripPlan) -> np.ndarray:
    """The strip's dots, uint8 (depth, length): 0 black, 255 white; transpose it beside an up-down print."""
    raster = np.full((plan.depth_dots, plan.length_dots), 255, dtype=np.uint8)
    for pitch, (low, high) in plan.bands:
        raster[low:high] = band_row(plan.length_dots, lpi=pitch, dpi=plan.pitch_dpi)
    (first, last), half_gap = plan.bands[BANDS // 2][1], _dots(_GAP_MM, plan.line_dpi) // 2
    for line in (first - half_gap, last + half_gap):
        raster[line:line + _dots(_MIDDLE_LINE_MM, plan.line_dpi)] = 0
    height = (_dots(_LETTERING_MM * 3 / 4, plan.pitch_dpi), _dots(_LETTERING_MM * 3 / 4, plan.line_dpi))
    draw_line(plan.label, raster, left=_dots(_GAP_MM, plan.pitch_dpi), top=plan.bands[-1][1][1] + 1, height=height)
    return raster


def fit_strip(plan: StripPlan, taps: Sequence[Decimal], *, reader: str | None = None) -> Fit:
    """The pitch, at the bench distance, from the five counts that were tapped.

    Raises Refused for another number of counts, and as fit_readings does.
    """
    if len(taps) != BANDS:
        raise Refused(f"strip: {BANDS} counts are needed, one for each band, not {len(taps)}.", field="strip")
    readings = [Reading(pitch, tap, reader) for (pitch, _place), tap in zip(plan.bands, taps, strict=True)]
    return fit_readings(readings, width_in=plan.length_in, dpi=plan.pitch_dpi)


def _layout(line_dpi: Fraction) -> tuple[list[tuple[int, int]], int]:
    """The bands' rows, each at least 4 mm, and the strip's whole depth with its line of lettering."""
    high, gap = -(-LEAST_BAND_MM / INCH_IN_MM * line_dpi // 1), _dots(_GAP_MM, line_dpi)
    places = [(band * (int(high) + gap), band * (int(high) + gap) + int(high)) for band in range(BANDS)]
    return places, places[-1][1] + _dots(_LETTERING_MM, line_dpi)


def _dots(mm: Fraction, dpi: Fraction) -> int:
    return dots_for(mm / INCH_IN_MM, dpi)
