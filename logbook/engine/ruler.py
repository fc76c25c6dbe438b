"""Single dots of a print under a ruler: millimetres, lenticules and whose strip it is, along the pitch axis.

Nothing is smoothed: every dot becomes a rectangle in its true proportion. Positions are those of the file, also for a
reversed sheet; millimetres are the printer's own.
"""

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from logbook.engine.phase import owners
from logbook.engine.readback import Raster
from logbook.refusals import Refused

LENGTHS_MM = (2, 5, 10, 20)
LONG, DEEP, ROW = 720, 240, 26
"""Pixels of the patch along and beside the pitch axis, and of one line of the ruler."""

_INK, _PAPER, _BANDS = (30, 30, 30), (252, 250, 244), ((252, 250, 244), (226, 234, 230))
_LEAST_TEXT = 16


@dataclass(frozen=True)
class _Ruled:
    """A raster's story in numbers, and the stretch of the pitch axis that is shown (dots from the file's edge)."""

    lpi: Decimal
    dpi: Fraction
    pictures: int
    across: bool
    mirrored: bool
    offset: Fraction
    count: int
    low: Fraction
    high: Fraction
    owned: np.ndarray

    def pixel(self, dot: Fraction) -> float:
        """Where a place on the pitch axis stands, in pixels along the ruler."""
        return float((dot - self.low) * LONG / (self.high - self.low))

    def lenticule(self, dot: Fraction) -> Fraction:
        """Lenticules from phase zero at a place given in dots of the file."""
        return (self.count - dot if self.mirrored else dot) * Fraction(self.lpi) / self.dpi + self.offset

    def border(self, number: int) -> Fraction:
        """Where lenticule ``number`` begins, in dots of the file."""
        dot = (number - self.offset) * self.dpi / Fraction(self.lpi)
        return self.count - dot if self.mirrored else dot


def ruled(raster: Raster, *, from_left_mm: float, from_top_mm: float, length_mm: int) -> Image.Image:
    """The patch whose left top corner lies at these millimetres, ``length_mm`` long along the pitch axis.

    The place is moved inside the print where it lies beyond. Raises Refused for a file that tells no story.
    """
    if raster.dpi is None or "lpi" not in raster.story:
        raise Refused("This file does not say at which pitch it was interlaced.", field="file")
    across = raster.story["flip"] == "left-right"
    spans = (length_mm, length_mm * DEEP / LONG) if across else (length_mm * DEEP / LONG, length_mm)
    starts = [_inside(place, span, dots, dpi) for place, span, dots, dpi
              in zip((from_left_mm, from_top_mm), spans, raster.dots, raster.dpi, strict=True)]
    ends = [start + Fraction(span) * dpi * 10 / 254 for start, span, dpi in zip(starts, spans, raster.dpi, strict=True)]
    axis = 0 if across else 1
    told = _told(raster, axis, starts[axis], ends[axis])
    size = (LONG, DEEP) if across else (DEEP, LONG)
    patch = _enlarged(raster, starts, ends, size)
    canvas = Image.new("RGB", (LONG, DEEP + 3 * ROW) if across else (DEEP + 3 * ROW, LONG), _PAPER)
    canvas.paste(patch, (0, 3 * ROW) if across else (3 * ROW, 0))
    _Pen(canvas, told).rule()
    return canvas


def _inside(place_mm: float, span_mm: float, dots: int, dpi: Fraction) -> Fraction:
    """The place in whole dots, at least none and such that the span fits."""
    room = dots - math.ceil(Fraction(span_mm) * dpi * 10 / 254)
    return Fraction(max(0, min(int(Fraction(max(place_mm, 0)) * dpi * 10 / 254), room)))


def _told(raster: Raster, axis: int, low: Fraction, high: Fraction) -> _Ruled:
    story, count = raster.story, raster.dots[axis]
    assert raster.dpi is not None
    lpi, dpi, offset = Decimal(story["lpi"]), raster.dpi[axis], Fraction(story.get("offset") or 0)
    shares = [Fraction(share) for share in story["shares"]] if story.get("shares") else None
    owned = owners(count, lpi=lpi, dpi=dpi, pictures=int(story["pictures"]), offset=offset, shares=shares)
    mirrored = bool(story.get("reversed")) and axis == 0
    return _Ruled(lpi, dpi, int(story["pictures"]), axis == 0, mirrored, offset, count, low, high,
                  owned[::-1] if mirrored else owned)


