"""The leak undone: published algebra, an outside solver, and what a lens of the tests' own makes of the levels."""

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from logbook.engine.ghosting import Mixing
from logbook.engine.leak import as_measured, measured_matrix
from logbook.engine.leakcorrection import Correction, exact, light_of, of_told, reachable
from logbook.engine.tone import PLAIN, Tone
from logbook.refusals import Refused


def neighbours(pictures, leak):
    """Every picture takes ``leak`` from each of its neighbours, the last and the first lying side by side."""
    rows = np.eye(pictures) * (1 - 2 * leak if pictures > 2 else 1 - leak)
    for at in range(pictures):
        for other in {(at - 1) % pictures, (at + 1) % pictures}:
            rows[at, other] += leak
    return exact(rows)


@pytest.mark.parametrize(("leak", "own", "other"), [
    (0.01, 1.010204, -0.010204), (0.05, 1.055556, -0.055556), (0.10, 1.125, -0.125)])
def test_the_inverse_of_two_pictures_is_the_published_one(leak, own, other):
    # M = [[1-c, c], [c, 1-c]] (IEEE Trans. Image Process. 9(5) 897-908, 2000; numbers recomputed by hand)
    found = Correction(neighbours(2, leak), PLAIN).unlimited(np.eye(2))
    assert found == pytest.approx(np.array([[own, other], [other, own]]), abs=1e-6)


def test_the_inverse_of_four_pictures_that_leak_to_their_neighbours():
    row = Correction(neighbours(4, 0.05), PLAIN).unlimited(np.eye(4))[0]
    assert row == pytest.approx([1.118056, -0.0625, 0.006944, -0.0625], abs=1e-6)  # as above


def test_what_is_out_of_reach_is_not_merely_cut_off():
    # c = 0.05, (0.02, 0.90): M⁻¹ gives (-0.028889, 0.948889), cut off (0, 0.948889), nearest (0, 0.945856)
    correction, wanted = Correction(neighbours(2, 0.05), PLAIN), np.array([[0.02], [0.90]])
    free, found = correction.unlimited(wanted), correction.printed(wanted)
    assert free.ravel() == pytest.approx([-0.028889, 0.948889], abs=1e-6)
    assert found.ravel() == pytest.approx([0, 0.945856], abs=1e-6)
    cut = np.sum((correction.seen(free.clip(0, 1)) - wanted) ** 2)
    assert np.sum((correction.seen(found) - wanted) ** 2) < cut


@pytest.mark.parametrize(("pictures", "mixing"), [
    (2, neighbours(2, 0.09)), (4, neighbours(4, 0.08)),
    *((count, exact(measured_matrix(as_measured(Mixing(75, 0.457, 1.557), into_first=0.03, into_last=0.05),
                                    pictures=count))) for count in (3, 8, 12))])
def test_every_light_is_what_another_solver_finds(pictures, mixing):
    correction = Correction(mixing, PLAIN)
    wanted = np.random.default_rng(5).choice([0.0, 0.1, 0.4, 0.9, 1.0], size=(pictures, 40))
    found = correction.printed(wanted)
    shares = np.array(mixing, dtype=float)
    for at in range(wanted.shape[1]):  # scipy.optimize.lsq_linear, bounded-variable least squares
        best = lsq_linear(shares, wanted[:, at], bounds=(0, 1), method="bvls", tol=1e-14)
        assert found[:, at] == pytest.approx(best.x, abs=2e-5)
    # a pixel's light does not hang on which others are computed with it
    assert (correction.printed(wanted[:, 7:8]) == found[:, 7:8]).all()


def test_contrast_is_lowered_to_what_two_pictures_can_reach_and_no_further():
    correction = Correction(neighbours(2, 0.05), PLAIN)
    corners = np.array([[0, 0, 1, 1], [0, 1, 0, 1]], dtype=float)
    lowered = reachable(correction, corners)
    # without clipping targets lie in [c, 1 - c]: White and black of one picture against those of the other
    assert (lowered.kept, lowered.lowest) == (Decimal("0.9"), Decimal("0.05"))
    printed = lowered.printed(lowered.wanted(corners))
    assert lowered.seen(printed) == pytest.approx(lowered.wanted(corners), abs=1e-6)
    assert (printed.min(), printed.max()) == pytest.approx((0, 1), abs=1e-9)
    assert reachable(correction, np.full((2, 3), 0.5)).kept == 1


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_the_printed_levels_show_what_is_meant_through_a_lens_that_leaks(kind):
    rng, top = np.random.default_rng(8), np.iinfo(kind).max
    tone = Tone(Decimal(90), Decimal(125), Decimal(180))
    correction = Correction(exact(np.array([[0.96, 0.04], [0.07, 0.93]])), tone, Decimal("0.8"), Decimal("0.1"))
    meant = [rng.integers(0, top + 1, (9, 7, 3)).astype(kind) for _ in range(2)]
    made = correction.levels(meant)
    assert {one.dtype for one in made} == {np.dtype(kind)}
    lights = tone.lights(8 * np.dtype(kind).itemsize) / tone.lights()[-1]
    seen = 0.96 * lights[made[0]] + 0.04 * lights[made[1]], 0.07 * lights[made[0]] + 0.93 * lights[made[1]]
    for one, other in zip(seen, meant, strict=True):
        assert one == pytest.approx(0.1 + 0.8 * lights[other], abs=0.006 if kind is np.uint8 else 4e-5)
    plain = 0.07 * lights[meant[0]] + 0.93 * lights[meant[1]]
    assert np.abs(plain - lights[meant[1]]).max() > 0.04  # without a correction


def test_a_correction_is_told_and_read_back_exactly():
    correction = Correction(neighbours(3, 0.031), PLAIN, Decimal("0.941"), Decimal("0.0291"))
    assert of_told(correction.told()) == correction
    assert correction.in_words() == "Corrected for a leak of 6.2 % from all others together, contrast 94 %"
    assert light_of(PLAIN, np.array([0, 255])).tolist() == [0, 1]


def test_what_cannot_be_corrected_is_refused():
    good = Correction(neighbours(2, 0.05), PLAIN)
    for wrong in (replace_row(good, (Decimal("0.9"), Decimal("0.2"))), replace_row(good, (Decimal(1),))):
        with pytest.raises(Refused, match="rows sum to one"):
            Correction(wrong, PLAIN)
    with pytest.raises(Refused, match="Less than half"):
        Correction(neighbours(2, 0.6), PLAIN)
    with pytest.raises(Refused, match="24 pictures at most"):
        Correction(neighbours(25, 0.01), PLAIN)
    with pytest.raises(Refused, match="contrast"):
        replace(good, kept=Decimal("0.9"), lowest=Decimal("0.2"))


def replace_row(correction, row):
    return (row, *correction.matrix[1:])
