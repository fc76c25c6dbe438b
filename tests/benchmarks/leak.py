"""Print how well nulling finds a leak, and what a correction for it leaves: python tests/benchmarks/leak.py [--seed 9].

Invented benches read a leak sheet through a lens of a known leak, and look at two photographs that were corrected for
what they read (tests/simulated_bench/{nulling,ghosts}.py import nothing from the project).
"""

import argparse
import sys
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import numpy as np
import skimage

sys.path.insert(0, str(Path(__file__).parents[1]))

from logbook.engine.leaksheet import draw_leak_sheet, make_leak_sheet, sidecar
from simulated_bench.nulling import benches
from support.leak_reading import found_leaks, ghosts_left, small
from support.shop_walk import PHOTOGRAPHS

_DATA = Path(skimage.__file__).parent / "data"
PAIRS = {"china and flower": small(PHOTOGRAPHS),
         "rocket and coffee": small([_DATA / "rocket.jpg", _DATA / "coffee.png"])}
SHEETS = (("20.12", "left-right", "720"), ("60", "up-down", "720"), ("75.4", "left-right", "1440"))


def main() -> None:
    """Read every sheet on every bench; print what was found."""
    wish = argparse.ArgumentParser(description=__doc__)
    wish.add_argument("--seed", type=int, default=9)
    wish.add_argument("--benches", type=int, default=100)
    asked = wish.parse_args()
    for lpi, flip, dpi in SHEETS:
        made = make_leak_sheet(lpi=Decimal(lpi), dpi=(Fraction(dpi), Fraction(dpi)), flip=flip, code="ABCD2345")
        raster, told, rng = draw_leak_sheet(made), sidecar(made), np.random.default_rng(asked.seed)
        print(f"{lpi} lines per inch, {flip}, {dpi} dpi, {asked.benches} benches, seed {asked.seed}: "
              + nulling_words(raster, told, rng, asked.benches, asked.seed))
        for name, pictures in PAIRS.items():
            print(f"  {name}: {left_words(raster, told, pictures, asked.benches, asked.seed)}")


def nulling_words(raster: np.ndarray, told: dict, rng: np.random.Generator, count: int, seed: int) -> str:
    """What all benches found on one sheet."""
    both = [one for bench in benches(count, seed=seed) for one in found_leaks(raster, told, bench, rng)]
    off = np.array([abs(found.leak - true) for true, found in both])
    half, whole = (np.array(one) for one in zip(*((found.bound, found.bound + found.tone_bound) for _, found in both),
                                                strict=True))
    return (f"median error {100 * np.median(off):.2f} %, 95 % within {100 * np.percentile(off, 95):.2f} %; within half "
            f"the distance of the taps {100 * np.mean(off <= half):.1f} %, with half a step of the wedge "
            f"{100 * np.mean(off <= whole):.1f} % (mean bound {100 * whole.mean():.2f} %)")


def left_words(raster: np.ndarray, told: dict, pictures: list[np.ndarray], count: int, seed: int) -> str:
    """What is left of the ghosting on all benches."""
    rng = np.random.default_rng(seed)
    found = np.array([ghosts_left(raster, told, bench, rng, pictures) for bench in benches(count, seed=seed)])
    worse = np.mean(found[:, 1] > found[:, 0]), np.mean(found[:, 2] > found[:, 0])
    each = [f"{words} median {np.median(one):.1f}, 95 % within {np.percentile(one, 95):.1f}"
            for words, one in zip(("not corrected", "contrast kept", "contrast lowered"), found.T[:3], strict=True)]
    return (f"ghosting in ΔL*: {'; '.join(each)} (contrast {100 * np.median(found[:, 3]):.0f} %); worse than not "
            f"corrected {100 * worse[0]:.0f} % and {100 * worse[1]:.0f} %")


if __name__ == "__main__":
    main()
