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
    from_far,
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
    without = as_json(Decimal("20"), u_lpi=0.006, seen=near, wanted=far)
    assert facts["factor"] == float(f"{factor(seen=near, wanted=far):.9f}")
    assert facts["u_lpi"] == float(f"{convert(Decimal('20'), u_lpi=0.006, seen=near, wanted=far).u_lpi:.6f}")
    assert facts.keys() - without.keys() == {"correction_lenticules", "u_lenticules"}
    assert facts.items() >= without.items()
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


def _ratio(seen, wanted, share=0.95):
    """The converted pitch over the pitch read, written anew: (thickness, index, the extra layer's two, distance)."""
    first, second = ((1 + (t / n + e / m) / d) for t, n, e, m, d in (seen, wanted))
    return 1 + share * (first / second - 1)


def _slope(of, at, step=1e-5):
    return (of(at + step) - of(at - step)) / (2 * step)


@pytest.mark.parametrize(("lpi", "u_lpi"), [("19.87", 0.004), ("61.3717", 0.0137)])
def test_every_part_of_the_uncertainty_is_the_slope_of_the_formula_times_what_is_not_known(lpi, u_lpi):
    # JCGM 100:2008, 5.1.2: u(y) is |dy/dx| · u(x); the slopes are taken numerically, from the formula written above
    lens, loose = Layer(3.0, 1.56, 0.06, 0.02), Layer(0.4, 1.2, 0.1, 0.05)
    glue = Layer(0.3, 1.47, 0.04, 0.03)
    seen, wanted = sight(distance_mm=450, lens=lens, extra=loose), sight(distance_mm=900, lens=lens, extra=glue,
                                                                         known_to_share=0.1)
    near, far, pitch = (3.0, 1.56, 0.4, 1.2, 450.0), (3.0, 1.56, 0.3, 1.47, 900.0), float(lpi)
    told = convert(Decimal(lpi), u_lpi=u_lpi, seen=seen, wanted=wanted)

    def part(at, u, *, first=True, second=True):
        def moved(by):
            one, two = list(near), list(far)
            one[at] += by if first else 0
            two[at] += by if second else 0
            return pitch * _ratio(one, two)
        return abs(_slope(moved, 0.0)) * u

    thickness = math.hypot(part(0, 0.06), part(1, 0.02))
    extra = math.hypot(part(2, 0.1, second=False), part(3, 0.05, second=False),
                       part(2, 0.04, first=False), part(3, 0.03, first=False))
    distances = (part(4, 450 * 0.03 / math.sqrt(3), second=False), part(4, 900 * 0.1 / math.sqrt(3), first=False))
    aperture = abs(_slope(lambda share: pitch * _ratio(near, far, share), 0.95)) * 0.04
    parts = (told.u_thickness, told.u_extra, told.u_from_distance, told.u_to_distance, told.u_aperture)
    assert parts == pytest.approx((thickness, extra, *distances, aperture), rel=1e-5)
    assert told.u_lpi == pytest.approx(math.hypot(u_lpi * _ratio(near, far), *parts))
    assert told.lpi == round(Decimal(pitch * _ratio(near, far)), 4)
    assert told.lpi.as_tuple().exponent == -4
    words = as_json(Decimal(lpi), u_lpi=u_lpi, seen=seen, wanted=wanted, width_in=7.3)
    assert words == {
        "factor": round(_ratio(near, far), 9), "u_factor": round(math.hypot(*parts) / pitch, 9),
        "lpi": pytest.approx(float(told.lpi)), "u_lpi": round(told.u_lpi, 6),
        "correction_lpi": round(told.correction_lpi, 6),
        "u_parts_lpi": dict(zip(
            ("reading", "thickness", "gap_or_adhesive", "from_distance", "to_distance", "aperture"),
            (round(part, 6) for part in (told.u_reading, *parts)), strict=True)),
        "correction_lenticules": round(told.correction_lpi * 7.3, 4), "u_lenticules": round(told.u_lpi * 7.3, 4)}
    assert as_json(None, u_lpi=0.0, seen=seen, wanted=wanted) == {name: words[name] for name in ("factor", "u_factor")}


def test_what_is_seen_from_infinitely_far_is_the_formula_without_the_eye():
    lens, loose = Layer(3.0, 1.56, 0.06, 0.02), Layer(0.4, 1.2, 0.1, 0.05)
    told, u_told = from_far(sight(distance_mm=450, lens=lens, extra=loose))

    def gain(t=3.0, n=1.56, e=0.4, m=1.2, d=450.0, share=0.95):
        return math.log(1 + share * (t / n + e / m) / d)

    u_known = {"t": (3.0, 0.06), "n": (1.56, 0.02), "e": (0.4, 0.1), "m": (1.2, 0.05),
               "d": (450.0, 450 * 0.03 / math.sqrt(3)), "share": (0.95, 0.04)}
    u_parts = [_slope(lambda x, name=name: gain(**{name: x}), at) * u for name, (at, u) in u_known.items()]
    assert told == pytest.approx(gain())
    assert u_told == pytest.approx(math.hypot(*u_parts), rel=1e-4)


def test_layers_are_as_documented_and_limits_themselves_are_taken():
    root = math.sqrt(3)  # JCGM 100:2008, 4.3.7: a half-width over the root of three; the figures are shop defaults
    lens = lens_layer(thickness_mm=0.5, index=1.5)
    assert (lens.u_thickness_mm, lens.u_index) == pytest.approx((0.5 * 0.03 / root, 0.01 / root))
    assert (AIR_GAP.thickness_mm, AIR_GAP.index, AIR_GAP.u_thickness_mm, AIR_GAP.u_index) == (0.05, 1.0, 0.05, 0.0)
    assert (ADHESIVE.thickness_mm, ADHESIVE.index, ADHESIVE.u_index) == (0.05, 1.47, 0.02)
    assert ADHESIVE.u_thickness_mm == pytest.approx(0.05 / root)
    assert [lens_layer(thickness_mm=1, index=index).index for index in (1, 3)] == [1, 3]
    assert Layer(1.0, 1.5).u_reduced_mm == 0
    assert sight(distance_mm=0.5, lens=lens, extra=AIR_GAP).u_distance_mm == pytest.approx(0.5 * 0.03 / root)
    with pytest.raises(Refused):
        lens_layer(thickness_mm=1, index=3.5)
    assert convert(Decimal(20), u_lpi=0, seen=sight(distance_mm=500, lens=lens, extra=AIR_GAP),
                   wanted=sight(distance_mm=500, lens=lens, extra=AIR_GAP)).u_reading == 0
