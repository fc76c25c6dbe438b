"""Print how exactly simulated photographs of a chart are read: python tests/benchmarks/photographs.py.

Each photograph has its own lens, printer, camera and light (tests/simulated_bench/camera.py, which imports nothing
from the project): 1000 to 3500 pixels across 8 in, up to 10° aside, blur 2 pixels, noise 2 %, JPEG 85, uneven light,
the lens turned by up to 0.3°, barrel up to 1 %; distance and thickness stated within 3 %, the index within 0.01.
Errors are against the pitch for the camera's true place.
"""

import argparse
import json
import os
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from logbook.engine.chart import draw_chart, make_chart, sidecar
from logbook.engine.distance import lens_layer
from logbook.engine.photo import read_photo
from logbook.engine.photo_chart import printed_chart
from logbook.engine.resolution import parse_dpi
from logbook.lengths import Length
from logbook.refusals import Refused
from simulated_bench.camera import Chart, photograph, scenes

GOALS = {"median": 0.003, "95 %": 0.008}
SURE = (0.90, 0.99)


@dataclass(frozen=True)
class Outcome:
    """One photograph: the error and the stated standard uncertainty, or why it was refused."""

    off: float
    u: float
    refused: str = ""


def part(lpi: int, seed: int, numbers: range) -> list[Outcome]:
    """Some of the photographs of one lens."""
    plan = make_chart(lpi=lpi - Decimal("0.1"), step=Decimal("0.1"), bands=11, dpi=parse_dpi("720"),
                      length=Length(Decimal(8), "in"))
    chart, described = Chart(draw_chart(plan), plan.lens_box_dots), printed_chart(json.loads(json.dumps(sidecar(plan))))
    every, outcomes = scenes(max(numbers) + 1, lpi=lpi, seed=seed), []
    with tempfile.TemporaryDirectory() as name:
        for one in numbers:
            scene, known = every[one]
            path = Path(name) / "photo.jpg"
            path.write_bytes(photograph(chart, scene, rng=np.random.default_rng([seed, one])))
            try:
                read = read_photo(path, described, distance_mm=known.distance,
                                  lens=lens_layer(thickness_mm=known.thickness, index=known.index))
                outcomes.append(Outcome(float(read.lpi) - scene.pitch, read.u_lpi))
            except Refused as refusal:
                outcomes.append(Outcome(0.0, 0.0, refusal.sentence))
    return outcomes


def run(lpi: int, *, seed: int, count: int, processes: int) -> list[Outcome]:
    """All photographs of one lens."""
    ranges = [range(first, count, processes) for first in range(processes)]
    with ProcessPoolExecutor(processes) as pool:
        parts = pool.map(part, [lpi] * processes, [seed] * processes, ranges)
        return [outcome for some in parts for outcome in some]


def say(lpi: int, outcomes: list[Outcome], *, seed: int) -> bool:
    """Print one lens's lines; whether every goal holds."""
    read = [one for one in outcomes if not one.refused]
    off = np.abs([one.off for one in read])
    held = float(np.mean([abs(one.off) <= 2 * one.u for one in read]))
    found = {"median": float(np.median(off)), "95 %": float(np.percentile(off, 95))}
    good = [f"{'holds' if found[name] <= goal else 'FAILS'}  {name} of the error {found[name]:.5f} LPI (goal {goal})"
            for name, goal in GOALS.items()]
    sure = SURE[0] <= held <= SURE[1]
    print(f"{lpi} LPI, {len(outcomes)} photographs, seed {seed}: {len(read)} read, worst error {off.max():.5f} LPI, "
          f"root mean square {np.sqrt(np.mean(off**2)):.5f}, stated u {np.mean([one.u for one in read]):.5f}")
    print("\n".join(f"  {line}" for line in good))
    print(f"  {'holds' if sure else 'FAILS'}  the stated 95 % interval holds in {held:.1%} (goal 90 to 99 %)")
    for sentence in sorted({one.refused for one in outcomes if one.refused}):
        print(f"  refused: {sentence}")
    return sure and len(read) == len(outcomes) and not any("FAILS" in line for line in good)


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--lpi", type=int, nargs="*", default=[20, 60])
    words.add_argument("--seed", type=int, default=2026)
    words.add_argument("--photos", type=int, default=300)
    words.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    asked = words.parse_args()
    held = [say(lpi, run(lpi, seed=asked.seed, count=asked.photos, processes=asked.processes), seed=asked.seed)
            for lpi in asked.lpi]
    return 0 if all(held) else 1


if __name__ == "__main__":
    raise SystemExit(main())
