"""The leak sheet: two interlaced pictures whose marks cancel step by step, and a wedge of greys for the printed tone.

Four rows of sixteen patches lie under the lens: what leaks into PICTURE 1 and into PICTURE 2, by light and by dark
marks. Edges along the pitch axis lie between lenticules, so that no lenticule holds half a mark. The wedge lies below,
beside the lens: greys between patterns of dots whose share of white is known.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import numpy as np

from logbook.engine import chart_panel, leaksheet_words
from logbook.engine.chart_panel import Box, Labels, Panel, PanelWords
from logbook.engine.leak import PATCHES, Series, balancing
from logbook.engine.phase import owners
from logbook.engine.resolution import Resolution, number
from logbook.engine.tone import PLAIN, SHARES
from logbook.lengths import INCH_IN_MM
from logbook.refusals import Refused

FIELD_LIGHT = 0.25
LEAST_LPI = 10
WEDGE_STEPS, WEDGE_STEP = 15, 0.03
"""Greys of the wedge for each pattern, and by what part their levels differ."""

_PATCH, _BESIDE = Fraction("10.5"), Fraction(3)
_BAR, _ROW, _GAP, _BETWEEN = Fraction(6), Fraction(12), Fraction(3), Fraction(5)
_PATTERN_DOT, _PATTERN_DOTS_HIGH, _GREY_HIGH = Fraction("0.5"), 8, Fraction(7)
_ROWS = ((1, "light"), (1, "dark"), (2, "light"), (2, "dark"))


@dataclass(frozen=True, slots=True)
class Row:
    """One row of patches: what leaks ``into`` PICTURE 1 or 2, from ``mark`` light or dark; heights in dots."""

    into: int
    mark: str
    series: Series
    top: int
    bottom: int
    mark_top: int
    mark_bottom: int


@dataclass(frozen=True, slots=True)
class WedgeRow:
    """Greys between two strips of one pattern; ``share``: one dot in so many is white."""

    share: int
    levels: tuple[int, ...]
    box: Box
    pattern_high: int


@dataclass(frozen=True, slots=True)
class LeakSheet:
    """The sheet before its dots are drawn, all in raster dots. ``columns``: left, right, and the mark's two edges."""

    lpi: Decimal
    dpi: Resolution
    flip: str
    columns: tuple[tuple[int, int, int, int], ...]
    rows: tuple[Row, ...]
    lens_box: Box
    bars: tuple[tuple[int, int], tuple[int, int]]
    wedge: tuple[WedgeRow, ...]
    size_dots: tuple[int, int]
    head: Panel
    foot: Panel
    code: str


