"""The sliding-pitch band: one band whose pitch grows along it, read as one spot on a printed scale.

At x inches from the band's middle the local pitch is p(x) = p₀ + g·x; a dot is black when frac(p₀·x + g·x²/2) < 1/2.
Under a lens that needs p* the beat stands still at x* = (p* − p₀)/g, over about ±1/√g inches. It centres the next
chart from one look; it does not replace it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from logbook.engine import chart_panel, chart_words
from logbook.engine.chart import DEFAULT_LENGTH, LEFT_RIGHT, UP_DOWN
from logbook.engine.chart_panel import Box, Labels, Panel, PanelWords
from logbook.engine.phase import dots_for, parse_pitch
from logbook.engine.readings import Spot
from logbook.engine.resolution import Resolution, number, text
from logbook.lengths import Length
from logbook.refusals import Refused

DEFAULT_BAND_HEIGHT = Length(Decimal(20), "mm")
_SPOT_SHARE = 0.1
"""A person finds the still spot to about a tenth of 1/√g inches."""
_TICK_STEPS = (Decimal("0.01"), Decimal("0.02"), Decimal("0.05"), Decimal("0.1"), Decimal("0.2"), Decimal("0.5"),
               Decimal(1), Decimal(2), Decimal(5))
_LEAST_TICK_INCHES = Fraction(2, 5)
_FEWEST_LINES = 8


@dataclass(frozen=True, slots=True)
class SlidingPlan:
    """A sliding-pitch band with its scale. ``turned`` sheets are drawn with the band across and then turned clockwise.

    ``slope`` is g in lines per inch per inch; ``scale`` the pitches printed above the band with their dot columns,
    counted from the band's start; boxes as they lie in the raster before turning.
    """

    lpi: Decimal
    slope: Decimal
    dpi: Resolution
    flip: str
    mirrored: bool
    length: Length
    scale: tuple[tuple[Decimal, int], ...]
    band_box_dots: Box
    size_dots: tuple[int, int]
    head: Panel
    foot: Panel

    @property
    def pitch_dpi(self) -> Fraction:
        """Dots per inch along the pitch axis."""
        return self.dpi[0] if self.flip == LEFT_RIGHT else self.dpi[1]


def default_slope(*, lpi: Decimal, length_in: Fraction) -> Decimal:
    """g of √g = (1 + √(1 + 0.02·LPI·W))/W: the still spot stays whole for pitches within 1 % of the middle's."""
    width = float(length_in)
    return round(Decimal(((1 + math.sqrt(1 + 0.02 * float(lpi) * width)) / width) ** 2), 3)


def sliding_row(count: int, *, lpi: Decimal, slope: Decimal, dpi: Fraction) -> np.ndarray:
    """The ``count`` dots of a sliding-pitch band, uint8 (0 black, 255 white), exact; x is counted from its middle."""
    twice = 2 * np.arange(count, dtype=object) + 1 - count  # 2·x·dpi, a whole number for every dot
    linear, square = Fraction(lpi) / (2 * dpi), Fraction(slope) / (8 * dpi**2)
    denominator = math.lcm(linear.denominator, square.denominator)
    phase = (twice * int(linear * denominator) + twice * twice * int(square * denominator)) % denominator
    return np.where((2 * phase < denominator).astype(bool), np.uint8(0), np.uint8(255))


def make_sliding(*, lpi: Decimal, dpi: Resolution, length: Length = DEFAULT_LENGTH, slope: Decimal | None = None,
                 band_height: Length = DEFAULT_BAND_HEIGHT, flip: str = LEFT_RIGHT, mirrored: bool = False,
                 code: str | None = None) -> SlidingPlan:
    """Lay out a sliding-pitch band ``length`` long whose middle has the pitch ``lpi``.

    Raises Refused where the dots cannot hold its finest pitch or its coarsest is not above zero.
    """
    if flip not in (LEFT_RIGHT, UP_DOWN):
        raise Refused(f"flip: {flip!r} is not known; use {LEFT_RIGHT} or {UP_DOWN}.", field="flip")
    lpi = parse_pitch(lpi)
    slope = default_slope(lpi=lpi, length_in=length.inches) if slope is None else parse_pitch(slope, field="slope")
    along, beside = dpi if flip == LEFT_RIGHT else dpi[::-1]
    _check(lpi=lpi, slope=slope, dpi=along, length=length)
    count, height = dots_for(length.inches, along), dots_for(band_height.inches, beside)
    scale = _scale(count, lpi=lpi, slope=slope, dpi=along)
    words = _words(lpi=lpi, slope=slope, dpi=dpi, drawn_dpi=(along, beside), length=length, flip=flip,
                   mirrored=mirrored, code=code)
    width = max(count, chart_panel.least_width(words))
    left = (width - count) // 2
    columns = tuple((left + (count - column if mirrored and flip == LEFT_RIGHT else column), text(pitch))
                    for pitch, column in scale)
    head = chart_panel.head_panel(words, width=width, labels=Labels(columns, ticks=True))
    box = (left, head.height, left + count, head.height + height)
    foot = chart_panel.foot_panel(words, width=width, labels=Labels(), head=head, top=box[3])
    return SlidingPlan(lpi=lpi, slope=slope, dpi=dpi, flip=flip, mirrored=mirrored, length=length, scale=scale,
                       band_box_dots=box, size_dots=(width, foot.top + foot.height), head=head, foot=foot)


