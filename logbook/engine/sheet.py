"""What stands in the waste around a print: trim marks, edge check bars, pitch strip, scale bar, run label, QR code.

Seen with the check bars along the pitch axis: one beyond the first trimmed edge
is black in PICTURE 1's strips, one beyond the other edge in PICTURE N's, both in
the phase of the print. With the lens right each looks solid from its own side,
so the lens must cover them.

Lettering, codes and strips are imported where they are drawn: most prints have none,
and a command that lasts half a second should not wait for them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from logbook.engine.phase import dots_for
from logbook.lengths import INCH_IN_MM, Length
from logbook.refusals import Refused

Box = tuple[int, int, int, int]
"""Half-open box in dots: left, top, right, bottom."""

_GAP, _BAR, _MARK, _THIN = Fraction(1), Fraction(4), Fraction(4), Fraction(15, 100)
_TEXT, _LINE, _SCALE, _MODULE = Fraction(23, 10), Fraction(32, 10), Fraction(3), Fraction(1, 2)
_QUIET_MODULES, _LEAST_MODULE_DOTS = 4, 4
_LEAST_LENGTH = 60
"""Millimetres that a sheet must be wide for its label and code."""


@dataclass(frozen=True, slots=True)
class Waste:
    """What the waste is to carry. ``strip_lpi`` (the pitch converted to ``bench_distance``) asks for a pitch strip."""

    label: tuple[str, ...] = ()
    code: str = ""
    strip_lpi: Decimal | None = None
    bench_distance: Length | None = None
    corners: bool = True
    """Whether marks point at the corners of the printed area: not where the pieces on it have marks of their own."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One thing in the waste: ``grey`` (high, wide), 0 black … 255 bare, its upper left corner at ``at``.

    ``mirrors``: whether a reversed sheet mirrors it with the pictures; what is
    read from the ink side is not mirrored, and its place is that on the finished sheet.
    """

    name: str
    at: tuple[int, int]
    grey: np.ndarray
    mirrors: bool = False

    @property
    def box(self) -> Box:
        """The dots that it covers."""
        (left, top), (high, wide) = self.at, self.grey.shape
        return left, top, left + wide, top + high


@dataclass(frozen=True, slots=True)
class Printed:
    """What is known of the print itself: printed dots with bleed, the bleed's dots, resolution, axis."""

    dots: tuple[int, int]
    bleed: tuple[int, int]
    dpi: tuple[Fraction, Fraction]
    across: bool

    def to_dots(self, mm: Fraction, axis: int) -> int:
        """Millimetres as dots along an axis (0 across, 1 down)."""
        return dots_for(mm / INCH_IN_MM, self.dpi[axis])


def margins(waste: Waste, printed: Printed) -> Box:
    """The waste's dots at the left, top, right and bottom of the print, before any mirroring."""
    beside, beyond = 2 * _GAP + _MARK, 3 * _GAP + _BAR + _MARK
    across = beside if printed.across else beyond
    down = beyond if printed.across else beside
    left, top = printed.to_dots(across, 0), printed.to_dots(down, 1)
    strip = _strip_dots(waste, printed)
    right = left + (0 if printed.across else strip)
    bottom = top + (strip if printed.across else 0)
    width = left + printed.dots[0] + right
    if width / printed.dpi[0] * INCH_IN_MM < _LEAST_LENGTH:
        raise Refused(f"The sheet would be under {_LEAST_LENGTH} mm wide: too narrow for marks, label and code; "
                      "leave them out.", field="marks")
    return left, top, right, bottom + len(_information(waste, printed, width=width)) + printed.to_dots(_GAP, 1)


def _strip_dots(waste: Waste, printed: Printed) -> int:
    if waste.strip_lpi is None:
        return 0
    from logbook.engine.strip import strip_depth_dots
    axis = 1 if printed.across else 0
    return strip_depth_dots(printed.dpi[axis]) + printed.to_dots(_GAP, axis)


