"""What stands above and below a chart's lens box: marks, code, words and scale bars.

Nothing stands at the sides of the lens box, so that a chart as wide as the page's
printable part still fits. Both panels are laid out in dots before anything is drawn,
because the bands' boxes depend on their heights.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import segno

from logbook.engine.lettering import draw_line, width_in_heights, wrapped
from logbook.engine.resolution import Resolution
from logbook.lengths import INCH_IN_MM

Box = tuple[int, int, int, int]
"""Half-open box in dots: left, top, right, bottom."""

_MARK_MM, _MARK_HOLE_MM = 5.0, 1.6
_MARGIN_MM, _TEXT_MM, _LINE_MM, _NUMBER_MM = 2.0, 2.3, 3.2, 4.0
_THIN_MM, _TICK_MM = 0.15, 2.0
_QUIET_MODULES, _LEAST_MODULE_DOTS, _MODULE_MM = 4, 4, 0.5
_LEAST_TEXT_COLUMN_MM, _LEAST_WIDTH_MM = 60.0, 64.0


@dataclass(frozen=True, slots=True)
class PanelWords:
    """What the panels say: paragraphs above and below the lens box, and the QR code's text."""

    above: tuple[str, ...]
    below: tuple[str, ...]
    code: str
    dpi: Resolution


@dataclass(frozen=True, slots=True)
class Labels:
    """Words that stand close above and below the lens box, each at its column in dots.

    ``ticks`` draws a line from each label of the head to the lens box, at exactly that column.
    """

    at: tuple[tuple[int, str], ...] = ()
    ticks: bool = False


@dataclass(frozen=True, slots=True)
class Panel:
    """One panel's place (top row, height) and its content, in raster dots."""

    top: int
    height: int
    corner_marks: tuple[Box, ...]
    bars: tuple[Box, ...]
    lines: tuple[tuple[int, int, str], ...]
    code: str
    code_at: tuple[int, int]
    scale_bars: tuple[dict[str, object], ...]


@dataclass(frozen=True, slots=True)
class _Ruler:
    """Millimetres to dots on both axes."""

    dpi: Resolution

    def x(self, mm: float) -> int:
        return round(float(self.dpi[0] / INCH_IN_MM) * mm)

    def y(self, mm: float) -> int:
        return round(float(self.dpi[1] / INCH_IN_MM) * mm)


def least_width(words: PanelWords) -> int:
    """The narrowest raster, in dots, that holds the panels."""
    return max(code_size(words.code, words.dpi)[0], _Ruler(words.dpi).x(_LEAST_WIDTH_MM))


def head_panel(words: PanelWords, *, width: int, labels: Labels) -> Panel:
    """The panel above the lens box, from row 0: code, words, scale bar between the upper corner marks, labels."""
    ruler = _Ruler(words.dpi)
    lines, depth = _text_block(words.above, words, width=width, top=0)
    marks_top = depth + ruler.y(_MARGIN_MM)
    bar, words_of_bar, facts = _across_bar(words, width=width, top=marks_top)
    labels_top = marks_top + ruler.y(_MARK_MM + 1)
    ticks_top = labels_top + ruler.y(_NUMBER_MM if labels.at else _MARGIN_MM)
    height = ticks_top + (ruler.y(_TICK_MM) if labels.ticks else 0)
    ticks = [(x, ticks_top, x + max(1, ruler.x(_THIN_MM)), height) for x, _label in labels.at if labels.ticks]
    placed = _placed(labels, ruler, top=labels_top, width=width)
    return Panel(top=0, height=height, corner_marks=_marks(ruler, width=width, top=marks_top), bars=(*bar, *ticks),
                 lines=(*lines, words_of_bar, *placed), code=words.code, code_at=(0, 0), scale_bars=(facts,))


