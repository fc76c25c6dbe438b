"""A pitch carried to another distance: the table of the derivation, exact rays, and uncertainty by simulation."""

import math
from decimal import Decimal

import numpy as np
import pytest

from logbook.engine.distance import (
    ADHESIVE,
    AIR_GAP,
    Layer,
    as_json,
    convert,
    factor,
    lens_layer,
    printed_lpi,
    sight,
)
from logbook.engine.lens import landing_mm
from logbook.refusals import Refused

NOTHING = Layer(0.0, 1.0)
LENS = lens_layer(thickness_mm=3.0, index=1.56)


@pytest.mark.parametrize(("pitch_mm", "thickness", "index", "distance", "lens_lpi", "printed"), [
    (0.33665, 0.457, 1.557, 300, 75.4493, 75.3755),
    (25.4 / 20.12, 3.0, 1.56, 600, 20.1200, 20.0557),
    (25.4 / 20.12, 3.0, 1.56, 1000, 20.1200, 20.0814),
    (25.4 / 75, 0.457, 1.557, 300, 75.0000, 74.9267),
])
def test_the_printed_pitch_is_that_of_the_derivation(pitch_mm, thickness, index, distance, lens_lpi, printed):
    # P' = P·(1 + t/(n·D)), recomputed to four decimals; derivation in the module's docstring.
    seen = printed_lpi(lens_lpi=25.4 / pitch_mm, reduced_mm=thickness / index, distance_mm=distance)
    assert 25.4 / pitch_mm == pytest.approx(lens_lpi, abs=5e-5)
    assert seen == pytest.approx(printed, abs=5e-5)


def test_the_printed_pitch_is_that_of_the_rays_through_two_neighbouring_ridges():
    # Snell's law at the ridges beside the eye's foot; the derivation drops only the cube of the angle.
    pitch = 25.4 / 20.12
    out = landing_mm(distance_mm=600, place_mm=pitch, thickness_mm=3.0, index=1.56)
    assert 25.4 / (pitch + out) == pytest.approx(
        printed_lpi(lens_lpi=20.12, reduced_mm=3.0 / 1.56, distance_mm=600), abs=1e-6)


@pytest.mark.parametrize(("place", "share"), [(10, -0.000326), (50, -0.00806), (100, -0.03112)])
def test_far_from_the_middle_the_exact_ray_lands_nearer_than_the_straight_law(place, share):
    # Recomputed from Snell's law: t 0.457, n 1.557, D 300 mm.
    exact = landing_mm(distance_mm=300, place_mm=place, thickness_mm=0.457, index=1.557)
    assert exact / (0.457 * place / (1.557 * 300)) - 1 == pytest.approx(share, rel=2e-3)


def test_a_printer_that_prints_longer_inches_needs_more_lines_to_its_own_inch():
    plain = printed_lpi(lens_lpi=20, reduced_mm=2, distance_mm=500)
    assert printed_lpi(lens_lpi=20, reduced_mm=2, distance_mm=500, scale=720 / 719.9) / plain \
        == pytest.approx(720 / 719.9)


def test_the_same_way_of_looking_changes_nothing():
    look = sight(distance_mm=600, lens=LENS, extra=AIR_GAP)
    result = convert(Decimal("20.0557"), u_lpi=0.006, seen=look, wanted=look)
    assert result.lpi == Decimal("20.0557")
    assert result.u_thickness == 0
    assert result.u_aperture == 0


def test_a_farther_eye_needs_more_lines_by_the_paraxial_change_less_the_apertures_share():
    near, far = (sight(distance_mm=d, lens=LENS, extra=NOTHING) for d in (600, 2000))
    change = (1 + 3 / 1.56 / 600) / (1 + 3 / 1.56 / 2000) - 1
    assert factor(seen=near, wanted=far) == pytest.approx(1 + 0.95 * change, rel=1e-12)


def test_the_apertures_share_lies_between_the_rays_through_the_middle_and_the_mean_of_all():
    # Exact real-ray trace of the worked example of "Lenticular printing": the mean over the full aperture moves 0.89
    # of what the middle ray does, the median 1.00.
    near, far = (sight(distance_mm=d, lens=LENS, extra=NOTHING) for d in (300, 3000))
    full = (1 + near.correction) / (1 + far.correction) - 1
    assert 0.89 < (factor(seen=near, wanted=far) - 1) / full < 1.00