@dataclass(frozen=True, slots=True)
class _Cut:
    """Millimetres to dots along one axis; along the pitch axis to the nearest edge between two lenticules."""

    dpi: Fraction
    lpi: Decimal | None

    def __call__(self, mm: Fraction) -> int:
        if self.lpi is None:
            return int(mm / INCH_IN_MM * self.dpi + Fraction(1, 2))
        lenticules = int(mm / INCH_IN_MM * Fraction(self.lpi) + Fraction(1, 2))
        # the first dot whose middle lies behind the edge
        return max(0, -int(-(lenticules * self.dpi / Fraction(self.lpi) - Fraction(1, 2)) // 1))


def series(mark: str) -> Series:
    """The levels of one row, right for a printer of sRGB's tone; what they really cancel, the wedge tells."""
    light = [balancing(FIELD_LIGHT, step / 100, dark=mark == "dark") for step in range(PATCHES)]
    return Series(PLAIN.level(FIELD_LIGHT), tuple(PLAIN.level(one) for one in light))


def wedge_levels(share: int) -> tuple[int, ...]:
    """The greys offered for one pattern, dark to light, around the level of sRGB."""
    usual = float({8: PLAIN.eighth, 4: PLAIN.quarter, 2: PLAIN.half}[share])
    middle = WEDGE_STEPS // 2
    return tuple(round(usual * (1 + WEDGE_STEP) ** (step - middle)) for step in range(WEDGE_STEPS))


def make_leak_sheet(*, lpi: Decimal, dpi: Resolution, flip: str, code: str) -> LeakSheet:
    """Lay out a sheet for this pitch. Raises Refused for a lens that is too coarse or too fine for its marks."""
    if lpi < LEAST_LPI:
        raise Refused(f"The marks of a leak sheet take a lens of {LEAST_LPI} lines per inch at least.", field="lpi")
    across = flip == "left-right"
    owners(1, lpi=lpi, dpi=dpi[0 if across else 1], pictures=2)
    x, y = _Cut(dpi[0], lpi if across else None), _Cut(dpi[1], None if across else lpi)
    columns = tuple(_column(x, _BESIDE + step * _PATCH) for step in range(PATCHES))
    left, right = columns[0][0], columns[-1][1]
    words = PanelWords(leaksheet_words.above(lpi=lpi, dpi=dpi, flip=flip), leaksheet_words.BELOW, code, dpi)
    width = max(right + _Cut(dpi[0], None)(_BESIDE), chart_panel.least_width(words))
    labels = Labels(tuple(((one[0] + one[1]) // 2, str(step)) for step, one in enumerate(columns)), ticks=True)
    head = chart_panel.head_panel(words, width=width, labels=labels)
    # a lenticule at most lies bare between the head and the lens box
    start = head.height / dpi[1] * INCH_IN_MM + (0 if across else INCH_IN_MM / Fraction(lpi) / 2)
    bars, rows, bottom = _under_the_lens(y, start)
    wedge = _wedge(dpi, left=left, right=right, top=bottom + _Cut(dpi[1], None)(_BETWEEN * 2))
    foot = chart_panel.foot_panel(words, width=width, labels=Labels(), head=head, top=wedge[-1].box[3])
    return LeakSheet(lpi, dpi, flip, columns, rows, (left, bars[0][0], right, bottom), bars, wedge,
                     (width, foot.top + foot.height), head, foot, code)


def _column(x: _Cut, start: Fraction) -> tuple[int, int, int, int]:
    return x(start), x(start + _PATCH), x(start + _PATCH / 4), x(start + _PATCH * 3 / 4)


def _under_the_lens(y: _Cut, start: Fraction) -> tuple[tuple[tuple[int, int], tuple[int, int]], tuple[Row, ...], int]:
    """The bar above, the four rows, the bar below, and the first row below all."""
    first_bar, at, rows = (y(start), y(start + _BAR)), start + _BAR + _GAP, []
    for before, (into, mark) in zip((0, *(one[0] for one in _ROWS)), _ROWS, strict=False):
        at += _BETWEEN if before and before != into else 0
        rows.append(Row(into, mark, series(mark), y(at), y(at + _ROW), y(at + _ROW / 4), y(at + _ROW * 3 / 4)))
        at += _ROW + _GAP
    return (first_bar, (y(at), y(at + _BAR))), tuple(rows), y(at + _BAR)


def _wedge(dpi: Resolution, *, left: int, right: int, top: int) -> tuple[WedgeRow, ...]:
    cut, found = _Cut(dpi[1], None), []
    pattern = _pattern_dots(dpi)[1] * _PATTERN_DOTS_HIGH
    for share in SHARES:
        bottom = top + 2 * pattern + cut(_GREY_HIGH)
        found.append(WedgeRow(share, wedge_levels(share), (left, top, right, bottom), pattern))
        top = bottom + cut(_BETWEEN)
    return tuple(found)


def _pattern_dots(dpi: Resolution) -> tuple[int, int]:
    """Printer dots of one dot of the patterns, across and down: coarse, so that spreading ink covers little of it."""
    across, down = (max(2, _Cut(one, None)(_PATTERN_DOT)) for one in dpi)
    return across, down


def draw_leak_sheet(sheet: LeakSheet) -> np.ndarray:
    """The sheet's dots, uint8 (rows, columns): 0 black, 255 white."""
    width, height = sheet.size_dots
    raster = np.full((height, width), 255, dtype=np.uint8)
    chart_panel.draw_panel(sheet.head, raster, dpi=sheet.dpi)
    chart_panel.draw_panel(sheet.foot, raster, dpi=sheet.dpi)
    left, top, right, bottom = sheet.lens_box
    one, two = _pictures(sheet)
    raster[top:bottom, left:right] = np.where(_first_owns(sheet), one, two)
    leaksheet_words.number_rows(raster, [(row.top + row.bottom) // 2 for row in sheet.rows], left=left, right=right,
                                dpi=sheet.dpi)
    for row in sheet.wedge:
        _draw_wedge(raster, row, sheet)
    return raster


def _first_owns(sheet: LeakSheet) -> np.ndarray:
    """Where PICTURE 1 owns the dots of the lens box; phase zero at raster dot 0."""
    left, top, right, bottom = sheet.lens_box
    across = sheet.flip == "left-right"
    owner = owners(right if across else bottom, lpi=sheet.lpi, dpi=sheet.dpi[0 if across else 1], pictures=2) == 1
    first: np.ndarray = owner[None, left:right] if across else owner[top:bottom, None]
    return first


def _pictures(sheet: LeakSheet) -> tuple[np.ndarray, np.ndarray]:
    """PICTURE 1 and PICTURE 2 over the lens box."""
    left, top, right, bottom = sheet.lens_box
    both = [np.full((bottom - top, right - left), PLAIN.level(FIELD_LIGHT), dtype=np.uint8) for _ in range(2)]
    for (high, low), dark in zip(sheet.bars, (0, 1), strict=True):
        both[dark][high - top:low - top], both[1 - dark][high - top:low - top] = 0, 255
    for row in sheet.rows:
        own, other = both[row.into - 1], both[2 - row.into]
        other[row.top - top:row.bottom - top] = 255 if row.mark == "dark" else 0
        for level, (_, _, first, last) in zip(row.series.marks, sheet.columns, strict=True):
            place = slice(row.mark_top - top, row.mark_bottom - top), slice(first - left, last - left)
            own[place], other[place] = level, 0 if row.mark == "dark" else 255
    return both[0], both[1]


def _draw_wedge(raster: np.ndarray, row: WedgeRow, sheet: LeakSheet) -> None:
    """Pattern, greys, pattern, touching each other; number every grey above the first row."""
    left, top, right, bottom = row.box
    pattern = _pattern(row.share, right - left, row.pattern_high, _pattern_dots(sheet.dpi))
    raster[top:top + row.pattern_high, left:right] = pattern
    raster[bottom - row.pattern_high:bottom, left:right] = pattern
    for level, (first, last) in zip(row.levels, _greys(row), strict=True):
        raster[top + row.pattern_high:bottom - row.pattern_high, first:last] = level
    if row is sheet.wedge[0]:
        leaksheet_words.draw_numbers(raster, [(a + b) // 2 for a, b in _greys(row)], bottom=top, dpi=sheet.dpi)


def _greys(row: WedgeRow) -> list[tuple[int, int]]:
    left, _, right, _ = row.box
    edges = [left + (right - left) * step // WEDGE_STEPS for step in range(WEDGE_STEPS + 1)]
    return list(pairwise(edges))


def _pattern(share: int, wide: int, high: int, dots: tuple[int, int]) -> np.ndarray:
    """White squares on black, one in ``share``, spread evenly."""
    across, down = np.arange(wide)[None, :] // dots[0], np.arange(high)[:, None] // dots[1]
    if share == 2:
        white = (across + down) % 2 == 0
    else:
        apart = share // 2
        white = (down % 2 == 0) & ((across + down // 2 * (apart // 2)) % apart == 0)
    return np.where(white, np.uint8(255), np.uint8(0))


def sidecar(sheet: LeakSheet) -> dict[str, object]:
    """The sheet's description for the JSON beside it; boxes are half-open, in dots."""
    return {
        "lpi": number(sheet.lpi), "dpi": [number(one) for one in sheet.dpi], "flip": sheet.flip, "code": sheet.code,
        "pictures": 2, "size_dots": list(sheet.size_dots), "lens_box_dots": list(sheet.lens_box),
        "rows": [_told(row, sheet.columns) for row in sheet.rows],
        "wedge": [{"white_dot_in": row.share, "levels": list(row.levels), "box_dots": list(row.box),
                   "pattern_dots_high": row.pattern_high} for row in sheet.wedge],
        "wedge_step": WEDGE_STEP, "scale_bars": [*sheet.head.scale_bars, *sheet.foot.scale_bars],
    }


def _told(row: Row, columns: Sequence[tuple[int, int, int, int]]) -> dict[str, object]:
    patches = [{"number": step, "level": level, "box_dots": [left, row.top, right, row.bottom],
                "mark_dots": [first, row.mark_top, last, row.mark_bottom]}
               for step, (level, (left, right, first, last)) in enumerate(zip(row.series.marks, columns, strict=True))]
    return {"into": row.into, "mark": row.mark, "field_level": row.series.field, "patches": patches}
