"""Print the accuracy of the pitch measurement over invented shops: python tests/benchmarks/pitch_accuracy.py.

Every shop prints a coarse chart, reads it through its lens, prints the charts that the fit asks for, carries the
result to its design distance, interlaces a black and a white picture at it and is judged through the mounted lens.
The bench (tests/simulated_bench) imports nothing from the project.
"""

import argparse
import functools
import sys
import tempfile
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1]))

from logbook.engine import distance
from logbook.engine.chart import draw_chart, make_chart, sidecar
from logbook.engine.fit import Fit, fit_readings
from logbook.engine.interlace import interlace
from logbook.engine.plan import make_plan
from logbook.engine.readings import Reading, parse_count
from logbook.lengths import Length
from simulated_bench.judging import Mounted, share_right
from simulated_bench.reader import Look, band_rows, fringes, told
from simulated_bench.shops import WIDTH_IN, Shop, shops

WIDTH = Length(Decimal(WIDTH_IN), "in")
MOST_CHARTS = 5
GOAL = 0.99


@dataclass(frozen=True)
class Outcome:
    """One shop's print judged: shares of the width that show the right picture, and how far each pitch was off."""

    shop: Shop
    charts: int
    z_score: float
    right: float
    right_at_80: float
    right_unconverted: float
    right_nominal: float
    nominal_off: float
    off: float


def measure(shop: Shop, rng: np.random.Generator) -> tuple[Fit, int]:
    """Charts as the fit asks for them, all readings in one fit."""
    centre, step, bands = _first_chart(shop)
    readings: list[Reading] = []
    for charts in range(1, MOST_CHARTS + 1):
        readings += read_chart(shop, centre=centre, step=step, bands=bands, rng=rng)
        fit = fit_readings(readings, width_in=WIDTH.inches, dpi=Fraction(shop.printer.dpi))
        if fit.next_chart is None:
            return fit, charts
        centre, step, bands = fit.next_chart.centre_lpi, fit.next_chart.step_lpi, fit.next_chart.bands
    return fit, charts


def read_chart(shop: Shop, *, centre: Decimal, step: Decimal, bands: int, rng: np.random.Generator) -> list[Reading]:
    """One chart printed and read through the shop's lens."""
    dpi = Fraction(shop.printer.dpi)
    plan = make_chart(lpi=centre, step=step, bands=bands, dpi=(dpi, dpi), length=WIDTH,
                      band_height=Length(Decimal(2), "mm"), gap=Length(Decimal(1), "mm"))
    described = sidecar(plan)["bands"]
    rows = band_rows(draw_chart(plan), [band["box_dots"] for band in described], turned=False)
    look = Look(lens=shop.lens, printer=shop.printer, distance=shop.reading_distance, gap=shop.gap, skew=shop.skew,
                lens_start=shop.lens_start)
    downs = [band["box_dots"][1] * shop.printer.dot for band in described]
    counts = [told(fringes(row, look=look, down=down), rng=rng) for row, down in zip(rows, downs, strict=True)]
    return [Reading(Decimal(str(band["lpi"])), parse_count(count))
            for band, count in zip(described, counts, strict=True)]


def convert(shop: Shop, fit: Fit) -> distance.Conversion:
    """To the design distance, with what the shop's people know."""
    lens = distance.lens_layer(thickness_mm=shop.known_thickness, index=shop.known_index)
    return distance.convert(
        fit.lpi, u_lpi=fit.u_lpi,
        seen=distance.sight(distance_mm=shop.known_reading_distance, lens=lens, extra=distance.AIR_GAP),
        wanted=distance.sight(distance_mm=shop.design_distance, lens=lens, extra=distance.ADHESIVE, known_to_share=0))


def judged(shop: Shop, lpi: Decimal, *, needed: float = 0.5) -> float:
    """A black and a white picture interlaced at ``lpi``, mounted and looked at."""
    mounted = Mounted(lens=shop.lens, printer=shop.printer, distance=shop.design_distance, adhesive=shop.adhesive,
                      slip=shop.slip)
    return share_right(second_picture(lpi, dpi=shop.printer.dpi), lpi=float(lpi), mounted=mounted, needed=needed)


