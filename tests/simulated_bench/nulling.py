"""Somebody reads a leak sheet: a printer with its own tone, a lens that leaks, an eye with a threshold.

Imports nothing from the project. It gets the sheet's dots and the boxes in which patches and greys lie; which picture
owns a dot it finds from the definition: dot i has the phase frac((i + 1/2) * lpi / dpi), the left half of a lenticule
holds PICTURE 2 and the right half PICTURE 1. Light of own picture and other add up: (1 - leak) * own + leak * other.
The eye sees a change of 1 to 2 % of the field's light (Weber fraction; 0.02 read in a thesis, 1 % strict).
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

DOT_OF_PATTERN_MM = 0.5


@dataclass(frozen=True)
class Bench:
    """One printer, lens and reader. ``leaks``: the share of the other picture in PICTURE 1 and in PICTURE 2."""

    leaks: tuple[float, float]
    gamma: float = 2.2
    bend: float = 0.0
    ink_mm: float = 0.0
    threshold: float = 0.015
    noise: float = 0.004

    def light(self, levels: np.ndarray) -> np.ndarray:
        """The light that printed levels give back, 0 black to 1 paper."""
        parts = np.asarray(levels, dtype=float) / 255
        return parts**self.gamma * (1 + self.bend * (1 - parts))


def benches(count: int, *, seed: int) -> list[Bench]:
    """Invented benches: leaks of 0.5 to 12 %, gamma 1.8 to 2.6, a curve bent by up to 10 %, ink that runs to 4 µm."""
    rng = np.random.default_rng(seed)
    return [Bench(leaks=(float(rng.uniform(0.005, 0.12)), float(rng.uniform(0.005, 0.12))),
                  gamma=float(rng.uniform(1.8, 2.6)), bend=float(rng.uniform(-0.1, 0.1)),
                  ink_mm=float(rng.uniform(0, 0.004)), threshold=float(rng.uniform(0.01, 0.02))) for _ in range(count)]


def taps(raster: np.ndarray, told: dict[str, Any], bench: Bench,
         rng: np.random.Generator) -> list[tuple[int | None, int | None]]:
    """For each row of the sheet the last patch with the ghost and the first with it reversed, or None."""
    owner = _owner(told)
    found = []
    for row in told["rows"]:
        contrasts = [_contrast(raster, owner, row, patch, told, bench) for patch in row["patches"]]
        sign = 1 if row["mark"] == "light" else -1
        seen = sign * np.array(contrasts) + rng.normal(0, bench.noise, len(contrasts))
        shows = [at for at, one in enumerate(seen) if one > bench.threshold]
        last = max(shows, default=None)
        turned = [at for at, one in enumerate(seen) if one < -bench.threshold and at > (-1 if last is None else last)]
        found.append((last, min(turned, default=None)))
    return found


def matches(raster: np.ndarray, told: dict[str, Any], bench: Bench, rng: np.random.Generator) -> list[int]:
    """For each pattern of the wedge the number (1 …) of the grey that looks like it from afar."""
    found = []
    for row in told["wedge"]:
        left, top, right, bottom = row["box_dots"]
        pattern = raster[top:top + row["pattern_dots_high"], left:right]
        shrunk = (1 - 2 * bench.ink_mm / DOT_OF_PATTERN_MM) ** 2  # ink runs into each white dot from four sides
        looks = float((pattern == 255).mean()) * shrunk
        middle = (top + bottom) // 2
        count = len(row["levels"])
        greys = raster[middle, [left + (right - left) * (2 * at + 1) // (2 * count) for at in range(count)]]
        judged = bench.light(greys) * (1 + rng.normal(0, 0.01, count))
        found.append(int(np.argmin(np.abs(judged - looks))) + 1)
    return found


def _owner(told: dict[str, Any]) -> np.ndarray:
    """The picture that owns each column (up-down: each row) of the raster."""
    across = told["flip"] == "left-right"
    per_dot = Fraction(str(told["lpi"])) / Fraction(str(told["dpi"][0 if across else 1]))
    halves, count = 2 * np.arange(told["size_dots"][0 if across else 1]) + 1, 2 * per_dot.denominator
    return np.where(halves * per_dot.numerator % count * 2 < count, 2, 1)


def _contrast(raster: np.ndarray, owner: np.ndarray, row: dict[str, Any], patch: dict[str, Any], told: dict[str, Any],
              bench: Bench) -> float:
    """Mark less field over field, as it is seen from the row's picture."""
    left, top, right, bottom = patch["mark_dots"]
    high = patch["box_dots"][1]
    own, leak = row["into"], bench.leaks[row["into"] - 1]
    mark, field = ((1 - leak) * _mean(raster, owner, (left, one, right, two), own, told, bench)
                   + leak * _mean(raster, owner, (left, one, right, two), 3 - own, told, bench)
                   for one, two in ((top, bottom), (high, top)))
    return (mark - field) / field


def _mean(raster: np.ndarray, owner: np.ndarray, box: tuple[int, int, int, int], picture: int, told: dict[str, Any],
          bench: Bench) -> float:
    left, top, right, bottom = box
    dots = raster[top:bottom, left:right]
    mine = dots[:, owner[left:right] == picture] if told["flip"] == "left-right" \
        else dots[owner[top:bottom] == picture]
    return float(bench.light(mine).mean())