def _enlarged(raster: Raster, starts: list[Fraction], ends: list[Fraction], size: tuple[int, int]) -> Image.Image:
    index = [np.clip(((np.arange(pixels) + 0.5) * float(end - start) / pixels + float(start)).astype(np.int64), 0,
                     dots - 1) for start, end, pixels, dots in zip(starts, ends, size, raster.dots, strict=True)]
    top, bottom = int(index[1].min()), int(index[1].max()) + 1
    patch = np.ascontiguousarray(raster.pixels[top:bottom][index[1] - top][:, index[0]])
    patch = (patch >> 8).astype(np.uint8) if patch.dtype == np.uint16 else patch
    return Image.fromarray(patch[:, :, 0] if patch.shape[2] == 1 else patch, raster.mode).convert("RGB")


class _Pen:
    """Draws the three lines of the ruler along the pitch axis, whichever way that runs."""

    def __init__(self, canvas: Image.Image, told: _Ruled) -> None:
        self._draw, self._told = ImageDraw.Draw(canvas), told
        self._face = ImageFont.load_default(13)

    def rule(self) -> None:
        """Millimetres, lenticules, pictures."""
        self._millimetres()
        self._lenticules()
        self._pictures()

    def _millimetres(self) -> None:
        told = self._told
        per_mm = told.dpi * 10 / 254
        most = 1 if told.high - told.low <= 5 * per_mm else 5
        for tenth in range(math.ceil(told.low / per_mm * 10), math.floor(told.high / per_mm * 10) + 1):
            along = told.pixel(tenth * per_mm / 10)
            whole = tenth % 10 == 0
            self._tick(along, ROW, ROW // 2 if whole else ROW // 4)
            if whole and (tenth // 10) % most == 0:
                self._words(f"{tenth // 10} mm" if told.across else str(tenth // 10), along + 3, 0)

    def _lenticules(self) -> None:
        for number, low, high in self._cells():
            self._cell(low, high, ROW, _BANDS[number % 2])
            if high - low >= _LEAST_TEXT:
                self._words(str(number), max(low, 0) + 3, ROW)

    def _cells(self) -> list[tuple[int, float, float]]:
        told = self._told
        ends = sorted(math.floor(told.lenticule(dot)) for dot in (told.low, told.high))
        found = []
        for number in range(ends[0], ends[1] + 1):
            low, high = sorted(told.pixel(told.border(at)) for at in (number, number + 1))
            found.append((number, low, high))
        return found

    def _pictures(self) -> None:
        told = self._told
        first, last = int(told.low), min(told.count, math.ceil(told.high))
        cuts = [first, *(np.flatnonzero(np.diff(told.owned[first:last])) + 1 + first).tolist(), last]
        for low, high in pairwise(cuts):
            owner = int(told.owned[low])
            start, stop = told.pixel(Fraction(low)), told.pixel(Fraction(high))
            self._cell(start, stop, 2 * ROW, _BANDS[owner % 2])
            if stop - start >= _LEAST_TEXT:
                self._words(str(owner), max(start, 0) + 3, 2 * ROW)

    def _box(self, low: float, high: float, beside: int, deep: int) -> tuple[float, float, float, float]:
        return (low, beside, high, beside + deep) if self._told.across else (beside, low, beside + deep, high)

    def _cell(self, low: float, high: float, beside: int, fill: tuple[int, int, int]) -> None:
        # one may begin within the very last pixel
        start, stop = (min(max(edge, 0), LONG - 1) for edge in (low, high))
        self._draw.rectangle(self._box(start, stop, beside, ROW - 1), fill, _INK)

    def _tick(self, along: float, foot: int, deep: int) -> None:
        self._draw.line(self._box(along, along, foot - deep, deep - 1), _INK)

    def _words(self, text: str, along: float, beside: int) -> None:
        self._draw.text((along, beside + 5) if self._told.across else (beside + 3, along), text, _INK, self._face)
