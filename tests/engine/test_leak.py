"""Nulling: the algebra, the sheet's dots, the printed tone, and readers of the tests' own who look through a lens."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
import skimage.color

from logbook.engine.ghosting import Mixing, crosstalk
from logbook.engine.leak import (
    Nulled,
    Series,
    agree,
    as_measured,
    balanced_leak,
    balancing,
    joined,
    nulled,
)
from logbook.engine.leaksheet import (
    FIELD_LIGHT,
    draw_leak_sheet,
    make_leak_sheet,
    series,
    sidecar,
    wedge_levels,
)
from logbook.engine.tone import PLAIN, UNIT, Tone, levels_of
from logbook.refusals import Refused
from simulated_bench import nulling
from support.leak_reading import found_leaks, ghosts_left, read_by, small
from support.shop_walk import PHOTOGRAPHS

DPI = (Fraction(300), Fraction(300))


@pytest.fixture(scope="module", params=["left-right", "up-down"])
def sheet(request):
    made = make_leak_sheet(lpi=Decimal("20.12"), dpi=DPI, flip=request.param, code="ABCD2345")
    return draw_leak_sheet(made), sidecar(made), made


def test_a_patch_cancels_its_own_leak_and_no_other():
    # seen = M * I (check by hand): (1 - c) * mark + c * 1 = (1 - c) * field + c * 0, light marks; dark the other way
    for leak in (0.01, 0.05, 0.15):
        light, dark = balancing(0.25, leak, dark=False), balancing(0.25, leak, dark=True)
        assert (1 - leak) * light + leak == pytest.approx((1 - leak) * 0.25)
        assert (1 - leak) * dark == pytest.approx((1 - leak) * 0.25 + leak)
        assert balanced_leak(0.25, light) == pytest.approx(leak) == balanced_leak(0.25, dark)


def test_the_plain_tone_is_that_of_srgb():
    levels = np.arange(60, 256)
    grey = np.repeat(levels[:, None, None], 3, axis=2).astype(np.uint8)
    expected = skimage.color.rgb2xyz(grey)[:, 0, 1]  # IEC 61966-2-1, another library
    assert PLAIN.lights()[levels] / UNIT == pytest.approx(expected, abs=0.008)
    assert PLAIN.light(PLAIN.level(0.25)) == pytest.approx(0.25, abs=0.002)


def test_a_tone_runs_through_its_matches_and_rises_with_every_level():
    tone = Tone(Decimal(90), Decimal(120), Decimal(180))
    assert [tone.light(level) for level in (0, 90, 120, 180, 255)] == pytest.approx([0, 0.125, 0.25, 0.5, 1])
    for bits in (8, 16):
        assert (np.diff(tone.lights(bits)) >= 0).all()
    assert (levels_of(tone.lights(), tone.lights())[20:] == np.arange(20, 256)).all()
    assert tone.lights(16)[257 * 120] == pytest.approx(tone.lights()[120], abs=1)
    with pytest.raises(Refused, match="lighter"):
        Tone(Decimal(90), Decimal(80), Decimal(180))


def test_the_middle_is_the_leak_and_half_the_distance_its_bound():
    row = series("light")
    third, fifth = (row.leaks(PLAIN)[at] for at in (3, 5))
    found = nulled(row, PLAIN, shows=3, turned=5)
    assert (found.leak, found.bound, found.tone_bound) == pytest.approx(((third + fifth) / 2, (fifth - third) / 2, 0))
    assert third == pytest.approx(0.03, abs=0.0025)  # an 8-bit level is 0.4 % of light there
    assert nulled(row, PLAIN, shows=None, turned=1).leak == pytest.approx(row.leaks(PLAIN)[1] / 2)
    assert nulled(row, PLAIN, shows=3, turned=5, wedge_step=0.03).tone_bound > 0


@pytest.mark.parametrize(("shows", "turned", "words"), [
    (15, None, "more than 15 %"), (None, 0, "Patch 0"), (6, 5, "further right"), (5, 5, "further right")])
def test_taps_that_cannot_be_are_refused(shows, turned, words):
    with pytest.raises(Refused, match=words) as refusal:
        nulled(series("dark"), PLAIN, shows=shows, turned=turned)
    assert refusal.value.field == "turned"


def test_light_and_dark_marks_make_one_leak_or_say_that_they_disagree():
    one, other = Nulled(0.04, 0.005), Nulled(0.05, 0.01)
    assert joined(one, other).leak == pytest.approx(0.045)
    assert joined(one, other).bound == 0.01
    assert agree(one, other)
    assert not agree(one, Nulled(0.07, 0.005))
    assert joined(one, Nulled(0.07, 0.005)).bound == pytest.approx(0.015)


def test_every_lenticule_holds_one_patch_and_each_picture_what_it_should(sheet):
    raster, told, made = sheet
    owner = nulling._owner(told)
    sideways = told["flip"] == "up-down"
    for row in told["rows"]:
        for patch in row["patches"]:
            left, top, right, bottom = patch["mark_dots"]
            dots = raster[top:bottom, left:right]
            mine = owner[top:bottom] == row["into"] if sideways else owner[left:right] == row["into"]
            own, other = (dots[mine], dots[~mine]) if sideways else (dots[:, mine], dots[:, ~mine])
            assert set(np.unique(own)) == {patch["level"]}
            assert set(np.unique(other)) == {255 if row["mark"] == "light" else 0}
            edges = (top, bottom) if sideways else (left, right)
            per_dot = Fraction("20.12") / 300
            # the mark begins with the first dot of a lenticule: the dot before belongs to another one
            assert all((edge * per_dot + per_dot / 2) // 1 == ((edge - 1) * per_dot + per_dot / 2) // 1 + 1
                       for edge in edges)
    assert len(told["rows"]) == 4
    assert {len(row["patches"]) for row in told["rows"]} == {16}
    assert made.rows[0].series.field == PLAIN.level(FIELD_LIGHT)


def test_the_patterns_of_the_wedge_are_white_by_their_share(sheet):
    raster, told, _ = sheet
    for row in told["wedge"]:
        left, top, right, bottom = row["box_dots"]
        for strip in (raster[top:top + row["pattern_dots_high"], left:right],
                      raster[bottom - row["pattern_dots_high"]:bottom, left:right]):
            assert (strip == 255).mean() == pytest.approx(1 / row["white_dot_in"], rel=0.03)
        assert list(row["levels"]) == list(wedge_levels(row["white_dot_in"]))


def test_a_lens_that_is_too_coarse_or_too_fine_is_refused():
    for lpi in ("9.5", "170"):
        with pytest.raises(Refused):
            make_leak_sheet(lpi=Decimal(lpi), dpi=DPI, flip="left-right", code="ABCD2345")


def test_nulling_finds_the_leak_within_its_bound(sheet):
    # 30 invented benches of the tests' own, both directions each; tests/benchmarks/leak.py prints more of them
    raster, told, _ = sheet
    outcomes = [one for bench in nulling.benches(30, seed=9)
                for one in found_leaks(raster, told, bench, np.random.default_rng(int(bench.gamma * 1e6)))]
    assert np.mean([abs(found.leak - true) <= found.bound + found.tone_bound for true, found in outcomes]) >= 0.95
    assert np.mean([abs(found.leak - true) for true, found in outcomes]) < 0.005


def test_a_correction_for_the_leak_that_was_read_leaves_less_of_the_ghost(sheet):
    # looked at by the tests' own bench, which knows the true leak; tests/benchmarks/leak.py prints more of them
    raster, told, _ = sheet
    pictures, rng = small(PHOTOGRAPHS), np.random.default_rng(4)
    plain, whole, lowered, kept = np.array(
        [ghosts_left(raster, told, bench, rng, pictures) for bench in nulling.benches(12, seed=4)]).T
    assert np.median(lowered) < np.median(whole) < np.median(plain)
    assert np.median(lowered) < np.median(plain) / 3
    assert (lowered < plain).all()
    assert (0.7 < kept).all()
    assert (kept < 1).all()


def test_without_the_wedge_a_darker_printer_gives_a_wrong_leak(sheet):
    raster, told, _ = sheet
    bench = nulling.Bench(leaks=(0.10, 0.10), gamma=2.8)
    rows, _ = read_by(raster, told, bench, np.random.default_rng(1))
    light = Series(rows[0].field, rows[0].marks)
    shows, turned = nulling.taps(raster, told, bench, np.random.default_rng(1))[0]
    assert abs(nulled(light, PLAIN, shows=shows, turned=turned).leak - 0.10) > 0.01
    assert all(abs(found.leak - 0.10) < 0.008
               for _, found in found_leaks(raster, told, bench, np.random.default_rng(1)))


def test_the_model_takes_the_measured_leak_in_place_of_its_own():
    lens = Mixing(20.0, 3.0, 1.56)
    measured = as_measured(lens, into_first=0.03, into_last=0.05)
    still = Mixing(20.0, 3.0, 1.56, registration=0.0, gains=measured.gains)
    assert crosstalk(still, pictures=2) == pytest.approx(np.array([[0.97, 0.03], [0.05, 0.95]]))
    for pictures in (2, 3, 6):
        rows = crosstalk(measured, pictures=pictures)
        assert rows.sum(axis=1) == pytest.approx(np.ones(pictures))
        assert rows.min() >= 0
    more = crosstalk(as_measured(lens, into_first=0.06, into_last=0.06), pictures=4)
    assert more[0, 0] < crosstalk(as_measured(lens, into_first=0.03, into_last=0.03), pictures=4)[0, 0]


def test_a_model_that_leaks_nothing_is_still_given_what_was_measured():
    sharp = Mixing(25.4 / 0.33665, 0.457, 1.557, 0.1905, ink_spread_mm=0, registration=0, floor=0)
    assert crosstalk(as_measured(sharp, into_first=0.02, into_last=0.04), pictures=2) == pytest.approx(
        np.array([[0.98, 0.02], [0.04, 0.96]]))
