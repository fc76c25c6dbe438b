"""What fills the bands of a raster: the woven picture areas, and the waste around them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logbook.engine.pixelstore import PixelStore
from logbook.engine.plan import Plan
from logbook.engine.sheet import Piece, paste, pieces
from logbook.engine.sources import Ground
from logbook.engine.weave import Placed, Weave


@dataclass(frozen=True)
class Woven:
    """One picture area and where its upper left dot lies on the raster. ``pictures``: where its PICTURE 1 … N lie in
    the store; None: in that order from the first."""

    weave: Weave
    at: tuple[int, int]
    pictures: tuple[int, ...] | None = None

    def band(self, store: PixelStore, top: int, bottom: int, out: np.ndarray) -> None:
        """Fill its part of ``out``, the raster's rows top … bottom-1."""
        (left, first), wide, high = self.at, self.weave.width, len(self.weave.rows)
        low, last = max(top - first, 0), min(bottom - first, high)
        if low >= last:
            return
        woven = out[low + first - top:last + first - top, left:left + wide]
        part = woven if woven.flags.c_contiguous else np.empty(woven.shape, dtype=out.dtype)
        self.weave.band(store if self.pictures is None else _Chosen(store, self.pictures), low, last, part)
        if part is not woven:
            woven[...] = part

    def covers(self, top: int, bottom: int, wide: int) -> bool:
        """Whether it fills these rows of a raster ``wide`` dots across from edge to edge."""
        return self.weave.width == wide and self.at[1] <= top and bottom <= self.at[1] + len(self.weave.rows)


@dataclass(frozen=True)
class _Chosen:
    """Some of the pictures in a store, numbered anew."""

    store: PixelStore
    pictures: tuple[int, ...]

    def rows(self, picture: int, low: int, high: int) -> np.ndarray:
        return self.store.rows(self.pictures[picture], low, high)


def weave_of(plan: Plan, ground: Ground, placements: Sequence[Placed]) -> Weave:
    """The weave of a print that is alone on its raster."""
    wide, high = plan.printed.dots
    start = plan.margins[0] if plan.across else plan.margins[1]
    owners = plan.owners()[start:start + (wide if plan.across else high)]
    return Weave(placements, owners, plan.across, np.arange(wide), np.arange(high), ground.paper, ground.bits)


class Painter:
    """Fills bands of the finished raster: what is woven, the waste around it, mirrored where that is asked."""

    def __init__(self, plan: Plan, ground: Ground, woven: Sequence[Woven], store: PixelStore,
                 marks: Sequence[Piece] = ()) -> None:
        self._store, self._paper, self._mirrored, self._woven = store, ground.paper, plan.reversed_sheet, woven
        self.pieces: list[Piece] = [*(pieces(plan.waste, plan.printed, plan.owners(), pictures=plan.pictures,
                                             mirrored=plan.reversed_sheet) if plan.waste else []), *marks]

    @property
    def enlarged(self) -> float:
        """The most rows of the print that come from one row of a picture."""
        return max((float((one.place[3] - one.place[1]) / (one.box[3] - one.box[1]))
                    for woven in self._woven for one in woven.weave.pictures), default=1.0)

    def prepare(self) -> None:
        """Make what every band needs, before any picture is there."""
        for woven in self._woven:
            woven.weave.prepare()

    def band(self, top: int, bottom: int, out: np.ndarray) -> None:
        """Fill ``out`` with the raster's rows top … bottom-1."""
        if not any(woven.covers(top, bottom, out.shape[1]) for woven in self._woven):
            out[...] = self._paper
        for woven in self._woven:
            woven.band(self._store, top, bottom, out)
        paste(self.pieces, out, top=top, paper=self._paper, mirrors=True)
        if self._mirrored:
            out[...] = out[:, ::-1].copy()
        paste(self.pieces, out, top=top, paper=self._paper, mirrors=False)
