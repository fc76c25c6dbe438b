"""One pitch from a chart's readings, against scipy and the algebra of the V."""

import dataclasses
import math
from contextlib import nullcontext
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from scipy import optimize

from logbook.engine.fit import as_json, fit_readings, readers_agree
from logbook.engine.readings import READING_U, Reading, Spot, parse_spot
from logbook.engine.sliding import spot_on_scale
from logbook.refusals import Refused

WIDTH = Fraction(8)
U_READING = 0.161  # engine of the bench: ±1/4 rectangular and rounding to the quarter, √(0.25²/3 + 0.25²/12)


def read(pitch, *, centre="19.9", step="0.1", bands=11, offset=0.0, rounded=True, errors=None, width=8):
    """Readings of a chart as the V says; quarters when rounded."""
    readings = []
    for band in range(bands):
        lpi = Decimal(centre) + Decimal(step) * (2 * band - bands + 1) / 2
        count = abs(float(lpi) - pitch) * width + offset + (errors[band] if errors is not None else 0.0)
        count = round(4 * count) / 4 if rounded else count
        readings.append(Reading(lpi, Decimal(str(max(0.0, round(count, 9))))))
    return readings


def test_one_readings_uncertainty_is_that_of_two_rectangles():
    # Source: JCGM 100:2008 (GUM), 4.3.7: half-width a gives a/√3.
    rng = np.random.default_rng(11)
    errors = rng.uniform(-0.25, 0.25, 200_000) + rng.uniform(-0.125, 0.125, 200_000)
    assert READING_U == pytest.approx(np.std(errors), rel=0.01)
    assert READING_U == pytest.approx(U_READING, abs=5e-4)


def test_exact_counts_give_the_pitch_back():
    fit = fit_readings(read(20.0557, rounded=False), width_in=WIDTH)
    assert float(fit.lpi) == pytest.approx(20.0557, abs=1e-4)
    assert fit.rms_fringes < 1e-3
    assert fit.suspects == ()


def test_bands_lying_evenly_give_the_short_formulas_uncertainty():
    fit = fit_readings(read(19.9, rounded=False), width_in=WIDTH)
    assert fit.u_lpi == pytest.approx(U_READING / (8 * math.sqrt(11)), rel=0.01)
    assert fit.u_lpi <= 0.007  # goal for a coarse chart of eleven bands over 8 in


def test_a_coarse_chart_reaches_its_goal_of_seven_thousandths():
    rng = np.random.default_rng(3)
    misses = []
    for _ in range(300):
        pitch = 19.9 + rng.uniform(-0.1, 0.1)
        fit = fit_readings(read(pitch, errors=rng.uniform(-0.25, 0.25, 11)), width_in=WIDTH)
        misses.append(float(fit.lpi) - pitch)
    assert np.std(misses) <= 0.007


def test_the_stated_uncertainty_covers_what_it_should():
    # Twice the standard uncertainty of a normal quantity covers 95.4 % (JCGM 100:2008, G.1.3); 600 trials scatter
    # by 1 %.
    rng = np.random.default_rng(8)
    within = []
    for _ in range(600):
        pitch = 20.12 + rng.uniform(-0.1, 0.1)
        fit = fit_readings(read(pitch, errors=rng.uniform(-0.25, 0.25, 11)), width_in=WIDTH)
        within.append(abs(float(fit.lpi) - pitch) <= 2 * fit.u_lpi)
    assert 0.92 <= np.mean(within) <= 0.99


def scipy_v(readings, *, start, with_offset):
    """The same V fitted by scipy's general curve fitting (Levenberg-Marquardt) with absolute sigma."""
    lpi = np.array([float(reading.lpi) for reading in readings])
    counts = np.array([float(reading.fringes) for reading in readings])

    def v(x, pitch, offset=0.0):
        return np.abs(x - pitch) * float(WIDTH) + offset

    first = [start, 0.0] if with_offset else [start]
    return optimize.curve_fit(v, lpi, counts, p0=first, sigma=np.full(len(lpi), READING_U), absolute_sigma=True)


