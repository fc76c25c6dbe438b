"""The leak undone before printing: for every pixel the printed light that makes an eye see what is meant.

What an eye sees is M · printed, row by row of the mixing M, in linear light of the measured tone. Where M⁻¹ · meant
lies between no light and the paper's, it is printed and the ghost is gone. Elsewhere the printed light is the one
inside these limits that comes nearest, |M · printed - meant|² least: cutting M⁻¹ · meant off at the limits would leave
more.
Rows of M sum to one, so a lower contrast, lowest + kept · meant, makes the printed light lowest + kept · M⁻¹ · meant:
how far it must be lowered follows from the extremes of M⁻¹ · meant.

Only additions and multiplications of single values in a fixed order: every processor gives the same levels.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

from logbook.engine.tone import UNIT, Tone, levels_of
from logbook.refusals import Refused

MOST_PICTURES = 24
"""The work grows with the square of the pictures."""
LEAST_OWN = Decimal("0.5")
"""Where less than this of its own light is left to a picture, a correction undoes a guess."""
MAY_CLIP = 0.001
"""The share of all values that may stay out of reach when the contrast is lowered."""

_PLACES = Decimal("0.000001")
_MOST_SWEEPS, _SETTLED = 1000, 2.0**-20
_STEPS = 2**20
"""Steps of light in the table that finds levels."""
_VALUES = 2**17
"""So many values are worked on together: they stay in the processor's cache."""


