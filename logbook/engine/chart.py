"""The pitch chart: which band lies where, and its dots.

Every band is a line grating of its own pitch; laid under the lens, a band shows
|its pitch - the lens's| * length fringes, and the band of the right pitch turns
solid. Dot i of a band, counted from its left (up-down: top) edge, is black exactly
when frac((i + 1/2) * lpi / dpi) < 1/2; every band starts in phase.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from logbook.engine import chart_panel, chart_words
from logbook.engine.chart_panel import Box, Labels, Panel, PanelWords
from logbook.engine.phase import PITCH_DECIMALS, dots_for, parse_pitch, phase_numerators
from logbook.engine.resolution import Resolution, number, text
from logbook.lengths import INCH_IN_MM, Length
from logbook.refusals import Refused

LEFT_RIGHT, UP_DOWN = "left-right", "up-down"
DEFAULT_LENGTH = Length(Decimal(190), "mm")
"""Length across the lines where the printer's margins are unknown: fits A4 and Letter."""
DEFAULT_BAND_HEIGHT = Length(Decimal(10), "mm")
DEFAULT_GAP = Length(Decimal(2), "mm")
MOST_BANDS = 99
_MOST_DOTS = 500_000_000
_BLACK, _WHITE = 0, 255
_GUIDE_MM = Fraction(4)


@dataclass(frozen=True, slots=True)
class Band:
    """One numbered grating: its exact pitch (lines per inch) and its half-open box in dots."""

    number: int
    lpi: Decimal
    box_dots: Box


@dataclass(frozen=True, slots=True)
class ChartPlan:
    """A pitch chart before its dots are drawn: exact pitches and boxes, all in raster dots.

    ``guides`` are two narrow unnumbered bars at both ends of the lens box, both of
    the centre pitch: the lens is square when their fringes stand in line.
    ``rules`` are black lines in the gaps that show the middle band under the lens.
    """

    lpi: Decimal
    step: Decimal
    dpi: Resolution
    flip: str
    mirrored: bool
    length: Length
    band_height: Length
    gap: Length
    bands: tuple[Band, ...]
    guides: tuple[Band, ...]
    rules: tuple[Box, ...]
    lens_box_dots: Box
    size_dots: tuple[int, int]
    head: Panel
    foot: Panel
    code: str

    @property
    def axis(self) -> str:
        """The printer axis that this chart tests: ``across`` or ``down``; it answers for no other."""
        return "across" if self.flip == LEFT_RIGHT else "down"

    @property
    def pitch_dpi(self) -> Fraction:
        """Dots per inch along the pitch axis."""
        return self.dpi[0] if self.flip == LEFT_RIGHT else self.dpi[1]


def make_chart(*, lpi: Decimal, step: Decimal, bands: int, dpi: Resolution, length: Length = DEFAULT_LENGTH,
               band_height: Length = DEFAULT_BAND_HEIGHT, gap: Length = DEFAULT_GAP, flip: str = LEFT_RIGHT,
               mirrored: bool = False, code: str | None = None) -> ChartPlan:
    """Lay out a chart of ``bands`` bands, ``step`` lines per inch apart, centred on ``lpi``.

    ``length`` is the bands' length across the lines, ``band_height`` along them;
    ``mirrored`` turns the lens box left to right for ink on the back of the lens;
    ``code`` is the text of the QR code (None: the chart's own values).
    Raises Refused where the dots cannot hold the chart or two bands would be equal.
    """
    return chart_of_pitches(band_pitches(lpi=lpi, step=step, bands=bands), dpi=dpi, length=length,
                            band_height=band_height, gap=gap, flip=flip, mirrored=mirrored, code=code)