@pytest.mark.parametrize("seed", range(8))
def test_the_fit_is_scipys_curve_fit_with_absolute_sigma(seed):
    rng = np.random.default_rng(seed)
    pitch = 19.9 + rng.uniform(-0.3, 0.3)
    readings = read(pitch, errors=rng.uniform(-0.25, 0.25, 11))
    fit = fit_readings(readings, width_in=WIDTH)
    values, covariance = scipy_v(readings, start=pitch, with_offset=True)
    assert float(fit.lpi) == pytest.approx(values[0], abs=1e-4)
    assert fit.offset_fringes == pytest.approx(values[1], abs=1e-4)
    assert fit.u_lpi == pytest.approx(math.sqrt(covariance[0, 0]) * max(1, math.sqrt(fit.chi2 / fit.degrees)), rel=1e-4)
    assert fit.u_offset_fringes == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-4)


@pytest.mark.parametrize("seed", range(4))
def test_no_pitch_fits_better_than_the_one_that_a_fine_search_finds(seed):
    rng = np.random.default_rng(100 + seed)
    readings = read(20.03, bands=4, step="0.1", centre="20.05", errors=rng.uniform(-0.25, 0.25, 4))
    fit = fit_readings(readings, width_in=WIDTH)
    lpi = np.array([float(reading.lpi) for reading in readings])
    counts = np.array([float(reading.fringes) for reading in readings])
    grid = np.arange(19.5, 20.6, 2e-5)
    chi2 = (((np.abs(lpi - grid[:, None]) * 8 - counts) / READING_U) ** 2).sum(axis=1)
    assert float(fit.lpi) == pytest.approx(grid[chi2.argmin()], abs=1e-4)
    assert fit.chi2 == pytest.approx(chi2.min(), abs=1e-3)


def test_a_pitch_beyond_the_bands_is_found_on_one_arm_of_the_v():
    readings = read(20.7, rounded=False)
    fit = fit_readings(readings, width_in=WIDTH)
    lpi = np.array([float(reading.lpi) for reading in readings])
    answer = optimize.least_squares(
        lambda p: (np.abs(lpi - p) * 8 - [float(r.fringes) for r in readings]) / READING_U, [20.6])
    assert float(fit.lpi) == pytest.approx(answer.x[0], abs=1e-4)
    assert any("outside the tested" in sentence for sentence in fit.suspects)
    assert fit.next_chart.centre_lpi == Decimal("20.7")
    assert fit.next_chart.step_lpi == Decimal("0.1")


def test_a_common_counting_offset_does_not_move_the_pitch():
    plain = fit_readings(read(20.12, rounded=False), width_in=WIDTH)
    shifted = fit_readings(read(20.12, rounded=False, offset=0.3), width_in=WIDTH)
    assert float(shifted.lpi) == pytest.approx(float(plain.lpi), abs=1e-4)
    assert shifted.offset_fringes == pytest.approx(0.3, abs=1e-4)
    assert any("0.30 fringe too high" in sentence for sentence in shifted.suspects)


def test_four_bands_are_too_few_for_an_offset():
    fit = fit_readings(read(20.03, bands=4, centre="20.05"), width_in=WIDTH)
    assert fit.offset_fringes == 0.0
    assert fit.u_offset_fringes is None


def test_two_bands_suffice_where_they_say_the_side():
    fit = fit_readings([Reading(Decimal("19.9"), Decimal("1.25")), Reading(Decimal("20.3"), Decimal("1.95"))],
                       width_in=WIDTH)
    assert float(fit.lpi) == pytest.approx(20.05625, abs=1e-4)


def test_a_single_band_is_refused():
    with pytest.raises(Refused, match="two different bands"):
        fit_readings([Reading(Decimal(20), Decimal(1)), Reading(Decimal(20), Decimal(1))], width_in=WIDTH)


def test_no_reading_at_all_is_refused():
    with pytest.raises(Refused, match="two different bands"):
        fit_readings([], width_in=WIDTH)


