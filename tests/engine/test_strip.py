"""The pitch strip beside a print: dots, expected counts, and the pitch from five taps."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from logbook.engine.strip import EXPECTED_FRINGES, draw_strip, fit_strip, make_strip, strip_depth_dots, strip_step
from logbook.lengths import parse_length
from logbook.refusals import Refused
from simulated_bench.optics import Layer, Lens, Printer
from simulated_bench.reader import Look, fringes


def strip(*, lpi="20.0557", inches=8, dpi=720):
    return make_strip(lpi=Decimal(lpi), length_dots=inches * dpi, pitch_dpi=Fraction(dpi), line_dpi=Fraction(dpi),
                      bench_distance=parse_length("600mm"))


@pytest.mark.parametrize(("inches", "step"), [(4, "0.125"), (8, "0.0625"), (10, "0.05")])
def test_the_step_is_half_a_lenticule_over_the_strip(inches, step):
    assert strip_step(Fraction(inches)) == Decimal(step)


def test_bands_are_at_least_four_millimetres_high_and_centred_on_the_pitch():
    plan = strip()
    pitches = [pitch for pitch, _place in plan.bands]
    assert pitches == [Decimal("20.0557") + Decimal("0.0625") * place for place in (-2, -1, 0, 1, 2)]
    for _pitch, (low, high) in plan.bands:
        assert (high - low) / 720 * 25.4 >= 4
    assert plan.depth_dots == strip_depth_dots(Fraction(720))


def test_every_dot_of_every_band_is_that_of_the_exact_phase():
    plan = strip(inches=2, dpi=300)
    drawn = draw_strip(plan)
    assert drawn.shape == (plan.depth_dots, 600)
    for pitch, (low, high) in plan.bands:
        exact = [0 if ((i + Fraction(1, 2)) * Fraction(pitch) / 300) % 1 < Fraction(1, 2) else 255 for i in range(600)]
        assert (drawn[low:high] == exact).all()


def test_a_strip_at_the_right_pitch_shows_the_expected_fringes_on_the_bench():
    lens, printer = Lens(20.12, 3.0, 1.56), Printer(720, 720 / 719.9)
    fitting = printer.scale * 20.12 / (1 + 3.0 / 1.56 / 600)
    plan = strip(lpi=f"{fitting:.4f}")
    drawn = draw_strip(plan) / 255.0
    look = Look(lens=lens, printer=printer, distance=600, gap=Layer(0.0, 1.0), lens_start=0.3)
    seen = [abs(fringes(drawn[low], look=look)) for _pitch, (low, _high) in plan.bands]
    assert seen == pytest.approx([float(count) for count in EXPECTED_FRINGES], abs=0.02)


def test_five_taps_as_expected_give_the_pitch_of_the_middle_band():
    fit = fit_strip(strip(), EXPECTED_FRINGES, reader="Ida")
    assert fit.lpi == Decimal("20.0557")
    assert fit.residuals[0].reader == "Ida"


@pytest.mark.parametrize(("inches", "u_lpi"), [(4, 0.02), (8, 0.01), (10, 0.008)])
def test_five_taps_give_the_pitch_to_a_twelfth_of_a_fringe(inches, u_lpi):
    rng = np.random.default_rng(inches)
    plan, misses = strip(inches=inches), []
    for _ in range(300):
        true = 20.0557 + rng.uniform(-0.25, 0.25) / inches
        exact = [abs(float(pitch) - true) * inches + rng.uniform(-0.25, 0.25) for pitch, _place in plan.bands]
        taps = [Decimal(max(0, round(4 * count))) / 4 for count in exact]
        misses.append(float(fit_strip(plan, taps).lpi) - true)
    assert np.std(misses) == pytest.approx(u_lpi, rel=0.2)


@pytest.mark.parametrize("taps", [[], [Decimal(1)] * 4, [Decimal(0)] * 6])
def test_another_number_of_taps_is_refused(taps):
    with pytest.raises(Refused, match="5 counts are needed") as refusal:
        fit_strip(strip(), taps)
    assert refusal.value.field == "strip"


@pytest.mark.parametrize(("dots", "lpi"), [(0, "20"), (20, "20"), (7200, "359.95")])
def test_a_print_that_cannot_hold_a_strip_is_told_so(dots, lpi):
    with pytest.raises(Refused) as refusal:
        make_strip(lpi=Decimal(lpi), length_dots=dots, pitch_dpi=Fraction(720), line_dpi=Fraction(720),
                   bench_distance=parse_length("600mm"))
    assert refusal.value.field == "strip"