@functools.cache
def second_picture(lpi: Decimal, *, dpi: float) -> np.ndarray:
    """One row of a print of a black and a white picture: 1 where the second picture is printed."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for shade, value in (("black", 0), ("white", 255)):
            Image.new("L", (16, 16), value).save(folder / f"{shade}.png")
        plan = make_plan(lpi=lpi, dpi=f"{dpi:g}", width=WIDTH, height=Length(Decimal(1), "mm"), flip="left-right",
                         pictures=2)
        interlace(plan, [folder / "black.png", folder / "white.png"], folder / "print.tif")
        with Image.open(folder / "print.tif") as sheet:
            return np.asarray(sheet)[0] / 255.0


def outcome(shop: Shop, rng: np.random.Generator) -> Outcome:
    fit, charts = measure(shop, rng)
    result = convert(shop, fit)
    nominal = Decimal(str(shop.nominal_lpi))
    off = (float(result.lpi) - shop.pitch_wanted) * WIDTH_IN
    return Outcome(
        shop=shop, charts=charts, z_score=off / (result.u_lpi * WIDTH_IN), right=judged(shop, result.lpi),
        right_at_80=judged(shop, result.lpi, needed=0.8), right_unconverted=judged(shop, fit.lpi),
        right_nominal=judged(shop, nominal), off=off, nominal_off=(float(nominal) - shop.pitch_wanted) * WIDTH_IN)


def table(outcomes: list[Outcome]) -> list[tuple[str, str, bool]]:
    """The four goals: what is asked, what was found, whether it holds."""
    fine = [o for o in outcomes if o.shop.dots_per_ridge >= 8]
    far = [o for o in outcomes if abs(o.nominal_off) >= 0.6]
    unconverted = np.mean([o.right_unconverted < GOAL for o in outcomes])
    return [
        ("every shop: at least 99 % of the width right", f"worst {min(o.right for o in outcomes):.2%}",
         all(o.right >= GOAL for o in outcomes)),
        (f"8 or more dots per lenticule ({len(fine)} shops): the same at 80 % of the light",
         f"worst {min(o.right_at_80 for o in fine):.2%}", all(o.right_at_80 >= GOAL for o in fine)),
        ("distance not converted: at least a tenth of the shops fail", f"{unconverted:.1%} fail",
         bool(unconverted >= 0.1)),
        (f"nominal pitch 0.6 lenticule or more off ({len(far)} shops): all fail",
         f"best {max(o.right_nominal for o in far):.2%}", all(o.right_nominal < GOAL for o in far)),
    ]


def run(*, count: int, seed: int) -> list[Outcome]:
    rng = np.random.default_rng(seed + 1)
    return [outcome(shop, rng) for shop in shops(count, seed=seed)]


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--seed", type=int, nargs="*", default=[2026, 1951])
    words.add_argument("--shops", type=int, default=200)
    asked = words.parse_args()
    good = True
    for seed in asked.seed:
        outcomes = run(count=asked.shops, seed=seed)
        offs = np.array([o.off for o in outcomes])
        print(f"{asked.shops} shops, seed {seed}: charts per shop {np.mean([o.charts for o in outcomes]):.1f}, "
              f"error {np.sqrt(np.mean(offs**2)):.3f} lenticule over 8 in (root mean square, worst "
              f"{np.abs(offs).max():.3f}), within two stated uncertainties "
              f"{np.mean([abs(o.z_score) <= 2 for o in outcomes]):.1%}")
        for goal, found, holds in table(outcomes):
            good &= holds
            print(f"  {'holds' if holds else 'FAILS'}  {goal}: {found}")
    return 0 if good else 1


def _first_chart(shop: Shop) -> tuple[Decimal, Decimal, int]:
    """Coarse, centred on the nominal pitch as it appears from the reading distance; wide enough for ± 0.6 %."""
    lens = distance.lens_layer(thickness_mm=shop.known_thickness, index=shop.known_index)
    seen = distance.printed_lpi(lens_lpi=shop.nominal_lpi, reduced_mm=lens.reduced_mm,
                                distance_mm=shop.known_reading_distance)
    step = max(Decimal("0.1"), round(Decimal(shop.nominal_lpi * 0.0012), 2))
    return round(Decimal(seen), 1), step, 11


if __name__ == "__main__":
    raise SystemExit(main())
