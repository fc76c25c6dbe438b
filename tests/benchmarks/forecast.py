"""Print how well pitches are forecast for pairings that nobody tested: python tests/benchmarks/forecast.py [--seed 0].

Every invented shop (tests/support/linked_shops.py) has up to eight tests of other pairings. The lens maker's number
stands beside each forecast, as what somebody without the tests would take.
"""

import argparse
import math
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from logbook.engine.forecast import adjust
from support.linked_shops import linked_shop

GOAL = (0.90, 0.99)
NOMINAL_LPI = 20.0
_95_PERCENT = 1.96


def main() -> None:
    """Forecast one pairing in each shop; print errors against the truth."""
    wish = argparse.ArgumentParser(description=__doc__)
    wish.add_argument("--seed", type=int, default=0, help="of the first shop; each has its own")
    wish.add_argument("--shops", type=int, default=400)
    asked = wish.parse_args()
    linked, alone = [], []
    for seed in range(asked.seed, asked.seed + asked.shops):
        truth, tests, wanted = linked_shop(np.random.default_rng(seed))
        made = adjust(tests)
        (linked if made.linked(wanted) else alone).append((truth, *made.of(wanted)))
    print(f"{asked.shops} shops, seeds from {asked.seed}: {words('all', [*linked, *alone])}")
    print(words("linked by tests", linked))
    print(words("prior only", alone))


def words(name: str, found: list[tuple[float, float, float]]) -> str:
    """What forecasts missed by, in lines per inch at 20, beside what the lens maker's number misses by."""
    if not found:
        return f"{name}: none"
    truth, value, u = np.array(found).T
    off, nominal = (np.abs(np.exp(one) - np.exp(truth)) for one in (value, np.full_like(truth, math.log(NOMINAL_LPI))))
    inside = np.mean(np.abs(value - truth) <= _95_PERCENT * u)
    return (f"{name} ({len(found)}): median error {np.median(off):.4f} lines per inch, 95 % within "
            f"{np.percentile(off, 95):.4f} (the lens maker's number: {np.median(nominal):.4f}, "
            f"{np.percentile(nominal, 95):.4f}); the stated 95 % interval held in {100 * inside:.1f} % "
            f"({100 * GOAL[0]:.0f} to {100 * GOAL[1]:.0f})")


if __name__ == "__main__":
    main()
