"""Correcting the pictures of a print for a leak of light, before they are woven.

All pictures are brought onto one grid, as they will stand in the print: fit, shift and bare paper included, for what
leaks is what lies there. The grid is as fine as the finest picture and never finer than the print's dots. It is
worked through by bands, so that memory does not grow with the print; the corrected pictures have as many bits as the
others would have.
"""

import math
from collections.abc import Generator, Sequence
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np

from logbook.engine.leakcorrection import Correction
from logbook.engine.painting import Bands, Strips, painted
from logbook.engine.pixelstore import PixelStore
from logbook.engine.plan import NO_SHIFT, Plan, placed
from logbook.engine.sources import Ground
from logbook.engine.weave import Placed, Weave
from logbook.refusals import Refused

_BAND_BYTES, _LEAST_ROWS = 2**22, 8

Size = tuple[int, int]


def check(correction: Correction, ground: Ground, *, pictures: int) -> None:
    """Refuse what cannot be corrected: another number of pictures, or inks whose light nobody knows."""
    count = len(correction.matrix)
    if count != pictures:
        raise Refused(f"The correction is for {count} pictures, but there are {pictures}.", field="correction")
    if ground.mode == "CMYK":
        raise Refused("CMYK pictures say inks, not light, and a leak is corrected in light: save them as RGB, or print "
                      "them without a correction.", field="correction")


def filling(plan: Plan, sizes: Sequence[Size]) -> list[Placed]:
    """Where the corrected pictures lie: each fills the printed picture with the whole grid."""
    grid, (right, bottom) = _grid(plan, sizes), plan.printed.dots
    box = Fraction(0), Fraction(0), Fraction(grid[0]), Fraction(grid[1])
    return [Placed(grid, box, (0, 0, right, bottom))] * len(sizes)


def _grid(plan: Plan, sizes: Sequence[Size]) -> Size:
    """Dots of the grid, wide and high."""
    found = []
    for axis, dots in enumerate(plan.printed.dots):
        finest = max((one.box[axis + 2] - one.box[axis]) / (one.place[axis + 2] - one.place[axis])
                     for one in plan.placements(sizes))
        found.append(min(dots, math.ceil(finest * dots)))
    return found[0], found[1]


def _on_grid(plan: Plan, sizes: Sequence[Size], grid: Size) -> list[Placed]:
    """Where PICTURE 1 … N land on the grid."""
    scale = [Fraction(one, dots) for one, dots in zip(grid, plan.printed.dots, strict=True)]
    dpi = plan.dpi[0] * scale[0], plan.dpi[1] * scale[1]
    shifts = [plan.shifts[number - 1] for number in plan.order] if plan.shifts else [NO_SHIFT] * len(sizes)
    return [placed(size, grid, dpi, fit=plan.fit, shift=(shift[0] * scale[0], shift[1] * scale[1]))
            for size, shift in zip(sizes, shifts, strict=True)]


def corrected(plan: Plan, sizes: Sequence[Size], ground: Ground, decoded: PixelStore, store: PixelStore,
              correction: Correction, *, workers: int | None) -> Generator[float]:
    """Fill ``store`` with the corrected pictures, (high, wide) of the grid; yields the part that is done."""
    wide, high = _grid(plan, sizes)
    kind, channels = np.dtype(ground.kind), ground.channels
    for number in range(len(sizes)):
        store.reserve(number, (high, wide, channels), kind)
    grid = _Grid(_on_grid(plan, sizes, (wide, high)), (wide, high), ground, decoded, correction)
    grid.prepare()
    row = wide * channels * len(sizes) * kind.itemsize
    bands = Bands(grid.paint, _unwritten, (high, wide, channels * len(sizes)), f"<u{kind.itemsize}",
                  max(_LEAST_ROWS, _BAND_BYTES // row), packed=False)
    top = 0
    with closing(painted(bands, workers=workers)) as one_by_one:
        for band, _ in one_by_one:
            each = band.reshape(len(sizes), len(band), wide, channels)
            for number, rows in enumerate(each):
                store.put(number, top, rows)
            top += len(band)
            yield top / high


def _unwritten(band: np.ndarray) -> Strips:  # noqa: ARG001 - a file's bands take one
    """These bands go into no file."""
    return []


@dataclass(frozen=True)
class _Grid:
    """Paints bands of all corrected pictures, one picture behind the other in the band's memory."""

    places: Sequence[Placed]
    size: Size
    ground: Ground
    decoded: PixelStore
    correction: Correction

    @cached_property
    def _weaves(self) -> dict[Placed, Weave]:
        """For each way to lie on the grid, what resamples one picture for all its dots."""
        wide, high = self.size
        return {place: Weave([place], np.zeros(wide, dtype=np.int64), True, np.arange(wide), np.arange(high),
                             self.ground.paper, self.ground.bits) for place in self.places}

    def prepare(self) -> None:
        """Make what every band needs."""
        for weave in self._weaves.values():
            weave.prepare()

    def paint(self, top: int, bottom: int, out: np.ndarray) -> None:
        """Fill ``out`` with the rows top … bottom-1 of every picture."""
        each = out.reshape(len(self.places), bottom - top, self.size[0], self.ground.channels)
        for number, (place, rows) in enumerate(zip(self.places, each, strict=True)):
            self._weaves[place].band(_One(self.decoded, number), top, bottom, rows)
        for rows, made in zip(each, self.correction.levels(list(each)), strict=True):
            rows[...] = made


@dataclass(frozen=True, slots=True)
class _One:
    """One picture of a store, to whoever asks for the only one there is."""

    store: PixelStore
    number: int

    def rows(self, picture: int, low: int, high: int) -> np.ndarray:
        """Its rows low … high-1."""
        return self.store.rows(self.number + picture, low, high)