def test_one_slip_among_good_counts_is_named_with_its_band():
    """Fringes are the distance of the pitches times the width; 75 was typed for 0.75."""
    counts = {Decimal(f"19.{i}"): abs(Decimal("19.43") - Decimal(f"19.{i}")) * 8 for i in range(10)}
    slip = Decimal("19.6")
    readings = [Reading(lpi, Decimal(75) if lpi == slip else count) for lpi, count in counts.items()]
    with pytest.raises(Refused, match=r"Without the 75 counted at 19\.6 lines per inch the others fit 19\.430: read"):
        fit_readings(readings, width_in=Fraction(8))


def test_readings_that_fit_nothing_are_refused():
    counts = [5, 0, 6, 1, 7, 0]
    with pytest.raises(Refused, match="fit no pitch"):
        fit_readings([Reading(Decimal(f"19.{i}"), Decimal(c)) for i, c in enumerate(counts)], width_in=WIDTH)


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        ("1", "1.5", "two pitches"),  # the one fits better by 3.1 in chi square
        ("0.2", "0.2", "two pitches"),  # apart by 3.5 standard deviations
        ("0.1", "0.1", None),  # by 1.8: two estimates of one pitch
        ("1", "1.73", None),  # better by 4.5: two standard deviations of one parameter, 95 % (chi square table: 3.84)
    ],
)
def test_another_pitch_counts_where_it_is_far_away_and_fits_nearly_as_well(first, second, told):
    readings = [Reading(Decimal("20.00"), Decimal(first)), Reading(Decimal("20.01"), Decimal(second))]
    with pytest.raises(Refused, match=told) if told else nullcontext():
        fit_readings(readings, width_in=WIDTH)


def test_only_what_fits_equally_well_is_taken_for_the_middle():
    # between the bands 19.9 + 0.1 / 8 and 20.1 - 1.524 / 8 nearly agree; to the left of both their mean, 19.8985, would
    # lie within three uncertainties, and fits worse by 0.6 in chi square
    fit = fit_readings([Reading(Decimal("19.9"), Decimal("0.1")), Reading(Decimal("20.1"), Decimal("1.524"))],
                       width_in=WIDTH)  # fmt: skip
    assert fit.lpi == Decimal("19.9110")


def test_a_pitch_on_the_last_band_is_looked_for_finely_on_both_of_its_sides():
    fit = fit_readings([Reading(Decimal("19.9"), Decimal("1.6")), Reading(Decimal("20.1"), Decimal("0"))],
                       width_in=WIDTH)  # fmt: skip
    assert fit.lpi == Decimal("20.1")
    assert fit.next_chart.step_lpi == Decimal("0.01")


@pytest.mark.parametrize(("width", "step"), [("2.80", "0.1"), ("2.88", "0.01")])
def test_a_fine_chart_comes_next_once_it_reaches_over_what_is_not_known_yet(width, step):
    """Two and a half uncertainties of two bands, 2.5 * 0.161 / (W √2), are 10.2 and 9.9 of its ten steps of 0.01."""
    counts = Decimal(width) / 5
    readings = [Reading(Decimal(band), counts) for band in ("19.8", "20.2")]
    assert fit_readings(readings, width_in=Fraction(width)).next_chart.step_lpi == Decimal(step)


def test_readings_that_fit_two_pitches_are_refused():
    # 19.9 and 20.1 both half a fringe: 20.0 is right for neither count alone, 19.9375/20.0625 on either side fit alike.
    readings = [Reading(Decimal("20.0"), Decimal("1")), Reading(Decimal("20.01"), Decimal("1"))]
    with pytest.raises(Refused, match=r"two pitches, 19\.88\d and 20\.13\d|two pitches, 20\.13\d and 19\.88\d"):
        fit_readings(readings, width_in=WIDTH)


def test_a_width_of_zero_is_refused():
    with pytest.raises(Refused, match="more than zero") as refusal:
        fit_readings(read(20), width_in=Fraction(0))
    assert refusal.value.field == "width"


