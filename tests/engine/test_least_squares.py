"""The straight line under every pitch fit, against certified and published results."""

from importlib.resources import files

import numpy as np
import pytest

from logbook.engine.least_squares import solve
from logbook.refusals import Refused


def line_through(x, y, *, constant=True):
    """Solution with unit uncertainties, and the parameters' standard deviations from the scatter."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    design = np.column_stack([np.ones_like(x), x]) if constant else x[:, None]
    solution = solve(design, y, u=np.ones_like(y))
    return solution, np.sqrt(np.diag(solution.covariance)) * solution.scatter


def test_the_ozone_monitor_calibration_has_its_certified_line():
    # Source: NIST Statistical Reference Datasets, "Norris", file inside scipy's wheel, lines 31-46 and 61-96.
    lines = (files("scipy.stats.tests") / "data/nist_linregress/Norris.dat").read_text().splitlines()
    y, x = np.array([[float(word) for word in line.split()] for line in lines[60:96]]).T
    solution, deviations = line_through(x, y)
    assert solution.parameters == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-10)
    assert deviations == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-10)
    assert solution.scatter == pytest.approx(0.884796396144373, rel=1e-10)


def test_a_line_through_the_origin_has_its_certified_slope():
    # Source: NIST Statistical Reference Datasets, "NoInt1" (x 60 to 70, y 130 to 140).
    solution, deviations = line_through(range(60, 71), range(130, 141), constant=False)
    assert solution.parameters[0] == pytest.approx(2.07438016528926, rel=1e-12)
    assert deviations[0] == pytest.approx(0.165289256198347e-1, rel=1e-10)


def test_a_short_line_through_the_origin_has_its_certified_slope():
    # Source: NIST Statistical Reference Datasets, "NoInt2", from memory.
    solution, deviations = line_through([4, 5, 6], [3, 4, 4], constant=False)
    assert solution.parameters[0] == pytest.approx(0.727272727272727, rel=1e-12)
    assert deviations[0] == pytest.approx(0.420827318078432e-1, rel=1e-10)


def test_the_thermometer_calibration_line_agrees_with_its_published_result():
    # Source: JCGM 100:2008 (GUM), annex H.3, table H.6 and H.3.3, H.3.4.
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    solution, deviations = line_through(t - 20, b)
    covariance = solution.covariance * solution.scatter**2
    assert solution.parameters == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    assert deviations == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert covariance[0, 1] / np.prod(deviations) == pytest.approx(-0.930, abs=5e-4)
    assert solution.scatter == pytest.approx(0.0035, abs=5e-5)
    at_30 = np.array([1.0, 10.0])
    assert at_30 @ solution.parameters == pytest.approx(-0.1494, abs=5e-5)
    assert np.sqrt(at_30 @ covariance @ at_30) == pytest.approx(0.0041, abs=5e-5)


def test_a_line_from_one_point_is_refused():
    with pytest.raises(Refused, match="too few or too alike"):
        line_through([1], [2])


def test_a_line_from_two_equal_places_is_refused():
    with pytest.raises(Refused, match="too few or too alike"):
        line_through([1, 1], [2, 3])


def test_no_scatter_is_claimed_without_an_observation_to_spare():
    solution, _deviations = line_through([1, 2], [1, 5])
    assert solution.degrees == 0
    assert solution.scatter == 1.0
