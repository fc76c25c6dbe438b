"""The tests' own bench, checked against the optics it stands for; and a few shops measured on it."""

import ast
import math
from pathlib import Path

import numpy as np
import pytest

from benchmarks import pitch_accuracy
from simulated_bench.judging import Mounted, share_right
from simulated_bench.optics import Layer, Lens, Printer, eye_for_offset, landing, light
from simulated_bench.reader import Look, fringes, told
from simulated_bench.shops import shops

LENS = Lens(lpi=20.12, thickness=3.0, index=1.56)
PRINTER = Printer(dpi=720, scale=720 / 719.9)
NOTHING = Layer(0.0, 1.0)


def test_the_bench_imports_nothing_from_the_project():
    for module in (Path(__file__).parents[1] / "simulated_bench").glob("*.py"):
        tree = ast.parse(module.read_text(encoding="utf-8"))
        names = [alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names]
        names += [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
        assert [name for name in names if name.split(".")[0] == "logbook"] == []
        assert "numpy" in names


def strips(lpi, *, dots=5760, dpi=720):
    """A row of two pictures' dots: 1 (the second picture) in the left half of every line, as a lens reverses."""
    return ((np.arange(dots) + 0.5) * lpi / dpi % 1 < 0.5).astype(float)


def test_rays_land_by_snells_law():
    # Recomputed: the ray at 10° through 457 µm of index 1.557 lands 51.28799 µm farther out.
    ridge = np.array([300 * math.tan(math.radians(10))])
    lands = landing(ridge, eye=0.0, distance=300, lens=Lens(75, 0.457, 1.557), layer=NOTHING)
    assert lands - ridge == pytest.approx(0.05128799, abs=5e-9)


def test_an_eye_is_placed_where_it_sees_the_wanted_spot():
    eye = eye_for_offset(0.3, distance=2000, lens=LENS, layer=Layer(0.05, 1.47))
    seen = landing(np.array([0.0]), eye=eye, distance=2000, lens=LENS, layer=Layer(0.05, 1.47))
    assert seen[0] == pytest.approx(0.3)
    assert eye < 0  # what lies on the right under a ridge is seen from the left


def test_a_spot_sees_the_mean_of_the_dots_under_it():
    row = np.array([0.0, 1.0, 1.0, 0.0])
    printer = Printer(dpi=25.4, scale=1.0)  # dots of 1 mm
    places = np.array([1.0, 1.5, 2.75, 0.2])
    assert light(row, printer=printer, places=places, spot=1.0)[:3] == pytest.approx([0.5, 1.0, 0.75])
    assert np.isnan(light(row, printer=printer, places=places, spot=1.0)[3])


@pytest.mark.parametrize("band", [19.5, 20.0, 20.08, 20.4])
@pytest.mark.parametrize("skew_deg", [0.0, 0.2])
def test_a_reader_counts_the_beats_between_band_and_lens(band, skew_deg):
    look = Look(lens=LENS, printer=PRINTER, distance=2000, gap=NOTHING, skew=math.radians(skew_deg), lens_start=0.4)
    wanted = PRINTER.scale * 20.12 / (1 + 3.0 / 1.56 / 2000)
    assert fringes(strips(band), look=look, down=60.0) == pytest.approx((band - wanted) * 8, abs=0.02)


def test_a_reader_writes_quarters_and_calls_none_solid():
    rng = np.random.default_rng(4)
    said = {told(1.0, rng=rng) for _ in range(400)}
    assert said == {"0.75", "1", "1.25"}
    assert told(0.0, rng=rng, error=0.1) == "solid"


def test_the_fitting_pitch_is_right_everywhere_and_half_a_strip_less_nowhere():
    wanted = PRINTER.scale * 20.12 / (1 + 3.0 / 1.56 / 2000)
    placed = Mounted(lens=LENS, printer=PRINTER, distance=2000, adhesive=NOTHING)
    slipped = Mounted(lens=LENS, printer=PRINTER, distance=2000, adhesive=NOTHING, slip=0.5)
    assert share_right(strips(wanted), lpi=wanted, mounted=placed) == 1.0
    assert share_right(strips(wanted), lpi=wanted, mounted=placed, needed=0.8) == 1.0
    assert share_right(strips(wanted), lpi=wanted, mounted=slipped) < 0.01


def test_a_pitch_one_lenticule_off_end_to_end_is_right_on_half_the_width():
    # A ridge is right while it is off by less than a quarter: half of the way from -1/2 to +1/2.
    wanted = PRINTER.scale * 20.12 / (1 + 3.0 / 1.56 / 2000)
    placed = Mounted(lens=LENS, printer=PRINTER, distance=2000, adhesive=NOTHING)
    assert share_right(strips(wanted + 0.125), lpi=wanted + 0.125, mounted=placed) == pytest.approx(0.5, abs=0.02)


def test_the_invented_shops_stay_within_their_stated_limits():
    for shop in shops(200, seed=5):
        assert 10 <= shop.nominal_lpi <= 100
        assert abs(shop.lens.lpi / shop.nominal_lpi - 1) <= 0.005
        assert 1.4 <= shop.lens.thickness / (25.4 / shop.nominal_lpi) <= 2.4
        assert 1.49 <= shop.lens.index <= 1.59
        assert abs(shop.printer.scale - 1) <= 0.0002
        assert 300 <= shop.reading_distance <= 800
        assert 300 <= shop.design_distance <= 3000


@pytest.mark.parametrize("seed", [2026, 1951])
def test_a_few_shops_reach_all_four_goals(seed):
    # The whole table of 200 shops is printed by tests/benchmarks/pitch_accuracy.py.
    outcomes = pitch_accuracy.run(count=20, seed=seed)
    assert [goal for goal, _found, holds in pitch_accuracy.table(outcomes) if not holds] == []
    assert np.mean([abs(outcome.z_score) <= 3 for outcome in outcomes]) >= 0.95