def draw_sliding(plan: SlidingPlan) -> np.ndarray:
    """The sheet's dots, uint8 (rows, columns); an up-down sheet is turned clockwise, so that the band runs down."""
    width, height = plan.size_dots
    raster = np.full((height, width), 255, dtype=np.uint8)
    drawn_dpi = plan.dpi if plan.flip == LEFT_RIGHT else plan.dpi[::-1]
    for panel in (plan.head, plan.foot):
        chart_panel.draw_panel(panel, raster, dpi=drawn_dpi)
    left, top, right, bottom = plan.band_box_dots
    row = sliding_row(right - left, lpi=plan.lpi, slope=plan.slope, dpi=plan.pitch_dpi)
    raster[top:bottom, left:right] = row[::-1] if plan.mirrored and plan.flip == LEFT_RIGHT else row
    return raster if plan.flip == LEFT_RIGHT else np.rot90(raster, -1)


def sidecar(plan: SlidingPlan) -> dict[str, object]:
    """The sheet's description; boxes and columns are those of the raster before an up-down sheet is turned."""
    return {"kind": "sliding", "dpi": [number(plan.dpi[0]), number(plan.dpi[1])], "flip": plan.flip,
            "reversed": plan.mirrored, "lpi": number(plan.lpi), "slope_lpi_per_in": number(plan.slope),
            "width": str(plan.length), "band_box_dots": list(plan.band_box_dots), "size_dots": list(plan.size_dots),
            "scale": [{"lpi": number(pitch), "dot": column} for pitch, column in plan.scale]}


def spot_on_scale(lpi: Decimal, *, slope: Decimal, reader: str | None = None) -> Spot:
    """The pitch read at the still spot, known to about 0.1·√g lines per inch."""
    return Spot(lpi=lpi, u_lpi=_SPOT_SHARE * math.sqrt(slope), words=f"still spot at {lpi}", reader=reader)


def _check(*, lpi: Decimal, slope: Decimal, dpi: Fraction, length: Length) -> None:
    reach = Fraction(slope) * length.inches / 2
    if Fraction(lpi) * length.inches < _FEWEST_LINES:
        raise Refused(f"width: {length} is too short: it holds fewer than {_FEWEST_LINES} lines.", field="width")
    if reach >= Fraction(lpi):
        raise Refused(f"width: over {length} the pitch would slide down to zero; use a shorter band.", field="width")
    if 2 * (Fraction(lpi) + reach) > dpi:
        raise Refused(f"dpi: {text(dpi)} dots per inch are too few for the finest line of the band, "
                      f"{text(Fraction(lpi) + reach)} lines per inch.", field="dpi")


def _scale(count: int, *, lpi: Decimal, slope: Decimal, dpi: Fraction) -> tuple[tuple[Decimal, int], ...]:
    """Round pitches at least 0.4 in apart, with the dot column where each is the local pitch."""
    step = next((step for step in _TICK_STEPS if Fraction(step) / Fraction(slope) >= _LEAST_TICK_INCHES),
                _TICK_STEPS[-1])
    reach = Fraction(slope) * count / dpi / 2
    first, last = -(-(Fraction(lpi) - reach) // Fraction(step)), (Fraction(lpi) + reach) // Fraction(step)
    pitches = [step * steps for steps in range(int(first), int(last) + 1)]
    middle = Fraction(count, 2)
    per_lpi = dpi / Fraction(slope)
    return tuple((pitch, round(middle + (Fraction(pitch) - Fraction(lpi)) * per_lpi)) for pitch in pitches)


def _words(*, lpi: Decimal, slope: Decimal, dpi: Resolution, drawn_dpi: Resolution, length: Length, flip: str,
           mirrored: bool, code: str | None) -> PanelWords:
    own = f"sliding pitch lpi {lpi} slope {slope} dpi {text(dpi[0])}x{text(dpi[1])} width {length} {flip}"
    above: Sequence[str] = (
        f"Sliding pitch, {chart_words.axis_words(flip=flip, mirrored=mirrored)}",
        chart_words.printing_words(dpi=dpi, length=length),
        f"The band's pitch runs through {text(lpi)} lines per inch in its middle, {text(slope)} more with every inch.",
        *(("Turned sheet: hold it so that this text is upright; across here is down for the printer.",)
          if flip == UP_DOWN else ()))
    below = (*chart_words.HOW_TO_FIND_THE_SPOT, *chart_words.CONDITIONS)
    return PanelWords(above=tuple(above), below=below, code=code or own, dpi=drawn_dpi)