def pieces(waste: Waste, printed: Printed, owners: np.ndarray, *, pictures: int, mirrored: bool) -> list[Piece]:
    """Everything in the waste. ``owners``: the picture (0 …) of each raster dot along the pitch axis."""
    left, top, right, bottom = margins(waste, printed)
    width = left + printed.dots[0] + right
    found = _trim_marks(printed, left=left, top=top) if waste.corners else []
    found += _check_bars(printed, owners, left=left, top=top, last=pictures - 1)
    if waste.strip_lpi is not None:
        found.append(_strip(waste, printed, left=left, top=top, mirrored=mirrored, width=width))
    information = _information(waste, printed, width=width)
    at = top + printed.dots[1] + bottom - len(information) - printed.to_dots(_GAP, 1)
    return [*found, Piece("label", (0, at), information)]


def _trim_marks(printed: Printed, *, left: int, top: int) -> list[Piece]:
    """Eight thin lines that point at the trimmed edges, outside everything that is printed up to them."""
    marks, ends = [], []
    for axis, start in ((0, left), (1, top)):
        bars = _GAP + _BAR if (axis == 1) == printed.across else Fraction(0)
        far, near = printed.to_dots(_GAP + _MARK + bars, axis), printed.to_dots(_GAP + bars, axis)
        ends.append((start - far, start + printed.dots[axis] + near, far - near))
    for axis, start in ((0, left), (1, top)):
        for edge in (start + printed.bleed[axis], start + printed.dots[axis] - printed.bleed[axis]):
            thin = max(1, printed.to_dots(_THIN, axis))
            for place in ends[1 - axis][:2]:
                line = np.zeros((ends[1 - axis][2], thin) if axis == 0 else (thin, ends[1 - axis][2]), dtype=np.uint8)
                at = (edge - thin // 2, place) if axis == 0 else (place, edge - thin // 2)
                marks.append(Piece("trim mark", at, line, mirrors=True))
    return marks


def _check_bars(printed: Printed, owners: np.ndarray, *, left: int, top: int, last: int) -> list[Piece]:
    axis = 1 if printed.across else 0
    start, along = ((top, left) if printed.across else (left, top))
    depth, gap = printed.to_dots(_BAR, axis), printed.to_dots(_GAP, axis)
    mine = owners[along:along + printed.dots[1 - axis]]
    found = []
    for picture, place in ((0, start - gap - depth), (last, start + printed.dots[axis] + gap)):
        row = np.where(mine == picture, np.uint8(0), np.uint8(255))
        grey = np.broadcast_to(row, (depth, len(row)))
        at = (along, place) if printed.across else (place, along)
        found.append(Piece(f"check bar picture {picture + 1}", at, grey if printed.across else grey.T, mirrors=True))
    return found


def _strip(waste: Waste, printed: Printed, *, left: int, top: int, mirrored: bool, width: int) -> Piece:
    from logbook.engine.strip import draw_strip, make_strip
    assert waste.strip_lpi is not None
    if waste.bench_distance is None:
        raise Refused("strip: a pitch strip needs the distance from which it is read.", field="strip")
    axis = 1 if printed.across else 0
    plan = make_strip(lpi=waste.strip_lpi, length_dots=printed.dots[1 - axis], pitch_dpi=printed.dpi[1 - axis],
                      line_dpi=printed.dpi[axis], bench_distance=waste.bench_distance)
    grey = draw_strip(plan)
    start = (top if printed.across else left) + printed.dots[axis] + printed.to_dots(3 * _GAP + _BAR + _MARK, axis)
    if printed.across:
        return Piece("pitch strip", (left if not mirrored else width - left - printed.dots[0], start), grey)
    grey = np.rot90(grey, -1)  # turned clockwise: its words stay legible, the bands stand above them as ever
    return Piece("pitch strip", (start if not mirrored else width - start - grey.shape[1], top), grey)


def _information(waste: Waste, printed: Printed, *, width: int) -> np.ndarray:
    """Scale bar and label at the left, the QR code at the right, on bare paper ``width`` dots wide."""
    from logbook.engine.lettering import draw_line, wrapped
    code, room_mm = _code_and_room(waste, printed, width=width)
    gap = printed.to_dots(_GAP, 0), printed.to_dots(_GAP, 1)
    length_mm = _bar_length(room_mm)
    told = (f"Scale bar {length_mm} mm end to end.", *waste.label)
    lines = [line for words in told for line in wrapped(words, width_mm=room_mm, height_mm=float(_TEXT))]
    line, scale = printed.to_dots(_LINE, 1), printed.to_dots(_SCALE, 1)
    panel: np.ndarray = np.full((max(len(code), scale + gap[1] + line * len(lines)), width), 255, dtype=np.uint8)
    _scale_bar(panel, printed, left=gap[0], length_mm=length_mm, high=scale)
    for number, words in enumerate(lines):
        draw_line(words, panel, left=gap[0], top=scale + gap[1] + number * line,
                  height=(printed.to_dots(_TEXT, 0), printed.to_dots(_TEXT, 1)))
    panel[:len(code), width - code.shape[1]:] = code
    return panel


def scale_bar_mm(waste: Waste, printed: Printed, *, width: int) -> int:
    """The length of the scale bar that stands in the waste of a raster ``width`` dots wide."""
    return _bar_length(_code_and_room(waste, printed, width=width)[1])


def _bar_length(room_mm: float) -> int:
    return max(10, min(100, int(room_mm) // 10 * 10))


def _code_and_room(waste: Waste, printed: Printed, *, width: int) -> tuple[np.ndarray, float]:
    """The QR code's dots, and the millimetres beside it for bar and label."""
    code = _code(waste.code, printed) if waste.code else np.empty((0, 0), dtype=np.uint8)
    return code, float((width - code.shape[1] - 4 * printed.to_dots(_GAP, 0)) / printed.dpi[0] * INCH_IN_MM)


def _scale_bar(panel: np.ndarray, printed: Printed, *, left: int, length_mm: int, high: int) -> None:
    """Two upright lines whose outer edges are the stated length apart, joined in the middle."""
    thin = max(1, printed.to_dots(_THIN, 0)), max(1, printed.to_dots(_THIN, 1))
    right = left + printed.to_dots(Fraction(length_mm), 0)
    panel[:high, left:left + thin[0]] = 0
    panel[:high, right - thin[0]:right] = 0
    panel[high // 2:high // 2 + thin[1], left:right] = 0


def _code(text: str, printed: Printed) -> np.ndarray:
    """The QR code (ISO/IEC 18004) with its quiet zone; a module is half a millimetre and at least four dots."""
    import segno
    symbol = segno.make_qr(text, error="m")
    dark = np.array([list(row) for row in symbol.matrix_iter(border=_QUIET_MODULES)], dtype=np.uint8)
    wide, high = (max(_LEAST_MODULE_DOTS, printed.to_dots(_MODULE, axis)) for axis in (0, 1))
    grey: np.ndarray = np.where(dark.repeat(high, axis=0).repeat(wide, axis=1) != 0, np.uint8(0), np.uint8(255))
    return grey


def paste(found: Sequence[Piece], band: np.ndarray, *, top: int, paper: np.ndarray, mirrors: bool) -> None:
    """Put the pieces that ``mirrors`` names into the band whose first row is raster row ``top``."""
    bottom = top + len(band)
    for piece in found:
        left, first, right, last = piece.box
        low, high = max(top, first), min(bottom, last)
        if piece.mirrors == mirrors and low < high:
            ink = piece.grey[low - first:high - first] < 128
            band[low - top:high - top, left:right][ink] = black(paper)


def black(paper: np.ndarray) -> np.ndarray:
    """One black dot where ``paper`` is a bare one: no light, or the black ink alone."""
    ink = np.zeros_like(paper)
    if len(paper) == 4:
        ink[3] = np.iinfo(paper.dtype).max
    return ink
