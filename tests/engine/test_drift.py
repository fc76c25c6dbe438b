"""Errors said as lenticules, share of the width and degrees."""

import numpy as np
import pytest

from logbook.engine import drift


@pytest.mark.parametrize(("width", "error", "lenticules"), [(8, 0.02, 0.16), (8, 0.03125, 0.25), (8, -0.1, 0.8)])
def test_a_drift_is_width_times_error(width, error, lenticules):
    # Common practice, no source: phase error in lenticules = width · ΔLPI.
    assert drift.lenticules(width_in=width, error_lpi=error) == pytest.approx(lenticules)


@pytest.mark.parametrize(("lenticules", "pictures"), [(0.82, 2), (0.5, 2), (0.3, 2), (1.0, 4), (0.2, 12), (0.0, 2)])
def test_the_late_share_is_what_counting_along_the_print_finds(lenticules, pictures):
    off = np.abs(np.linspace(-lenticules / 2, lenticules / 2, 100_001))
    counted = np.mean(off > 1 / (2 * pictures))
    assert drift.late_share(drift_lenticules=lenticules, pictures=pictures) == pytest.approx(counted, abs=1e-4)


def test_one_lenticule_is_the_whole_view_angle():
    said = drift.drift(width_in=8, error_lpi=0.125, pictures=2, view_angle_deg=44.0)
    assert (said.lenticules, said.degrees, said.late_share) == (1.0, 44.0, 0.5)


@pytest.mark.parametrize(("material", "lpi_change", "net"), [
    ("PETG", -0.0136, 0.093), ("acrylic", -0.0154, 0.107), ("polystyrene", -0.0108, 0.070)])
def test_ten_degrees_move_a_coarse_lens_by_more_than_a_fine_step(material, lpi_change, net):
    # Recomputed from linear expansion, 20 LPI, 8 in, +10 °C, net of paper at 1.0e-5 per °C.
    per_c = drift.EXPANSION_PER_C[material]
    assert drift.climate_pitch_change(lpi=20, change_c=10, per_c=per_c) == pytest.approx(lpi_change, abs=6e-5)
    off = drift.climate_lenticules(width_in=8, lpi=20, change_c=10, lens_per_c=per_c)
    assert off == pytest.approx(net, abs=6e-4)


@pytest.mark.parametrize(("height", "lpi", "skew", "lenticules"), [
    (8, 20, 0.1, 0.27925), (10, 20, 0.071620, 0.25), (10, 75, 0.019099, 0.25)])
def test_a_turned_lens_crosses_lenticules(height, lpi, skew, lenticules):
    # Recomputed: H·LPI·tan θ.
    assert drift.skew_lenticules(height_in=height, lpi=lpi, skew_deg=-skew) == pytest.approx(lenticules, abs=6e-6)