def test_one_doubled_count_is_named():
    readings = read(20.12)
    readings[6] = Reading(readings[6].lpi, readings[6].fringes * 2)
    fit = fit_readings(readings, width_in=WIDTH)
    assert any(s.startswith("Band 20.0:") and "counted separately" in s for s in fit.suspects)


def test_a_doubled_count_that_spoils_the_fit_is_named_in_the_refusal():
    readings = read(20.12)
    readings[0] = Reading(readings[0].lpi, readings[0].fringes * 2)
    with pytest.raises(Refused, match=r"Band 19\.4: .*dark and light bars counted separately"):
        fit_readings(readings, width_in=WIDTH)


def test_counts_that_are_all_doubled_are_called_so():
    doubled = [Reading(reading.lpi, reading.fringes * 2) for reading in read(20.12)]
    with pytest.raises(Refused, match=r"The counts are about twice .*counted separately"):
        fit_readings(doubled, width_in=WIDTH)


def test_a_single_miscount_is_named_with_its_size():
    readings = read(19.9, rounded=False)
    readings[2] = Reading(readings[2].lpi, readings[2].fringes - 1)
    fit = fit_readings(readings, width_in=WIDTH)
    assert [s for s in fit.suspects if s.startswith("Band 19.6") and "less than the fit" in s]


def test_readings_that_scatter_more_than_counting_enlarge_the_uncertainty():
    errors = [0.45, -0.45] * 5 + [0.45]
    calm, wild = (fit_readings(read(19.93, errors=e), width_in=WIDTH) for e in (None, errors))
    assert wild.u_lpi > 2 * calm.u_lpi
    assert any("scatter" in sentence for sentence in wild.suspects)


def test_a_good_pitch_in_the_inner_bands_needs_no_other_chart():
    readings = read(19.92, rounded=False)
    fit = fit_readings(readings + readings, width_in=WIDTH)
    assert 2 * fit.u_lpi * 8 <= 0.1
    assert fit.next_chart is None
    assert as_json(fit)["next"] is None


def test_a_pitch_near_the_end_of_the_bands_asks_for_a_chart_around_it():
    readings = read(20.33, rounded=False)
    fit = fit_readings(readings + readings + readings, width_in=WIDTH)
    assert fit.next_chart.centre_lpi == Decimal("20.33")
    assert fit.next_chart.step_lpi == Decimal("0.01")


def test_an_uncertain_pitch_asks_for_a_fine_chart():
    fit = fit_readings(read(19.92, bands=3, step="0.2", centre="19.9"), width_in=WIDTH)
    assert 2 * fit.u_lpi * 8 > 0.1
    assert fit.next_chart.step_lpi == Decimal("0.01")
    assert as_json(fit)["next"] == {"centre_lpi": 19.92, "step_lpi": 0.01, "bands": 21}


def test_a_named_band_alone_gives_its_pitch_within_half_a_step():
    pitches = {number: Decimal("19.3") + Decimal("0.1") * number for number in range(1, 12)}
    fit = fit_readings([], width_in=WIDTH, spots=[parse_spot("band 7", pitches=pitches, width_in=WIDTH)])
    assert fit.lpi == Decimal("20.0")
    assert fit.u_lpi == pytest.approx(math.hypot(0.05 / math.sqrt(3), U_READING / 8), rel=0.01)
    assert fit.next_chart.centre_lpi == Decimal("20.0")


def test_a_still_spot_alone_asks_for_a_coarse_chart_around_it():
    fit = fit_readings([], width_in=WIDTH, spots=[spot_on_scale(Decimal("20.07"), slope=Decimal("0.145"))])
    assert 0.03 < fit.u_lpi < 0.05
    assert (fit.next_chart.centre_lpi, fit.next_chart.step_lpi) == (Decimal("20.07"), Decimal("0.01"))
    steep = fit_readings([], width_in=WIDTH, spots=[spot_on_scale(Decimal("75.2"), slope=Decimal("0.331"))], dpi=1440)
    assert (steep.next_chart.centre_lpi, steep.next_chart.step_lpi, steep.next_chart.bands) == (
        Decimal("75.2"), Decimal("0.1"), 11)