def chart_of_pitches(pitches: Sequence[Decimal], *, dpi: Resolution, length: Length, band_height: Length, gap: Length,
                     flip: str, mirrored: bool, code: str | None = None, first_number: int = 1,
                     of_bands: int | None = None) -> ChartPlan:
    """Lay out bands of these rising, evenly spaced pitches, numbered from ``first_number``; otherwise as make_chart.

    ``of_bands``: of how many in all, where this is a page of a longer chart: its middle may lie on another page.
    """
    middle = _middle_here(len(pitches), first_number=first_number, of_bands=of_bands)
    _check(pitches, flip=flip, dpi=dpi, length=length, band_height=band_height)
    lpi, step = (pitches[0] + pitches[-1]) / 2, pitches[1] - pitches[0]
    above = (f"Pitch chart, {chart_words.axis_words(flip=flip, mirrored=mirrored)}",
             chart_words.printing_words(dpi=dpi, length=length),
             *chart_words.bands_words(pitches, flip=flip, mirrored=mirrored, first_number=first_number, middle=middle))
    own_code = _own_code(lpi=lpi, step=step, bands=len(pitches), dpi=dpi, length=length, flip=flip, mirrored=mirrored)
    words = PanelWords(above=above, below=(*chart_words.how_to_count(middle=bool(middle)), *chart_words.CONDITIONS),
                       code=code or own_code, dpi=dpi)
    stack = _stack(len(pitches), dpi=dpi, flip=flip, length=length, height=band_height, gap=gap, middle=middle)
    frame = _frame(stack, words, turned=flip == UP_DOWN, mirrored=mirrored, first_number=first_number)
    bands = tuple(Band(number, pitch, frame.box(place)) for number, (pitch, place)
                  in enumerate(zip(pitches, stack.places, strict=True), start=first_number))
    return ChartPlan(
        lpi=lpi, step=step, dpi=dpi, flip=flip, mirrored=mirrored, length=length, band_height=band_height, gap=gap,
        bands=bands, guides=tuple(Band(0, lpi, frame.box(place)) for place in stack.guides),
        rules=tuple(frame.box(place) for place in stack.rules), lens_box_dots=frame.lens_box, head=frame.head,
        foot=frame.foot, size_dots=(frame.width, frame.foot.top + frame.foot.height), code=words.code)


def band_pitches(*, lpi: Decimal, step: Decimal, bands: int) -> tuple[Decimal, ...]:
    """The bands' exact pitches: lpi + step * (b - (bands + 1) / 2) for b = 1 … bands.

    Raises Refused for fewer than two or more than 99 bands, a step that is not
    above zero, a pitch that is not, or one with more than six decimals.
    """
    if not 2 <= bands <= MOST_BANDS:
        raise Refused(f"bands: a chart has 2 to {MOST_BANDS} bands, not {bands}.", field="bands")
    step, lpi = parse_pitch(step, field="step"), parse_pitch(lpi)
    pitches = tuple(lpi + step * (2 * b - bands - 1) / 2 for b in range(1, bands + 1))
    if pitches[0] <= 0:
        raise Refused(f"step: {bands} bands {step} apart around {lpi} would reach zero lines per inch; use fewer bands "
                      "or a smaller step.", field="step")
    if any(pitch != round(pitch, PITCH_DECIMALS) for pitch in pitches):
        raise Refused(f"step: the bands' pitches would have more than {PITCH_DECIMALS} decimals.", field="step")
    return pitches


