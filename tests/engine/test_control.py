"""Control charts against handbook examples, and the run of pitches against simulation."""

import math

import numpy as np
import pytest

from logbook.engine.control import D2_OF_TWO, individuals, pitch_run, smoothed, smoothed_limits
from logbook.refusals import Refused

# Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 "Individuals control charts", from memory.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_the_individuals_chart_has_the_handbooks_limits():
    limits = individuals(FLOW)
    assert limits.centre == pytest.approx(50.81)
    assert (limits.upper, limits.lower) == pytest.approx((55.80408, 45.81592), abs=0.002)  # there d₂ is rounded: 1.128
    assert limits.outside == ()


def test_the_range_of_two_is_that_of_normal_pairs():
    pairs = np.random.default_rng(2).normal(size=(400_000, 2))
    assert np.abs(np.diff(pairs)).mean() == pytest.approx(D2_OF_TWO, rel=0.005)


def test_a_value_beyond_the_limits_is_pointed_at():
    assert individuals([*FLOW, *FLOW, 70.0]).outside == (20,)


def test_a_chart_of_one_value_is_refused():
    with pytest.raises(Refused, match="at least two"):
        individuals([50.0])


def test_the_moving_average_has_the_handbooks_limits():
    # Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 "EWMA control charts", from memory.
    limits = smoothed_limits([], start=50, sigma=2.0539, weight=0.3)
    assert (limits.upper, limits.lower) == pytest.approx((52.58843, 47.41157), abs=0.002)  # handbook: 0.4201 rounded


def test_the_moving_average_is_the_weighted_sum_of_all_values():
    values, weight = [52.0, 47.0, 53.0], 0.3
    whole = [sum(weight * (1 - weight) ** (last - at) * values[at] for at in range(last + 1))
             + (1 - weight) ** (last + 1) * 50 for last in range(3)]
    assert smoothed(values, start=50, weight=weight) == pytest.approx(whole)


def test_a_slow_drift_crosses_the_moving_averages_limits():
    drifting = [50 + 0.25 * step for step in range(30)]
    outside = smoothed_limits(drifting, start=50, sigma=1.0).outside
    assert outside
    assert outside == tuple(range(outside[0], 30))


@pytest.mark.parametrize("weight", [0, -0.1, 1.1, math.nan])
def test_a_weight_that_is_none_is_refused(weight):
    with pytest.raises(Refused) as refusal:
        smoothed_limits([], start=0, sigma=1, weight=weight)
    assert refusal.value.field == "weight"


def prints(count, *, between, u, seed=6):
    rng = np.random.default_rng(seed)
    return list(20.06 + rng.normal(0, between, count) + rng.normal(0, u, count)), [u] * count


def test_fewer_than_twenty_prints_are_a_plain_run():
    pitches, u = prints(19, between=0, u=0.01)
    run = pitch_run(pitches, u_pitches=u)
    assert (run.centre, run.between_u, run.lower, run.outside) == (None, None, (), ())
    assert len(run.pitches) == 19


def test_limits_hold_the_readings_own_uncertainty_where_prints_do_not_scatter():
    pitches, u = prints(20, between=0, u=0.01)
    run = pitch_run(pitches, u_pitches=u)
    reach = run.upper[0] - run.centre
    assert reach >= 3 * 0.01
    assert reach == pytest.approx(3 * max(0.01, np.std(pitches, ddof=1)), rel=1e-9)
    assert run.centre == pytest.approx(np.mean(pitches))


def test_the_scatter_between_prints_is_measured_beside_that_of_reading():
    runs = [prints(20, between=0.02, u=0.01, seed=seed) for seed in range(300)]
    found = [pitch_run(pitches, u_pitches=u).between_u ** 2 for pitches, u in runs]
    assert math.sqrt(np.mean(found)) == pytest.approx(0.02, rel=0.05)


def test_a_steady_shop_is_left_in_peace_and_a_jump_is_seen():
    pitches, u = prints(200, between=0.01, u=0.01)
    steady = pitch_run(pitches, u_pitches=u)
    assert len(steady.outside) <= 4  # 0.27 % of 200 normal values, and limits that are themselves estimated
    assert 200 in pitch_run([*pitches, 20.16], u_pitches=[*u, 0.01]).outside


def test_later_drift_does_not_move_the_limits():
    pitches, u = prints(20, between=0.01, u=0.01)
    run = pitch_run([*pitches, *[20.2] * 20], u_pitches=[*u, *u])
    assert run.centre == pitch_run(pitches, u_pitches=u).centre
    assert run.outside[-20:] == tuple(range(20, 40))


def test_a_run_without_an_uncertainty_for_each_pitch_is_refused():
    with pytest.raises(Refused, match="its own uncertainty"):
        pitch_run([20.0], u_pitches=[])