def test_a_named_place_is_weighed_with_the_counts():
    counts = read(20.02, rounded=False)
    spot = Spot(lpi=Decimal("20.06"), u_lpi=0.01, words="spot")
    fit = fit_readings(counts, width_in=WIDTH, spots=[spot])
    alone = fit_readings(counts, width_in=WIDTH)
    weights = np.array([1 / alone.u_lpi**2, 1 / spot.u_lpi**2])
    assert float(fit.lpi) == pytest.approx((20.02 * weights[0] + 20.06 * weights[1]) / weights.sum(), abs=2e-4)


@pytest.mark.parametrize(("second", "agree"), [(20.13, True), (20.03, False)])
def test_readers_agree_within_their_joint_uncertainty(second, agree):
    first, other = (fit_readings(read(p, rounded=False), width_in=WIDTH) for p in (20.12, second))
    assert readers_agree(first, other, print_width_in=WIDTH) is agree


def test_readers_agree_within_an_eighth_and_a_bit_of_a_lenticule_however_sure_they_are():
    many = [fit_readings(read(p, rounded=False) * 40, width_in=WIDTH) for p in (20.12, 20.138)]
    assert 3 * math.hypot(*(fit.u_lpi for fit in many)) * 8 < 0.144
    assert readers_agree(*many, print_width_in=WIDTH)
    assert not readers_agree(*many, print_width_in=Fraction(10))


@pytest.mark.parametrize("seed", range(12))
def test_a_tip_counted_too_low_holds_the_pitch_at_its_band(seed):
    # All counts half a fringe too high but the band at the tip: no pitch beside that band fits as well. The least of a
    # fine search over pitch and offset says so.
    rng = np.random.default_rng(seed)
    errors = rng.uniform(-0.02, 0.02, 11)
    tip = int(rng.integers(3, 8))
    errors[tip] -= 0.3
    readings = read(19.4 + 0.1 * tip, centre="19.9", offset=0.5, errors=errors, rounded=False)
    fit = fit_readings(readings, width_in=WIDTH)
    assert float(fit.lpi) == pytest.approx(19.4 + 0.1 * tip, abs=1e-9)
    grid = np.arange(19.5, 20.3, 1e-4)
    v = np.abs([[float(one.lpi)] for one in readings] - grid[None, :]) * 8
    left = np.array([[float(one.fringes)] for one in readings]) - v
    chi2 = (((left - left.mean(axis=0)) / READING_U) ** 2).sum(axis=0)
    assert grid[chi2.argmin()] == pytest.approx(float(fit.lpi), abs=2e-4)
    assert fit.chi2 == pytest.approx(chi2.min(), rel=0.01)
    assert fit.offset_fringes == pytest.approx(left.mean(axis=0)[chi2.argmin()], abs=1e-3)


@pytest.mark.parametrize(("pitch", "bands", "offset"), [
    (20.0, 5, 0.3), (19.95, 5, 0.3), (20.05, 5, 0.3), (19.85, 5, 0.0), (20.0, 4, 0.0)])
def test_an_offset_needs_five_bands_of_which_two_lie_on_each_side(pitch, bands, offset):
    fit = fit_readings(read(pitch, centre="20", bands=bands, offset=0.3, rounded=False), width_in=WIDTH)
    assert fit.offset_fringes == pytest.approx(offset, abs=1e-3)
    assert (fit.u_offset_fringes is None) == (offset == 0.0)


def test_readings_that_miss_by_more_than_half_a_fringe_fit_no_pitch():
    for error, fits in ((0.4, True), (0.75, False)):
        readings = read(20.4, centre="19.9", errors=np.resize([error, -error], 11), rounded=False, offset=1)
        if fits:
            assert fit_readings(readings, width_in=WIDTH).rms_fringes == pytest.approx(error, rel=0.1)
        else:
            with pytest.raises(Refused, match="fit no pitch"):
                fit_readings(readings, width_in=WIDTH)


