"""Print how full shared sheets get, and whether their cuts can be made: python tests/benchmarks/sheets.py [--seed 9].

Every invented order mix (two to five sizes, up to twelve pieces, 60 to 250 mm) is laid on one lens sheet, nothing is
turned, and a table (tests/support/cutting_up.py) works through the planned cuts. Rows laid by hand stand beside: pieces
in the order in which they came, left to right, a new row below the highest of the last.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from logbook.engine.cutting import cuts
from logbook.engine.layout import lay_out
from support.cutting_up import cut_up

AREA_MM, ROOM_MM, BLEED_MM = (610, 460), 8, 3
"""A lens sheet of 24 × 18 in, as many makers cut it: common practice, no source."""


def main() -> None:
    """Lay and cut every mix; print what came of it."""
    wish = argparse.ArgumentParser(description=__doc__)
    wish.add_argument("--seed", type=int, default=9)
    wish.add_argument("--mixes", type=int, default=300)
    asked = wish.parse_args()
    rng = np.random.default_rng(asked.seed)
    each = [tried(mix(rng)) for _ in range(asked.mixes)]
    laid, by_hand, wanted, used, count, whole = (np.array(one) for one in zip(*each, strict=True))
    print(f"{asked.mixes} mixes, seed {asked.seed}: {laid.sum()} of {wanted.sum()} pieces laid (rows by hand "
          f"{by_hand.sum()}); more than by hand on {np.sum(laid > by_hand)} sheets, fewer on {np.sum(laid < by_hand)}")
    print(f"every piece came whole off the trimmer on {whole.sum()} sheets; cuts for each piece, median "
          f"{np.median(count / laid):.1f}, worst {np.max(count / laid):.1f}")
    full = used[laid < wanted]
    print(f"of the sheet under pieces where some were left over ({len(full)} sheets): median "
          f"{100 * np.median(full):.0f} %, least {100 * full.min():.0f} %")


def mix(rng: np.random.Generator) -> list[tuple[int, int]]:
    """Sizes in mm, copies of one size together."""
    sizes = rng.integers(60, 251, (rng.integers(2, 6), 2))
    return [(int(wide), int(high)) for wide, high in sizes for _ in range(rng.integers(1, 5))][:12]


def tried(sizes: Sequence[tuple[int, int]]) -> tuple[int, int, int, float, int, bool]:
    """Pieces laid, laid by hand, wanted; the share under them, the cuts, and whether all came off whole."""
    layout = lay_out(sizes, area=AREA_MM, room=(ROOM_MM, ROOM_MM))
    laid = [(*place, *size) for place, size in zip(layout.places, sizes, strict=True) if place]
    trimmed = [(x + BLEED_MM, y + BLEED_MM, x + wide - BLEED_MM, y + high - BLEED_MM) for x, y, wide, high in laid]
    plan = cuts((0, 0, *AREA_MM), trimmed)
    share = sum(wide * high for _, _, wide, high in laid) / (AREA_MM[0] * AREA_MM[1])
    whole = set(trimmed) <= cut_up((0, 0, *AREA_MM), plan)
    return len(laid), in_rows(sizes), len(sizes), share, len(plan), whole


def in_rows(sizes: Sequence[tuple[int, int]]) -> int:
    """How many somebody lays in rows, as they come."""
    x = y = ROOM_MM
    deep = count = 0
    for wide, high in sizes:
        if x + wide + ROOM_MM > AREA_MM[0]:
            x, y, deep = ROOM_MM, y + deep + ROOM_MM, 0
        if x + wide + ROOM_MM <= AREA_MM[0] and y + high + ROOM_MM <= AREA_MM[1]:
            x, deep, count = x + wide + ROOM_MM, max(deep, high), count + 1
    return count


if __name__ == "__main__":
    main()
