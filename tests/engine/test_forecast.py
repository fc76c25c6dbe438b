"""A forecast against scipy's least squares on the same design matrix, and against pairings that were simulated."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import lstsq, pinv

from logbook.engine import forecast
from logbook.engine.forecast import Prior, Ruled, adjust
from support.linked_shops import any_pairing, linked_shop, pairing, seen


def _chain():
    """A on P, B on P, B on Q: A on Q was never tested and is linked over two others."""
    near = math.log(20.0)
    return [
        seen("T1", pairing("A", "P"), near + 0.0021, day="1"),
        seen("T2", pairing("B", "P"), near - 0.0012, day="2"),
        seen("T3", pairing("B", "Q"), near - 0.0004, day="3"),
    ]


def test_a_pairing_over_two_others_is_their_sum_and_difference():
    # A·q = A·p + B·q − B·p; weak priors pull by a few parts in a thousand of what they are
    made = adjust(_chain(), prior=Prior(lens=1.0, scale=1.0, mode_or_paper=1e-9))
    value, u = made.of(pairing("A", "Q"))
    assert value == pytest.approx(math.log(20.0) + 0.0021 + 0.0012 - 0.0004, abs=1e-6)
    one = math.hypot(1e-4, forecast.SHEET, forecast.SAME_DAY)
    assert u == pytest.approx(math.sqrt(3 * one**2 + forecast.SHEET**2 + forecast.SAME_DAY**2), rel=1e-3)
    assert made.linked(pairing("A", "Q"))


def test_what_no_test_ties_together_is_prior_only_and_as_wide_as_the_prior():
    made = adjust(_chain())
    assert not made.linked(pairing("A", "R"))
    assert not made.linked(pairing("C", "Q"))
    assert not made.linked(pairing("A", "P", axis="down"))
    value, u = made.of(pairing("C", "R", mode="new", paper="new", nominal=60.0))
    assert value == pytest.approx(math.log(60.0))
    prior = Prior()
    extra = (forecast.SHEET, forecast.SAME_DAY)
    assert u == pytest.approx(math.hypot(prior.lens, prior.scale, prior.mode_or_paper, prior.mode_or_paper, *extra))
    assert adjust(()).of(pairing("C", "R", mode="new", paper="new", nominal=60.0)) == pytest.approx((value, u))


def test_only_the_product_is_measured_the_split_stays_as_uncertain_as_the_prior():
    made = adjust(_chain())
    at = {name: number for number, name in enumerate(made.names)}
    lens = math.sqrt(made.covariance[at["lens A"], at["lens A"]])
    assert made.of(pairing("A", "P"))[1] < 4e-4 < lens
    # the product is the more certain as its two parts hang together
    assert made.covariance[at["lens A"], at["scale P across"]] < 0


dice = st.integers(0, 2**32 - 1)


@settings(max_examples=40, deadline=None)
@given(seed=dice, count=st.integers(1, 25), rules=st.integers(0, 4))
def test_estimates_covariance_and_redundancy_are_scipys_on_the_same_design_matrix(seed, count, rules):
    rng = np.random.default_rng(seed)
    tests = [
        seen(f"T{number}", any_pairing(rng), math.log(20.0) + rng.normal(0, 0.004), float(rng.uniform(3e-5, 4e-4)),
              day=str(rng.integers(0, 5)))
        for number in range(count)
    ]
    read = [Ruled(f"R{number}", any_pairing(rng), float(rng.normal(0, 0.001)), 0.001) for number in range(rules)]
    made = adjust(tests, read)
    rows, values, u, names = forecast._equations(tests, read, Prior())
    design = np.array([[float(name in row) for name in names] for row in rows])
    whitened, wanted = design / u[:, None], values / u
    solution = lstsq(whitened, wanted)[0]
    covariance = pinv(whitened.T @ whitened)
    assert made.estimates == pytest.approx(solution, rel=1e-7, abs=1e-9)
    assert made.covariance == pytest.approx(covariance, rel=1e-5, abs=1e-13)
    hat = whitened @ covariance @ whitened.T
    assert [one.redundancy for one in made.checks] == pytest.approx(1 - np.diag(hat)[:count], abs=1e-6)
    # redundancy numbers add up to the equations that are too many (Baarda)
    assert np.trace(np.eye(len(rows)) - hat) == pytest.approx(len(rows) - len(names), abs=1e-6)


def test_a_test_alone_cannot_be_checked_and_a_wrong_one_among_many_is_named():
    alone = adjust([seen("T1", pairing(), math.log(20.1))], prior=Prior(1.0, 1.0, 1.0))
    assert [one.verdict for one in alone.checks] == ["cannot be checked"]
    many = [seen(f"T{day}", pairing(), math.log(20.1) + (0.003 if day == 7 else 0), day=str(day)) for day in range(9)]
    assert [one.name for one in adjust(many).checks if one.verdict == "suspect"] == ["T7"]
    assert {one.verdict for one in adjust(many[:7]).checks} == {"agrees"}


def test_the_stated_uncertainty_holds_for_pairings_that_were_never_tested():
    # 400 simulated shops, fixed seeds: the truth lies within 1.96 u in about 95 of 100 (90 … 99 allowed for chance)
    inside, count = 0, 400
    for seed in range(count):
        truth, tests, wanted = linked_shop(np.random.default_rng(seed))
        value, u = adjust(tests).of(wanted)
        inside += abs(value - truth) <= 1.96 * u
    assert 0.90 <= inside / count <= 0.99


def test_a_rule_reading_fixes_the_split_as_far_as_the_rule_reaches():
    at_first, ruled = adjust(_chain()), adjust(_chain(), [Ruled("R", pairing("A", "P"), 0.0004, 0.0002)])

    def u_of(made, name):
        number = made.names.index(name)
        return math.sqrt(made.covariance[number, number])

    assert u_of(ruled, "scale P across") < u_of(at_first, "scale P across")
    assert ruled.of(pairing("A", "Q"))[0] == pytest.approx(at_first.of(pairing("A", "Q"))[0], abs=3e-4)
