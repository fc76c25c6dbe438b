"""Printed tone: how much of the paper's light a printed level gives back, found by matching greys to patterns of dots.

A pattern whose white dots cover an eighth, a quarter, a half gives back just that share of the light between black
and paper. The level of an even grey that looks the same from afar lies on the printer's tone curve; between two such
levels the curve is a straight line of logarithms. Computed in decimals, which round alike on every processor.
"""

import math
from bisect import bisect_left
from dataclasses import dataclass
from decimal import Decimal, localcontext
from functools import lru_cache

import numpy as np

from logbook.refusals import Refused

SHARES = (8, 4, 2)
"""The patterns: one dot in so many is white."""
UNIT = 2**24
"""Whole parts of the paper's light: a level's light is a whole number of them, so that every processor agrees."""
_DIGITS = 28


@dataclass(frozen=True, slots=True)
class Tone:
    """Levels (0 … 255, parts allowed) that give back 1/8, 1/4 and 1/2 of the light; 0 gives none and 255 all."""

    eighth: Decimal
    quarter: Decimal
    half: Decimal

    def __post_init__(self) -> None:
        if not 0 < self.eighth < self.quarter < self.half < 255:
            raise Refused("The greys that match must become lighter from the eighth to the quarter to the half.",
                          field="match_8")

    def lights(self, bits: int = 8) -> np.ndarray:
        """The light of every level of ``bits`` bits, whole parts of ``UNIT``, int64, rising from 0 to UNIT."""
        return _lights(self, bits)

    def light(self, level: int) -> float:
        """The light of one 8-bit level, 0 … 1, as a plain float."""
        if level <= 0:
            return 0.0
        known = [math.log(one) for one in (self.eighth, self.quarter, self.half, 255)]
        shares = [-math.log(share) for share in (*SHARES, 1)]
        at = min(max(bisect_left(known, math.log(level)) - 1, 0), 2)
        slope = (shares[at + 1] - shares[at]) / (known[at + 1] - known[at])
        return math.exp(shares[at] + slope * (math.log(level) - known[at]))

    def level(self, light: float) -> int:
        """The 8-bit level whose light comes nearest."""
        return min(range(256), key=lambda level: abs(self.light(level) - light))


PLAIN = Tone(Decimal("98.85"), Decimal("136.96"), Decimal("187.52"))
"""Where nobody matched anything: the levels of sRGB (IEC 61966-2-1) at these shares."""


@lru_cache(maxsize=8)
def _lights(tone: Tone, bits: int) -> np.ndarray:
    lights = _eight_bits(tone) if bits == 8 else _between(_lights(tone, 8))
    lights.flags.writeable = False
    return lights


def _eight_bits(tone: Tone) -> np.ndarray:
    with localcontext() as exact:
        exact.prec = _DIGITS
        known = [Decimal(level).ln() for level in (tone.eighth, tone.quarter, tone.half, 255)]
        shares = [-Decimal(share).ln() for share in (*SHARES, 1)]
        slopes = [(shares[at + 1] - shares[at]) / (known[at + 1] - known[at]) for at in range(3)]
        found = [0]
        for level in range(1, 255):
            x = Decimal(level).ln()
            at = min(max(bisect_left(known, x) - 1, 0), 2)
            found.append(int(((shares[at] + slopes[at] * (x - known[at])).exp() * UNIT).to_integral_value()))
    return np.array([*found, UNIT], dtype=np.int64)


def _between(coarse: np.ndarray) -> np.ndarray:
    """65,536 levels, straight between the 256, in whole numbers."""
    steps = np.arange(257)
    fine = (coarse[:-1, None] * (257 - steps) + coarse[1:, None] * steps + 128) // 257
    lights: np.ndarray = np.append(fine.ravel(), coarse[-1])
    return lights


def levels_of(lights: np.ndarray, table: np.ndarray) -> np.ndarray:
    """The levels whose light (``table``, rising) comes nearest to ``lights`` (parts of UNIT); int64."""
    levels: np.ndarray = np.searchsorted(table[:-1] + table[1:], 2 * lights, side="right")
    return levels