@dataclass(frozen=True)
class Correction:
    """``matrix[j][k]``: the share of PICTURE k + 1 in what is seen of PICTURE j + 1; every row sums to exactly 1.

    ``lowest`` + ``kept`` · light is what shall be seen: the contrast that is kept, and the light that black becomes.
    Raises Refused where too much leaks for a correction.
    """

    matrix: tuple[tuple[Decimal, ...], ...]
    tone: Tone
    kept: Decimal = Decimal(1)
    lowest: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        count = len(self.matrix)
        if count < 2 or any(len(row) != count or sum(row) != 1 or min(row) < 0 for row in self.matrix):
            raise Refused("A correction takes a square of shares whose rows sum to one.", field="correction")
        if not 0 < self.kept <= 1 or not 0 <= self.lowest <= 1 - self.kept:
            raise Refused("The contrast that is kept lies between no light and the paper's.", field="correction")
        if count > MOST_PICTURES:
            raise Refused(f"A leak is corrected for {MOST_PICTURES} pictures at most.", field="correction")
        if 1 - self.leak < LEAST_OWN:
            raise Refused("Less than half of a picture's own light is seen in it: too much leaks for a correction. "
                          "Use fewer pictures, or a lens that parts them better.", field="correction")

    @property
    def leak(self) -> Decimal:
        """The light of all others in the picture that suffers most, 0 … 1."""
        return max(1 - row[at] for at, row in enumerate(self.matrix))

    @cached_property
    def _rows(self) -> list[list[float]]:
        return [[float(part) for part in row] for row in self.matrix]

    @cached_property
    def _inverse(self) -> list[list[float]]:
        return _inverted(self._rows)

    @cached_property
    def _squared(self) -> list[list[float]]:
        """Mᵀ · M."""
        columns = list(zip(*self._rows, strict=True))
        return [[_sum(one * other for one, other in zip(left, right, strict=True)) for right in columns]
                for left in columns]

    def wanted(self, light: np.ndarray) -> np.ndarray:
        """What shall be seen where ``light`` (0 … 1) is meant."""
        wanted: np.ndarray = light * float(self.kept) + float(self.lowest)
        return wanted

    def seen(self, printed: np.ndarray) -> np.ndarray:
        """M · printed, (pictures, values)."""
        return _product(self._rows, printed)

    def unlimited(self, wanted: np.ndarray) -> np.ndarray:
        """M⁻¹ · wanted, (pictures, values): may lie below no light and above the paper's."""
        return _product(self._inverse, wanted)

    def printed(self, wanted: np.ndarray) -> np.ndarray:
        """The light to print, 0 … 1, that comes nearest to ``wanted`` when it is seen: (pictures, values) float64."""
        found = self.unlimited(wanted)
        beyond = np.flatnonzero(((found < 0) | (found > 1)).any(axis=0))
        if len(beyond):
            start = found[:, beyond].clip(0, 1)
            found[:, beyond] = self._nearest(_product(list(zip(*self._rows, strict=True)), wanted[:, beyond]), start)
        return found

    def _nearest(self, pulled: np.ndarray, start: np.ndarray) -> np.ndarray:
        """From ``start`` one picture after the other to its best light, until a value does not move any more;
        ``pulled``: Mᵀ · wanted."""
        done, moving, at = start.copy(), start, np.arange(start.shape[1])
        for _ in range(_MOST_SWEEPS):
            moved = self._sweep(pulled, moving)
            done[:, at] = moving
            on = np.flatnonzero(moved > _SETTLED)
            if not len(on):
                break
            pulled, moving, at = pulled[:, on], moving[:, on], at[on]
        return done

    def _sweep(self, pulled: np.ndarray, light: np.ndarray) -> np.ndarray:
        """Every picture once; returns how far the farthest moved."""
        moved = np.zeros(light.shape[1])
        for number, row in enumerate(self._squared):
            best = pulled[number].copy()
            for other, part in enumerate(row):
                if other != number:
                    best -= light[other] * part
            best /= row[number]
            best.clip(0, 1, out=best)
            np.maximum(moved, np.abs(best - light[number]), out=moved)
            light[number] = best
        return moved

    def levels(self, meant: Sequence[np.ndarray]) -> list[np.ndarray]:
        """The levels to print for the levels that are meant, PICTURE 1 … N of one shape, uint8 or uint16."""
        kind, shape = meant[0].dtype, meant[0].shape
        bits = kind.itemsize * 8
        lights, levels = _light_table(self.tone, bits), _level_table(self.tone, bits)
        flat = [one.reshape(-1) for one in meant]
        made = [np.empty(one.size, dtype=kind) for one in flat]
        step = max(1, _VALUES // len(flat))
        for start in range(0, flat[0].size, step):
            light = np.stack([lights[one[start:start + step]] for one in flat])
            printed = self.printed(self.wanted(light))
            steps = np.rint(printed * _STEPS).astype(np.intp)
            for out, row in zip(made, steps, strict=True):
                out[start:start + step] = levels[row]
        return [one.reshape(shape) for one in made]

    def told(self) -> dict[str, Any]:
        """As plain values; numbers that must stay exact are text."""
        return {"matrix": [[str(part) for part in row] for row in self.matrix],
                "tone": [str(level) for level in (self.tone.eighth, self.tone.quarter, self.tone.half)],
                "contrast": str(self.kept), "lowest": str(self.lowest)}

    def in_words(self) -> str:
        """One short line for papers and pages."""
        whole = " from all others together" if len(self.matrix) > 2 else ""
        return f"Corrected for a leak of {100 * self.leak:.1f} %{whole}, contrast {100 * self.kept:.0f} %"


def of_told(told: Mapping[str, Any]) -> Correction:
    """The correction that ``told`` describes."""
    return Correction(tuple(tuple(Decimal(part) for part in row) for row in told["matrix"]),
                      Tone(*(Decimal(level) for level in told["tone"])),
                      Decimal(told["contrast"]), Decimal(told["lowest"]))


def exact(mixing: np.ndarray) -> tuple[tuple[Decimal, ...], ...]:
    """A mixing as decimals of six places; what rounding leaves over goes to the picture's own share."""
    rows = [[Decimal(float(part)).quantize(_PLACES) for part in row] for row in mixing]
    for at, row in enumerate(rows):
        row[at] += 1 - sum(row)
    return tuple(tuple(row) for row in rows)


def reachable(correction: Correction, light: np.ndarray) -> Correction:
    """The same with as much contrast as puts all of ``light`` (pictures, values) in reach, but a thousandth of it."""
    free = correction.unlimited(light)
    low = min(0.0, float(np.quantile(free, MAY_CLIP / 2)))
    high = max(1.0, float(np.quantile(free, 1 - MAY_CLIP / 2)))
    kept = Decimal(1 / (high - low) + 1e-9).quantize(Decimal("0.001"), rounding="ROUND_FLOOR")
    lowest = min(Decimal(-low * float(kept)).quantize(Decimal("0.0001")), 1 - kept)
    return Correction(correction.matrix, correction.tone, kept, lowest)


def light_of(tone: Tone, levels: np.ndarray) -> np.ndarray:
    """The light, 0 … 1, that 8-bit levels give back when they are printed."""
    light: np.ndarray = _light_table(tone, 8)[levels]
    return light


@lru_cache(maxsize=4)
def _light_table(tone: Tone, bits: int) -> np.ndarray:
    return tone.lights(bits) / UNIT


@lru_cache(maxsize=4)
def _level_table(tone: Tone, bits: int) -> np.ndarray:
    found = levels_of(np.arange(_STEPS + 1, dtype=np.int64) * (UNIT // _STEPS), tone.lights(bits))
    return found.astype(np.uint8 if bits == 8 else np.uint16)


def _product(rows: Sequence[Sequence[float]], values: np.ndarray) -> np.ndarray:
    """A small matrix by (pictures, values), in a fixed order of addition."""
    made: np.ndarray = np.zeros(values.shape)
    for out, row in zip(made, rows, strict=True):
        for part, value in zip(row, values, strict=True):
            if part:
                out += value * part
    return made


def _sum(parts: Any) -> float:
    """In a fixed order: later Pythons add floats in another way."""
    total = 0.0
    for part in parts:
        total += part
    return total


def _inverted(rows: Sequence[Sequence[float]]) -> list[list[float]]:
    """The inverse by elimination with pivots, in plain floats."""
    count = len(rows)
    work = [[*row, *(float(at == other) for other in range(count))] for at, row in enumerate(rows)]
    for at in range(count):
        pivot = max(range(at, count), key=lambda row: abs(work[row][at]))
        work[at], work[pivot] = work[pivot], work[at]
        work[at] = [value / work[at][at] for value in work[at]]
        for row in range(count):
            if row != at:
                part = work[row][at]
                work[row] = [value - part * own for value, own in zip(work[row], work[at], strict=True)]
    return [row[count:] for row in work]