def foot_panel(words: PanelWords, *, width: int, labels: Labels, head: Panel, top: int) -> Panel:
    """The panel below the lens box: labels, lower corner marks, the long scale down, words, a second code.

    The lower marks stand a whole number of millimetres below the upper ones.
    """
    ruler = _Ruler(words.dpi)
    beside = _placed(labels, ruler, top=top + ruler.y(0.5), width=width)
    upper = head.corner_marks[0][1]
    least = top + ruler.y(_NUMBER_MM if labels.at else _MARGIN_MM) - upper
    down_mm = -int(-Fraction(least) * INCH_IN_MM // words.dpi[1])
    marks_top = upper + ruler.y(down_mm)
    facts = {"axis": "down", "length_mm": down_mm, "from_dot": upper, "to_dot": marks_top}
    saying = f"Long scale down: {down_mm} mm from the upper edges of the upper squares to the upper edges of these."
    text_top = marks_top + ruler.y(_MARK_MM + _MARGIN_MM)
    lines, depth = _text_block((saying, *words.below), words, width=width, top=text_top)
    marks = _marks(ruler, width=width, top=marks_top)
    return Panel(top=top, height=depth - top + ruler.y(_MARGIN_MM), corner_marks=marks, bars=(),
                 lines=(*beside, *lines), code=words.code, code_at=(0, text_top), scale_bars=(facts,))


def draw_panel(panel: Panel, raster: np.ndarray, *, dpi: Resolution) -> None:
    """Draw the panel into the raster (uint8, white): black marks, bars, code and lettering."""
    ruler = _Ruler(dpi)
    for left, top, right, bottom in (*panel.corner_marks, *panel.bars):
        raster[top:bottom, left:right] = 0
    for left, top, right, bottom in panel.corner_marks:
        aside, down = (right - left - ruler.x(_MARK_HOLE_MM)) // 2, (bottom - top - ruler.y(_MARK_HOLE_MM)) // 2
        raster[top + down:bottom - down, left + aside:right - aside] = 255
    _draw_code(panel.code, raster, at=panel.code_at, dpi=dpi)
    for left, top, line in panel.lines:
        draw_line(line, raster, left=left, top=top, height=(ruler.x(_TEXT_MM), ruler.y(_TEXT_MM)))


def _text_block(paragraphs: tuple[str, ...], words: PanelWords, *, width: int, top: int) \
        -> tuple[tuple[tuple[int, int, str], ...], int]:
    """Lines beside the QR code, or under it where the column is too narrow; and the first free row below both."""
    ruler = _Ruler(words.dpi)
    code_width, code_height = code_size(words.code, words.dpi)
    beside = width - code_width >= ruler.x(_LEAST_TEXT_COLUMN_MM)
    left, start = (code_width, top + ruler.y(1)) if beside else (0, top + code_height)
    column_mm = 0.94 * (width - left) / ruler.x(1000) * 1000
    lines = [line for paragraph in paragraphs for line in wrapped(paragraph, width_mm=column_mm, height_mm=_TEXT_MM)]
    placed = tuple((left, start + ruler.y(_LINE_MM * row), line) for row, line in enumerate(lines))
    return placed, max(top + code_height, start + ruler.y(_LINE_MM * len(lines)))


def _across_bar(words: PanelWords, *, width: int, top: int) \
        -> tuple[tuple[Box, ...], tuple[int, int, str], dict[str, object]]:
    """A ruled bar between the corner marks, a whole number of centimetres long, with a tick at each."""
    ruler = _Ruler(words.dpi)
    aside = ruler.x(_MARK_MM + _MARGIN_MM)
    centimetres = max(1, int((width - 2 * aside) / ruler.x(1000) * 100))
    thick_x, thick_y = max(1, ruler.x(_THIN_MM)), max(1, ruler.y(_THIN_MM))
    ends = [aside + ruler.x(10 * tick) for tick in range(centimetres + 1)]
    bars = [(x, top, x + thick_x, top + ruler.y(1.6)) for x in ends]
    bars.append((ends[0], top, ends[-1] + thick_x, top + thick_y))
    saying = f"Long scale across: {10 * centimetres} mm, left edge of the first line to left edge of the last."
    fits = wrapped(saying, width_mm=10.0 * centimetres, height_mm=_TEXT_MM)
    line = (aside, top + ruler.y(2), saying if len(fits) == 1 else f"{10 * centimetres} mm")
    return tuple(bars), line, {"axis": "across", "length_mm": 10 * centimetres, "from_dot": ends[0], "to_dot": ends[-1]}


def _marks(ruler: _Ruler, *, width: int, top: int) -> tuple[Box, ...]:
    wide, high = ruler.x(_MARK_MM), ruler.y(_MARK_MM)
    return (0, top, wide, top + high), (width - wide, top, width, top + high)


def _placed(labels: Labels, ruler: _Ruler, *, top: int, width: int) -> tuple[tuple[int, int, str], ...]:
    """The labels as lines of lettering, centred on their columns and kept within the raster."""
    widths = [ruler.x(_TEXT_MM * width_in_heights(label)) for _column, label in labels.at]
    return tuple((max(0, min(column - wide // 2, width - wide)), top, label)
                 for (column, label), wide in zip(labels.at, widths, strict=True))


def _module_dots(dpi: Resolution) -> tuple[int, int]:
    ruler = _Ruler(dpi)
    return max(_LEAST_MODULE_DOTS, ruler.x(_MODULE_MM)), max(_LEAST_MODULE_DOTS, ruler.y(_MODULE_MM))


def code_size(code: str, dpi: Resolution) -> tuple[int, int]:
    """The QR code's size in dots, across and down, with its quiet zone."""
    modules = int(segno.make_qr(code, error="m").symbol_size(border=_QUIET_MODULES)[0])
    wide, high = _module_dots(dpi)
    return modules * wide, modules * high


def _draw_code(code: str, raster: np.ndarray, *, at: tuple[int, int], dpi: Resolution) -> None:
    """Draw the QR code with its quiet zone of four modules; a module is at least four dots on each axis."""
    symbol = segno.make_qr(code, error="m")
    dark = np.array([list(row) for row in symbol.matrix_iter(border=_QUIET_MODULES)], dtype=np.uint8)
    wide, high = _module_dots(dpi)
    dots = np.where(np.repeat(np.repeat(dark, high, axis=0), wide, axis=1) != 0, np.uint8(0), np.uint8(255))
    left, top = at
    raster[top:top + dots.shape[0], left:left + dots.shape[1]] = dots