def test_two_fits_agree_up_to_three_joint_uncertainties_over_the_print():
    # GUM (JCGM 100:2008), 5.1.2: independent uncertainties add in squares.
    plain = fit_readings(read(20.12, rounded=False), width_in=WIDTH)
    first, second = (dataclasses.replace(plain, u_lpi=u) for u in (0.03, 0.04))
    for apart, agree in (("0.12", True), ("0.149", True), ("0.151", False)):
        other = dataclasses.replace(second, lpi=first.lpi + Decimal(apart))
        assert readers_agree(first, other, print_width_in=Fraction(4)) is agree
    assert plain.u_lenticules == pytest.approx(8 * plain.u_lpi)


def test_the_json_tells_each_figure_to_its_last_place_and_no_further():
    errors = np.random.default_rng(5).uniform(-0.2, 0.2, 11)
    fit = fit_readings(read(19.9 + math.pi / 100, errors=errors, offset=0.3, rounded=False), width_in=WIDTH)
    told = as_json(fit)
    for name, value, places in (
            ("u_lpi", fit.u_lpi, 6), ("u_lenticules", fit.u_lenticules, 4), ("rms_fringes", fit.rms_fringes, 4),
            ("chi2", fit.chi2, 4), ("offset_fringes", fit.offset_fringes, 4)):
        assert told[name] == float(f"{value:.{places}f}")
    assert fit.lpi == Decimal(f"{fit.lpi:.4f}")
    assert fit.lpi.as_tuple().exponent == -4
    assert len(told["residuals"]) == 11
    for one, residual in zip(told["residuals"], fit.residuals, strict=True):
        assert one["expected"] == float(f"{residual.expected:.4f}")
        assert one["residual"] == float(f"{residual.residual:.4f}")


def test_what_was_tested_at_the_very_edge_is_not_outside_and_one_band_alone_says_no_width():
    edge = fit_readings(read(20.4, rounded=False), width_in=WIDTH)
    assert not any("outside" in sentence for sentence in edge.suspects)
    low = fit_readings(read(19.4, rounded=False), width_in=WIDTH)
    assert not any("outside" in sentence for sentence in low.suspects)
    sure, unsure = ([Spot(lpi=Decimal("20.4"), u_lpi=u, words="spot")] for u in (0.001, 0.02))
    alone = fit_readings([], width_in=WIDTH, spots=sure)  # nothing was tested on either side of it
    one = fit_readings(read(20.44, centre="20.31", bands=1), width_in=WIDTH, spots=unsure)
    two = fit_readings(read(20.7, centre="20.0", bands=2), width_in=WIDTH)
    assert (alone.next_chart.centre_lpi, alone.next_chart.bands) == (Decimal("20.4"), 21)
    assert (one.next_chart.step_lpi, one.next_chart.bands) == (Decimal("0.01"), 21)
    assert (two.next_chart.step_lpi, two.next_chart.bands) == (Decimal("0.1"), 11)


@pytest.mark.parametrize("seed", range(10))
def test_of_several_minima_the_least_is_taken(seed):
    rng = np.random.default_rng(300 + seed)
    readings = read(20.05, bands=4, centre="20.05", errors=rng.uniform(0, 0.25, 4), rounded=False)
    fit = fit_readings(readings, width_in=WIDTH)
    lpi = np.array([float(reading.lpi) for reading in readings])
    counts = np.array([float(reading.fringes) for reading in readings])
    grid = np.arange(19.8, 20.3, 2e-5)
    chi2 = (((np.abs(lpi - grid[:, None]) * 8 - counts) / READING_U) ** 2).sum(axis=1)
    assert fit.chi2 == pytest.approx(chi2.min(), abs=1e-3)
    assert float(fit.lpi) == pytest.approx(grid[chi2.argmin()], abs=1e-4)