def simulated(*, seen, wanted, draws=200_000):
    """The factor's spread with every input drawn from its stated uncertainty (JCGM 101:2008)."""
    rng = np.random.default_rng(17)

    def normal(value, u):
        return rng.normal(value, u, draws)

    lens = normal(seen.lens.thickness_mm, seen.lens.u_thickness_mm) / normal(seen.lens.index, seen.lens.u_index)

    def correction(look):
        thickness = normal(look.extra.thickness_mm, look.extra.u_thickness_mm)
        extra = thickness / normal(look.extra.index, look.extra.u_index)
        return (lens + extra) / normal(look.distance_mm, look.u_distance_mm)

    first, second = correction(seen), correction(wanted)
    return 1 + normal(0.95, 0.04) * ((1 + first) / (1 + second) - 1)


@pytest.mark.parametrize(("near", "far"), [(400, 2000), (600, 450), (350, 3000)])
def test_the_stated_uncertainty_is_that_of_a_simulation(near, far):
    seen = sight(distance_mm=near, lens=LENS, extra=AIR_GAP)
    wanted = sight(distance_mm=far, lens=LENS, extra=ADHESIVE)
    spread = simulated(seen=seen, wanted=wanted)
    result = convert(Decimal("20"), u_lpi=0.0, seen=seen, wanted=wanted)
    assert result.u_lpi == pytest.approx(20 * np.std(spread), rel=0.02)
    assert float(result.lpi) == pytest.approx(20 * np.mean(spread), abs=2e-4)


def test_the_readings_uncertainty_is_carried_along():
    look = sight(distance_mm=600, lens=LENS, extra=AIR_GAP, known_to_share=0)
    result = convert(Decimal("20"), u_lpi=0.006, seen=look, wanted=look)
    gap = math.sqrt(2) * 0.95 * 20 / (1 + look.correction) * 0.05 / 600  # each look has a gap of its own
    assert result.u_lpi == pytest.approx(math.hypot(0.006, gap), rel=1e-3)


def test_the_json_states_the_correction_in_lenticules_over_the_print():
    near, far = (sight(distance_mm=d, lens=LENS, extra=NOTHING) for d in (600, 2000))
    facts = as_json(Decimal("20"), u_lpi=0.006, seen=near, wanted=far, width_in=8)
    assert facts["correction_lenticules"] == pytest.approx(8 * (facts["lpi"] - 20), abs=1e-3)
    assert facts["u_lenticules"] == pytest.approx(8 * facts["u_lpi"], abs=1e-4)
    assert set(as_json(None, u_lpi=0, seen=near, wanted=far)) == {"factor", "u_factor"}


@pytest.mark.parametrize("thickness", [0, -1, math.inf, math.nan])
def test_a_lens_without_thickness_is_refused(thickness):
    with pytest.raises(Refused) as refusal:
        lens_layer(thickness_mm=thickness, index=1.56)
    assert refusal.value.field == "thickness"


@pytest.mark.parametrize("index", [0, 0.99, 3.01, math.nan])
def test_an_index_that_no_clear_lens_has_is_refused(index):
    with pytest.raises(Refused) as refusal:
        lens_layer(thickness_mm=3, index=index)
    assert refusal.value.field == "index"


@pytest.mark.parametrize("distance", [0, -5, math.inf, math.nan])
def test_an_eye_at_no_distance_is_refused(distance):
    with pytest.raises(Refused) as refusal:
        sight(distance_mm=distance, lens=LENS, extra=NOTHING)
    assert refusal.value.field == "distance"


@pytest.mark.parametrize("u_lpi", [-0.1, math.inf, math.nan])
def test_an_uncertainty_that_is_none_is_refused(u_lpi):
    look = sight(distance_mm=600, lens=LENS, extra=NOTHING)
    with pytest.raises(Refused):
        convert(Decimal(20), u_lpi=u_lpi, seen=look, wanted=look)
