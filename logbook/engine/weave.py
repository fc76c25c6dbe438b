"""Weaving: every dot of the print from the one picture that owns it, band by band.

One idea makes it fast: resampling across the lenses commutes with the choice of
dots, and each picture owns only its share of them. So each picture is resampled
along the pitch axis for its own dots alone, in small exact float32 products (see
``resample``), and what is left is one product in float64 along the other axis.
Bands are independent of each other: memory does not grow with the print.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any, Protocol

import numpy as np

from logbook.engine.resample import Block, Windows, blocks, lanczos_windows, largest_gain, matrix
from logbook.engine.scratch import Scratch

_ALONG_BITS = {8: 15, 16: 26}
_OTHER_BITS = {8: 22, 16: 26}
_WHOLE = {8: np.int16, 16: np.int32}
"""Whole levels before clipping: quicker to clip than floats."""

_ALONG_SPAN, _DOWN_SPAN, _ACROSS_SPAN = 40, 10, 32
"""Source pixels that one small product reaches over; with the sizes below the quickest of those measured."""

_CHUNK, _TALL, _RUN = 5760, 128, 6
_SMALL = 950_000
"""Multiplications of one product, at most: OpenBLAS packs its matrices from a million on, which doubles the time."""


@dataclass(frozen=True, slots=True)
class Placed:
    """Where a picture lands: its source box (left, top, right, bottom in source pixels, exact) fills
    the half-open dots ``place`` (left, top, right, bottom) of the picture area."""

    size: tuple[int, int]
    box: tuple[Fraction, Fraction, Fraction, Fraction]
    place: tuple[int, int, int, int]


class Rows(Protocol):
    """Decoded pictures, read by rows."""

    def rows(self, picture: int, low: int, high: int) -> np.ndarray:
        """Rows low … high-1 of picture 0 … as (rows, wide * channels), valid until this thread asks for others."""


@dataclass(frozen=True)
class Weave:
    """How the dots of one picture area come about.

    ``owners``: for each wanted dot along the pitch axis the picture (0 …) that
    owns it. ``columns`` and ``rows``: the wanted dots, as positions on the full grid.
    """

    pictures: Sequence[Placed]
    owners: np.ndarray
    across: bool
    columns: np.ndarray
    rows: np.ndarray
    paper: np.ndarray
    bits: int

    @cached_property
    def channels(self) -> int:
        """Samples per dot."""
        return len(self.paper)

    @property
    def width(self) -> int:
        """Wanted dots across."""
        return len(self.columns)

    def prepare(self) -> None:
        """Make the windows and products that every band needs."""
        _ = self._whole, (self._column_products, self._columns) if self.across else self._last_across

    def band(self, store: Rows, top: int, bottom: int, out: np.ndarray) -> None:
        """Fill ``out`` (bottom - top, width, channels) with the wanted rows top … bottom-1."""
        (self._band_across if self.across else self._band_down)(store, top, bottom, out)

    # -- geometry shared by the bands ------------------------------------------------------------

    @cached_property
    def _groups(self) -> list[list[int]]:
        """Pictures that share the geometry of the axis that is resampled last."""
        axis = 1 if self.across else 0
        found: dict[tuple[object, ...], list[int]] = {}
        for number, placed in enumerate(self.pictures):
            key = (placed.size[axis], placed.box[axis::2], placed.place[axis::2])
            found.setdefault(key, []).append(number)
        return list(found.values())

    def _axis(self, number: int, axis: int, wanted: np.ndarray, bits: int) -> tuple[np.ndarray, Windows]:
        """(positions in ``wanted`` that the picture covers, their windows) along axis 0 across, 1 down."""
        placed = self.pictures[number]
        low, high = placed.place[axis], placed.place[axis + 2]
        covered = np.flatnonzero((wanted >= low) & (wanted < high))
        windows = lanczos_windows(wanted[covered] - low, source=placed.size[axis], low=placed.box[axis],
                                  high=placed.box[axis + 2], dots=high - low, bits=bits)
        return covered, windows

    @cached_property
    def _owned(self) -> list[tuple[np.ndarray, Windows]]:
        """Per picture: the wanted dots along the pitch axis that it owns and covers, and their windows."""
        axis, wanted = (0, self.columns) if self.across else (1, self.rows)
        found = []
        for number in range(len(self.pictures)):
            mine = np.flatnonzero(self.owners == number)
            covered, windows = self._axis(number, axis, wanted[mine], _ALONG_BITS[self.bits])
            if self.bits == 8 and largest_gain(windows) * 255 * 2**_ALONG_BITS[8] >= 2**24:
                windows = self._axis(number, axis, wanted[mine], _ALONG_BITS[8] - 2)[1]
            found.append((mine[covered], windows))
        return found

    @cached_property
    def _down(self) -> list[tuple[int, np.ndarray, Windows]]:
        """Per group, of a print whose lines run down: (picture, wanted rows covered, their windows)."""
        return [(group[0], *self._axis(group[0], 1, self.rows, _OTHER_BITS[self.bits])) for group in self._groups]

    @cached_property
    def _whole(self) -> bool:
        """One group covers every wanted dot: nothing is left as paper and nothing needs to be put in place."""
        if len(self._groups) > 1 or sum(len(index) for index, _ in self._owned) < len(self.owners):
            return False
        last = self._down[0][1] if self.across else self._last_across[0][0]
        return len(last) == (len(self.rows) if self.across else self.width)

    @cached_property
    def _scratch(self) -> Scratch:
        return Scratch()

    def _source(self, store: Rows, number: int, low: int, high: int) -> np.ndarray:
        """Rows of a picture as floats."""
        rows = store.rows(number, low, high)
        source = self._scratch.take("source", rows.shape, self._working)
        np.copyto(source, rows)
        return source

    @property
    def _working(self) -> type[np.floating[Any]]:
        return np.float32 if self.bits == 8 else np.float64

    # -- left-right: columns are owned, rows are resampled last ----------------------------------

    @cached_property
    def _runs(self) -> list[np.ndarray]:
        """Per picture: where among its columns a new run of neighbouring columns begins."""
        return [np.flatnonzero(np.diff(index) != 1) + 1 for index, _ in self._owned]

    @cached_property
    def _in_place(self) -> bool:
        """Whether the runs are long enough for each product to write straight into its columns."""
        return sum(len(index) for index, _ in self._owned) >= _RUN * sum(len(runs) + 1 for runs in self._runs)

    @cached_property
    def _column_products(self) -> list[list[tuple[Block, np.ndarray]]]:
        return [[(block, matrix(windows, block, channels=self.channels, kind=self._working))
                 for block in blocks(windows, span=max(_ALONG_SPAN, windows.taps * 3 // 2),
                                     cuts=runs.tolist() if self._in_place else ())]
                for (_, windows), runs in zip(self._owned, self._runs, strict=True)]

    @cached_property
    def _columns(self) -> list[tuple[np.ndarray, np.ndarray]]:
        """Per group: its columns from the left, and the places of these among its pictures' columns in turn."""
        found = []
        for group in self._groups:
            columns = np.concatenate([self._owned[number][0] for number in group])
            order = np.argsort(columns, kind="stable")
            found.append((columns[order], order))
        return found

    def _band_across(self, store: Rows, top: int, bottom: int, out: np.ndarray) -> None:
        if not self._whole:
            out[...] = self.paper
        for at, (group, (_, covered, windows)) in enumerate(zip(self._groups, self._down, strict=True)):
            inside = _within(covered, top, bottom)
            if inside.stop == inside.start:
                continue
            columns, order = self._columns[at]
            middle, low = self._columns_of(store, group, windows, inside, columns)
            if not self._in_place:
                middle = self._picked(middle, order)
            rows = covered[inside] - top
            if self._whole:
                self._rows_of(middle, low, windows, inside, out.reshape(len(out), -1))
                continue
            part = np.empty((len(rows), len(columns) * self.channels), dtype=out.dtype)
            self._rows_of(middle, low, windows, inside, part)
            out[np.ix_(rows, columns)] = part.reshape(len(rows), len(columns), -1)

    def _columns_of(self, store: Rows, group: list[int], windows: Windows, inside: slice,
                    columns: np.ndarray) -> tuple[np.ndarray, int]:
        """The owned columns of a group at source height: (source rows, columns * channels), and the first of the rows.

        In their places where the products write there, else picture by picture.
        """
        low, high = int(windows.starts[inside.start]), int(windows.starts[inside.stop - 1]) + windows.taps
        middle = self._scratch.take("middle", (high - low, len(columns) * self.channels), self._working)
        at = 0
        for number in group:
            source = self._source(store, number, low, high)
            places = np.searchsorted(columns, self._owned[number][0]) * self.channels
            for block, weights in self._column_products[number]:
                wide = weights.shape[1]
                at = int(places[block.first]) if self._in_place else at
                np.matmul(source[:, block.low * self.channels:block.high * self.channels], weights,
                          out=middle[:, at:at + wide])
                at += wide
        return _settled(middle, self.bits), low

    def _picked(self, middle: np.ndarray, order: np.ndarray) -> np.ndarray:
        """The columns of interleaved pixels in another order, a whole pixel at a time."""
        pixel = np.dtype((np.void, self.channels * middle.itemsize))
        picked = self._scratch.take("picked", middle.shape, middle.dtype)
        np.take(middle.view(pixel), order, axis=1, out=picked.view(pixel), mode="clip")
        return picked

    def _rows_of(self, middle: np.ndarray, low: int, windows: Windows, inside: slice, out: np.ndarray) -> None:
        """Resample (source rows, values) to the output rows, rounded half up and clipped."""
        part = windows.chosen(np.arange(inside.start, inside.stop))
        products = [(block, np.ascontiguousarray(matrix(part, block).T))
                    for block in blocks(part, span=max(_DOWN_SPAN, part.taps * 3 // 2))]
        tallest = max(len(weights) for _, weights in products)
        wide = max(64, min(_CHUNK, _SMALL // max(weights.size for _, weights in products)))
        buffer = self._scratch.take("product", (tallest * wide,), np.float64)
        whole = self._scratch.take("levels", (tallest * wide,), _WHOLE[self.bits])
        for left in range(0, middle.shape[1], wide):
            piece = middle[:, left:left + wide]
            chunk = self._scratch.take("chunk", piece.shape, np.float64)
            np.add(piece, 0.5, out=chunk)  # weights sum to one: halves round up
            for block, weights in products:
                shape, size = (len(weights), chunk.shape[1]), len(weights) * chunk.shape[1]
                np.matmul(weights, chunk[block.low - low:block.high - low], out=buffer[:size].reshape(shape))
                levels = whole[:size]
                np.copyto(levels, buffer[:size], casting="unsafe")
                self._clip(levels)
                np.copyto(out[block.first:block.stop, left:left + wide], levels.reshape(shape), casting="unsafe")

    def _clip(self, levels: np.ndarray) -> None:
        kind = levels.dtype.type  # with plain numbers numpy looks up the limits of the kind anew each time
        levels.clip(kind(0), kind(2**self.bits - 1), out=levels)

    # -- up-down: rows are owned, columns are resampled last --------------------------------------

    @cached_property
    def _last_across(self) -> list[tuple[np.ndarray, Windows, list[tuple[Block, np.ndarray]]]]:
        """Per group: wanted columns covered, their windows, the products."""
        found = []
        for group in self._groups:
            covered, windows = self._axis(group[0], 0, self.columns, _OTHER_BITS[self.bits])
            span = max(_ACROSS_SPAN, windows.taps * 3 // 2)
            found.append((covered, windows, [(block, matrix(windows, block)) for block in blocks(windows, span=span)]))
        return found

    def _band_down(self, store: Rows, top: int, bottom: int, out: np.ndarray) -> None:
        if not self._whole:
            out[...] = self.paper
        for group, (covered, _, products) in zip(self._groups, self._last_across, strict=True):
            rows, middle = self._owned_rows(store, group, top, bottom)
            if self._whole:
                self._columns_last(middle, products, out)
            elif len(rows) and len(covered):
                part = np.empty((len(rows), len(covered), self.channels), dtype=out.dtype)
                self._columns_last(middle, products, part)
                out[np.ix_(rows, covered)] = part

    def _owned_rows(self, store: Rows, group: list[int], top: int, bottom: int) -> tuple[np.ndarray, np.ndarray]:
        """The group's rows of the band at source width: (rising positions in it, (rows, wide, channels))."""
        shares = [(number, _within(self._owned[number][0], top, bottom)) for number in group]
        rows = np.sort(np.concatenate([self._owned[number][0][inside] for number, inside in shares])) - top
        wide = self.pictures[group[0]].size[0] * self.channels
        middle = self._scratch.take("middle", (len(rows), wide), self._working)
        for number, inside in shares:
            index, windows = self._owned[number]
            if inside.stop > inside.start:
                part = self._rows_of_one(store, number, windows.chosen(np.arange(inside.start, inside.stop)))
                middle[np.searchsorted(rows, index[inside] - top)] = part
        return rows, middle.reshape(len(rows), wide // self.channels, self.channels)  # a band may hold no row of them

    def _rows_of_one(self, store: Rows, number: int, windows: Windows) -> np.ndarray:
        low, high = int(windows.starts[0]), int(windows.starts[-1]) + windows.taps
        source = self._source(store, number, low, high)
        result = self._scratch.take("rows", (len(windows.starts), source.shape[1]), self._working)
        for block in blocks(windows, span=max(_ALONG_SPAN, windows.taps * 3 // 2)):
            weights = np.ascontiguousarray(matrix(windows, block, kind=self._working).T)
            np.matmul(weights, source[block.low - low:block.high - low], out=result[block.first:block.stop])
        return _settled(result, self.bits)

    def _columns_last(self, middle: np.ndarray, products: list[tuple[Block, np.ndarray]], out: np.ndarray) -> None:
        """Resample (rows, source width, channels) to the output columns, a few rows and one channel at a time."""
        tall = min(_TALL, len(middle))
        widest = max(weights.shape[1] for _, weights in products)
        buffer = self._scratch.take("product", (tall * widest,), np.float64)
        whole = self._scratch.take("levels", (tall, out.shape[1]), _WHOLE[self.bits])
        for top in range(0, len(middle), tall):
            part = middle[top:top + tall]
            for channel in range(self.channels):
                plane = self._scratch.take("chunk", part.shape[:2], np.float64)
                np.add(part[:, :, channel], 0.5, out=plane)
                levels = whole[:len(plane)]
                for block, weights in products:
                    shape = len(plane), weights.shape[1]
                    result = np.matmul(plane[:, block.low:block.high], weights,
                                       out=buffer[:shape[0] * shape[1]].reshape(shape))
                    np.copyto(levels[:, block.first:block.stop], result, casting="unsafe")
                self._clip(levels)
                np.copyto(out[top:top + tall, :, channel], levels, casting="unsafe")


def _within(index: np.ndarray, top: int, bottom: int) -> slice:
    """The part of a rising index that lies in top … bottom-1."""
    return slice(int(np.searchsorted(index, top)), int(np.searchsorted(index, bottom)))


def _settled(middle: np.ndarray, bits: int) -> np.ndarray:
    """16-bit pictures: round to 1/128 level, so that the second product stays exact in float64."""
    if bits == 16:
        np.rint(middle * 128, out=middle)
        middle /= 128
    return middle
