"""Resampling along one axis: Lanczos windows whose weights are exact integers.

Kernel: Lanczos with a = 3 (C. E. Duchon, "Lanczos Filtering in One and Two
Dimensions", Journal of Applied Meteorology 18, 1979), widened by the scale when
shrinking, pixel-centre convention, weights renormalised at the picture's edge.

The weights are integers over a power of two that sum to exactly one, and small
enough that every partial sum of a product is exactly representable; the order
in which a processor adds them can then not change the result. The sine is a
polynomial of separate additions and multiplications, because library sines
differ between processors in the last digit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

LOBES = 3


@dataclass(frozen=True, slots=True)
class Windows:
    """For each wanted dot the first source pixel and the weights of ``taps`` pixels from there.

    ``starts`` int64 (n,), not decreasing; ``weights`` float64 (n, taps), integers
    over 2**bits, each row summing to exactly 1.
    """

    starts: np.ndarray
    weights: np.ndarray

    @property
    def taps(self) -> int:
        """Source pixels under one window."""
        return int(self.weights.shape[1])

    def chosen(self, index: np.ndarray) -> "Windows":
        """The windows of some of the dots, in the given order."""
        return Windows(self.starts[index], self.weights[index])


@dataclass(frozen=True, slots=True)
class Block:
    """Windows first … stop-1 together need the source pixels low … high-1."""

    first: int
    stop: int
    low: int
    high: int


def lanczos_windows(index: np.ndarray, *, source: int, low: Fraction, high: Fraction, dots: int, bits: int) -> Windows:
    """Windows for the dots ``index`` of ``dots`` that share the source interval [low, high).

    ``low`` and ``high`` are source pixels from the left (top) edge, ``source``
    the number of pixels there are. ``bits`` sets the fineness of the weights.
    """
    scale = (high - low) / dots
    widened = max(scale, Fraction(1))
    centres = _centres(index, low=low, scale=scale)
    support = LOBES * float(widened)
    taps = min(math.ceil(2 * support) + 1, source)
    starts = np.clip(np.floor(centres - support + 0.5), 0, source - taps).astype(np.int64)
    raw = np.empty((len(index), taps))
    for tap in range(taps):
        raw[:, tap] = lanczos((starts + tap + 0.5 - centres) / float(widened))
    return Windows(starts, _whole_weights(raw, bits=bits))


def _centres(index: np.ndarray, *, low: Fraction, scale: Fraction) -> np.ndarray:
    """Centres low + (i + 1/2) * scale in source pixels, one rounding each."""
    start, common = low + scale / 2, math.lcm(low.denominator, 2 * scale.denominator)
    numerators = index.astype(object) * int(scale * common) + int(start * common)
    return np.array([numerator / common for numerator in numerators], dtype=np.float64)


def lanczos(position: np.ndarray) -> np.ndarray:
    """sinc(x) * sinc(x / 3) inside |x| < 3, else 0; the same last digit everywhere."""
    inside = np.abs(position) < LOBES
    x = np.where(inside, position, 1.0)
    denominator = (x * x) * (math.pi * math.pi / LOBES)
    small = np.abs(x) < 1e-8
    value = (_sine_of_pi(x) * _sine_of_pi(x / LOBES)) / np.where(small, 1.0, denominator)
    weights: np.ndarray = np.where(inside, np.where(small, 1.0, value), 0.0)
    return weights


_SINE_TERMS = [(-1) ** k / math.factorial(2 * k + 1) for k in range(11)]


def _sine_of_pi(turns: np.ndarray) -> np.ndarray:
    """sin(pi * x) by reduction to |r| <= 1/2 and Taylor's series (error below 1e-15)."""
    whole = np.rint(turns)
    angle = (turns - whole) * math.pi
    square = angle * angle
    series = np.full_like(angle, _SINE_TERMS[-1])
    for term in reversed(_SINE_TERMS[:-1]):
        series = series * square
        series = series + term
    sine: np.ndarray = np.where(whole % 2 == 0, angle * series, -(angle * series))
    return sine


def _whole_weights(raw: np.ndarray, *, bits: int) -> np.ndarray:
    total = np.zeros(len(raw))
    for tap in range(raw.shape[1]):  # a fixed order of addition
        total = total + raw[:, tap]
    whole = np.rint(raw / total[:, None] * 2.0**bits)
    rest = 2.0**bits - whole.sum(axis=1)  # integers far below 2**53: exact in any order
    rows = np.arange(len(raw))
    whole[rows, np.abs(whole).argmax(axis=1)] += rest
    weights: np.ndarray = whole / 2.0**bits
    return weights


def largest_gain(windows: Windows) -> float:
    """The largest sum of absolute weights of one window: how far a result can exceed its input."""
    return float(np.abs(windows.weights).sum(axis=1).max(initial=1.0))


def blocks(windows: Windows, *, span: int, cuts: Sequence[int] = ()) -> list[Block]:
    """Cut a run of windows into blocks that reach over at most ``span`` source pixels (one window at least).

    No block goes across one of the rising ``cuts`` (numbers of windows).
    """
    ends = windows.starts + windows.taps
    found, first, count = [], 0, len(windows.starts)
    borders = iter([*cuts, count])
    border = next(borders)
    while first < count:
        while border <= first:
            border = next(borders)
        low = int(windows.starts[first])
        stop = min(border, max(first + 1, int(np.searchsorted(ends, low + span, side="right"))))
        found.append(Block(first, stop, low, int(ends[stop - 1])))
        first = stop
    return found


def matrix(windows: Windows, block: Block, *, channels: int = 1, kind: type = np.float64) -> np.ndarray:
    """The block's weights as a matrix, source pixels down and dots across.

    Shape ((high - low) * channels, (stop - first) * channels): with more than one
    channel each weight stands on a small diagonal, so that interleaved pixels can
    be multiplied as they lie in memory.
    """
    count = block.stop - block.first
    dense: np.ndarray = np.zeros((block.high - block.low, channels, count, channels), dtype=kind)
    rows = windows.starts[block.first:block.stop, None] - block.low + np.arange(windows.taps)
    columns = np.broadcast_to(np.arange(count)[:, None], rows.shape)
    for channel in range(channels):
        dense[rows, channel, columns, channel] = windows.weights[block.first:block.stop]
    return dense.reshape((block.high - block.low) * channels, count * channels)