def middle_numbers(bands: int) -> tuple[int, ...]:
    """The numbers of the bands between the two black lines: the middle one, or the middle pair."""
    return tuple(range((bands + 1) // 2, bands // 2 + 2))


def _middle_here(bands: int, *, first_number: int, of_bands: int | None) -> tuple[int, ...]:
    """Which of these bands (0 …) are the middle of the whole chart; none where it lies on another page."""
    wanted = middle_numbers(of_bands or bands)
    return tuple(place for place in range(bands) if place + first_number in wanted)


def fine_step(*, lpi: Decimal, dpi: Fraction, width_in: Fraction) -> Decimal:
    """The finest step whose neighbouring bands still differ: max(0.01, lpi / (dpi * width)) rounded up to 0.005."""
    twohundredths = max(Fraction(1, 100), Fraction(lpi) / (dpi * width_in)) * 200
    return Decimal(-(-twohundredths.numerator // twohundredths.denominator)) / 200


def band_row(count: int, *, lpi: Decimal, dpi: Fraction) -> np.ndarray:
    """The ``count`` dots of one band along the pitch axis, uint8: 0 black, 255 white."""
    numerators, denominator = phase_numerators(count, lpi=lpi, dpi=dpi)
    return np.where(numerators * 2 < denominator, np.uint8(_BLACK), np.uint8(_WHITE))


def draw_chart(plan: ChartPlan) -> np.ndarray:
    """The chart's dots, uint8 of shape (rows, columns): 0 black, 255 white."""
    width, height = plan.size_dots
    raster = np.full((height, width), _WHITE, dtype=np.uint8)
    chart_panel.draw_panel(plan.head, raster, dpi=plan.dpi)
    chart_panel.draw_panel(plan.foot, raster, dpi=plan.dpi)
    for left, top, right, bottom in plan.rules:
        raster[top:bottom, left:right] = _BLACK
    for band in (*plan.guides, *plan.bands):
        _draw_band(raster, band, plan)
    return raster


def sidecar(plan: ChartPlan) -> dict[str, object]:
    """The chart's description for the JSON file beside the raster; boxes are half-open, in dots."""
    def entry(band: Band) -> dict[str, object]:
        return {"number": band.number, "lpi": number(band.lpi), "box_dots": list(band.box_dots)}

    code = chart_panel.code_size(plan.code, plan.dpi)
    return {
        "dpi": [number(plan.dpi[0]), number(plan.dpi[1])], "flip": plan.flip, "reversed": plan.mirrored,
        "tests_axis": plan.axis, "lpi": number(plan.lpi), "step_lpi": number(plan.step),
        "width": str(plan.length), "band_height": str(plan.band_height), "gap": str(plan.gap),
        "size_dots": list(plan.size_dots), "lens_box_dots": list(plan.lens_box_dots),
        "bands": [entry(band) for band in plan.bands],
        "guides": [{"lpi": number(guide.lpi), "box_dots": list(guide.box_dots)} for guide in plan.guides],
        "corner_marks": [list(mark) for panel in (plan.head, plan.foot) for mark in panel.corner_marks],
        "scale_bars": [*plan.head.scale_bars, *plan.foot.scale_bars], "code": plan.code,
        "code_boxes": [[*panel.code_at, *np.add(panel.code_at, code).tolist()] for panel in (plan.head, plan.foot)],
    }


def _check(pitches: Sequence[Decimal], *, flip: str, dpi: Resolution, length: Length, band_height: Length) -> None:
    if flip not in (LEFT_RIGHT, UP_DOWN):
        raise Refused(f"flip: {flip!r} is not known; use {LEFT_RIGHT} or {UP_DOWN}.", field="flip")
    pitch_dpi, line_dpi = dpi if flip == LEFT_RIGHT else dpi[::-1]
    if 2 * Fraction(pitches[-1]) > pitch_dpi:
        raise Refused(f"dpi: {text(pitch_dpi)} dots per inch are too few: a dark and a light bar at {pitches[-1]} "
                      f"lines per inch need at least {text(2 * pitches[-1])}.", field="dpi")
    count, height = dots_for(length.inches, pitch_dpi), dots_for(band_height.inches, line_dpi)
    if count * height * len(pitches) > _MOST_DOTS:
        raise Refused(f"width: the chart would have more than {_MOST_DOTS:,} dots; make it shorter or use fewer "
                      "bands.", field="width")
    if count < 2 * pitch_dpi / Fraction(pitches[0]):
        raise Refused(f"width: {length} is too short: it holds fewer than two lines.", field="width")
    _refuse_equal_bands(pitches, count=count, dpi=pitch_dpi, length=length)


def _refuse_equal_bands(pitches: Sequence[Decimal], *, count: int, dpi: Fraction, length: Length) -> None:
    seen: dict[bytes, Decimal] = {}
    for pitch in pitches:
        row = band_row(count, lpi=pitch, dpi=dpi).tobytes()
        if row in seen:
            finest = fine_step(lpi=pitch, dpi=dpi, width_in=length.inches)
            raise Refused(f"step: the bands {seen[row]} and {pitch} would be the same dots over {length} at "
                          f"{text(dpi)} dots per inch; use a step of at least {text(finest)}.", field="step")
        seen[row] = pitch


def _own_code(*, lpi: Decimal, step: Decimal, bands: int, dpi: Resolution, length: Length, flip: str,
              mirrored: bool) -> str:
    back = " reversed" if mirrored else ""
    resolution = f"{text(dpi[0])}x{text(dpi[1])}"
    return f"pitch chart lpi {lpi} step {step} bands {bands} dpi {resolution} width {length} {flip}{back}"


@dataclass(frozen=True, slots=True)
class _Stack:
    """Places along the lines' direction, in dots from the lens box's edge; ``count`` dots across the lines."""

    count: int
    depth: int
    places: tuple[tuple[int, int], ...]
    guides: tuple[tuple[int, int], ...]
    rules: tuple[tuple[int, int], ...]


def _stack(bands: int, *, dpi: Resolution, flip: str, length: Length, height: Length, gap: Length,
           middle: tuple[int, ...]) -> _Stack:
    pitch_dpi, line_dpi = dpi if flip == LEFT_RIGHT else dpi[::-1]
    high, between = dots_for(height.inches, line_dpi), dots_for(gap.inches, line_dpi)
    guide = max(1, min(high, int(_GUIDE_MM / INCH_IN_MM * line_dpi)))
    first = guide + between
    places = tuple((first + b * (high + between), first + b * (high + between) + high) for b in range(bands))
    depth = places[-1][1] + between + guide
    rules = tuple(_rules([places[one] for one in middle], between=between))
    return _Stack(count=dots_for(length.inches, pitch_dpi), depth=depth, places=places,
                  guides=((0, guide), (depth - guide, depth)), rules=rules)


@dataclass(frozen=True, slots=True)
class _Frame:
    """The stack set into the page: the lens box between both panels."""

    width: int
    lens_box: Box
    head: Panel
    foot: Panel
    turned: bool
    mirrored: bool

    def box(self, place: tuple[int, int]) -> Box:
        """A place of the stack as a box of the raster."""
        left, top, right, bottom = self.lens_box
        low, high = _turned(place, depth=right - left) if self.turned and self.mirrored else place
        return (left + low, top, left + high, bottom) if self.turned else (left, top + low, right, top + high)


def _frame(stack: _Stack, words: PanelWords, *, turned: bool, mirrored: bool, first_number: int) -> _Frame:
    wide, high = (stack.depth, stack.count) if turned else (stack.count, stack.depth)
    width = max(wide, chart_panel.least_width(words))
    left = (width - wide) // 2
    places = [_turned(place, depth=wide) if mirrored else place for place in stack.places] if turned else []
    labels = Labels(tuple((left + (low + high) // 2, str(number)) for number, (low, high)
                          in enumerate(places, start=first_number)))
    head = chart_panel.head_panel(words, width=width, labels=labels)
    lens_box = (left, head.height, left + wide, head.height + high)
    foot = chart_panel.foot_panel(words, width=width, labels=labels, head=head, top=lens_box[3])
    return _Frame(width=width, lens_box=lens_box, head=head, foot=foot, turned=turned, mirrored=mirrored)


def _turned(place: tuple[int, int], *, depth: int) -> tuple[int, int]:
    return depth - place[1], depth - place[0]


def _rules(middle: Sequence[tuple[int, int]], *, between: int) -> list[tuple[int, int]]:
    """A black line in the middle of the gap before and behind the middle band (the middle pair when even)."""
    if not middle:
        return []
    thick = max(1, between // 4)
    low, high = middle[0][0], middle[-1][1]
    middles = (low - (between + thick) // 2, high + (between - thick) // 2)
    return [(start, start + thick) for start in middles]


def _draw_band(raster: np.ndarray, band: Band, plan: ChartPlan) -> None:
    left, top, right, bottom = band.box_dots
    sideways = plan.flip == UP_DOWN
    row = band_row(bottom - top if sideways else right - left, lpi=band.lpi, dpi=plan.pitch_dpi)
    if sideways:
        raster[top:bottom, left:right] = row[:, None]
    else:
        raster[top:bottom, left:right] = row[::-1] if plan.mirrored else row
