"""Ghosting against an independent ray trace, published crosstalk, and CIE L* of another library."""

import numpy as np
import pytest
import skimage.color
import skimage.registration
from PIL import Image
from skimage import data

from logbook.engine.ghosting import (
    Mixing,
    coded,
    crosstalk,
    disturbing_delta_l,
    ghosts,
    in_words,
    landings_mm,
    lightness,
    linear,
    shares_seen,
    visible_delta_l,
    where_it_shows,
)
from logbook.engine.remedies import remedies, shift
from logbook.refusals import Refused

# "Lenticular printing", encyclopaedia article: p 336.65, r 190.5, e 457 micrometres, n 1.557 (read).
SHEET = Mixing(lens_lpi=25.4 / 0.33665, thickness_mm=0.457, index=1.557, radius_mm=0.1905)
SHARP = {"ink_spread_mm": 0.0, "registration": 0.0, "floor": 0.0}


def test_rays_land_where_an_independent_ray_tracer_puts_them():
    # Exact real rays of a general-purpose ray tracer (its numbers, frozen): micrometres at 457 from the apex, its
    # axis pointing the other way.
    landed = landings_mm(SHEET, apertures=np.array([0.333, 0.666, 0.999])) * 1000
    assert -landed == pytest.approx([-7.1740, -8.4887, 16.6600], abs=2e-4)


def test_the_spot_is_smallest_where_the_ray_tracer_finds_it():
    # RMS spot 6.928 micrometres at 457, 6.629 at 465.451 (the least), 17.305 at the paraxial focus 532.511.
    apertures = np.linspace(-1, 1, 20001)
    for thickness, spot in ((0.457, 6.928), (0.465451, 6.629), (0.532511, 17.305)):
        landed = landings_mm(Mixing(25.4 / 0.33665, thickness, 1.557, 0.1905), apertures=apertures) * 1000
        assert np.sqrt((landed**2).mean()) == pytest.approx(spot, rel=0.02)


def test_the_ray_through_the_middle_of_the_ridge_obeys_snell():
    # Vertex ray at 10 degrees on a 457 micrometre sheet of n 1.557 lands at 51.28799 micrometres (worked by hand).
    landed = landings_mm(SHEET, angle_rad=np.radians(10), apertures=np.zeros(1))
    assert landed[0] * 1000 == pytest.approx(51.28799, abs=1e-4)


def test_a_sharp_lens_in_place_keeps_two_pictures_apart_and_every_row_adds_up():
    for pictures in (2, 3, 5):
        mixed = crosstalk(Mixing(20.0, 3.0, 1.56, ink_spread_mm=0.01, registration=0, floor=0), pictures=pictures)
        assert mixed.sum(axis=1) == pytest.approx(np.ones(pictures))
        assert (np.diag(mixed) == mixed.max(axis=1)).all()
    assert crosstalk(Mixing(SHEET.lens_lpi, 0.457, 1.557, 0.1905, **SHARP), pictures=2)[0, 0] == 1


def test_each_cause_makes_it_worse():
    plain = crosstalk(SHEET, pictures=4)[0, 0]
    for cause in ({"ink_spread_mm": 0.06}, {"registration": 0.1}, {"floor": 0.05}, {"radius_mm": 0.26}):
        known = {"radius_mm": 0.1905, **cause}
        assert crosstalk(Mixing(SHEET.lens_lpi, 0.457, 1.557, **known), pictures=4)[0, 0] < plain
    only_floor = Mixing(SHEET.lens_lpi, 0.457, 1.557, 0.1905, ink_spread_mm=0, registration=0, floor=0.1)
    floor = crosstalk(only_floor, pictures=2)
    assert floor == pytest.approx(np.array([[0.95, 0.05], [0.05, 0.95]]))


def test_unequal_shares_favour_the_wider_picture():
    mixed = crosstalk(Mixing(75.0, 0.457, 1.557, ink_spread_mm=0.05), pictures=2, shares=[0.7, 0.3])
    assert mixed[0, 0] > mixed[1, 1]


def test_lightness_and_srgb_are_those_of_the_standards():
    # CIE 15 (checked with colour-science 0.4.7): Y 0.01 -> 8.9914, 0.18 -> 49.4961, 0.50 -> 76.0693.
    assert lightness(np.array([0.01, 0.18, 0.5])) == pytest.approx([8.9914, 49.4961, 76.0693], abs=5e-5)
    levels = np.arange(256)
    assert (coded(linear(levels)) == levels).all()
    grey = np.repeat(levels[:, None, None], 3, axis=2).astype(np.uint8)
    assert lightness(linear(levels)) == pytest.approx(skimage.color.rgb2lab(grey)[:, 0, 0], abs=0.02)


@pytest.mark.parametrize(("amount", "under", "own", "expected"), [
    (0.01, 1.0, 0.01, 6.443), (0.01, 1.0, 0.18, 0.980), (0.01, 0.0, 1.0, -0.388), (0.05, 1.0, 0.01, 20.295),
    (0.05, 1.0, 0.18, 4.637), (0.05, 0.0, 1.0, -1.966)])
def test_the_change_of_lightness_is_the_worked_one(amount, under, own, expected):
    # One-sided visibility of crosstalk: white on black, white on grey, black on white (worked by hand, Y then L*).
    seen = (1 - amount) * own + amount * under
    assert float(lightness(np.array(seen)) - lightness(np.array(own))) == pytest.approx(expected, abs=6e-4)


def test_light_is_mixed_linearly_and_not_in_levels():
    black, white = np.zeros((4, 4, 3), dtype=np.uint8), np.full((4, 4, 3), 255, dtype=np.uint8)
    found = ghosts([black, white], np.array([[0.9, 0.1], [0.1, 0.9]]))
    assert (found.seen == 89).all()  # IEC 61966-2-1: 10 % light is level 89, not 26
    assert found.delta_l == pytest.approx(np.full((4, 4), 37.842), abs=1e-3)  # L* of 0.1, CIE 15
    assert (found.number, found.visible, found.disturbing) == (pytest.approx(37.842, abs=1e-3), 1, 1)
    assert 4 < disturbing_delta_l() < 6


def test_equal_pictures_show_no_ghost_and_a_dark_sky_shows_the_most():
    # Real photographs: a rocket against a dark sky is the worst case beside a bright cup of coffee.
    rocket = np.asarray(Image.fromarray(data.rocket()).resize((120, 80)))
    coffee = np.asarray(Image.fromarray(data.coffee()).resize((120, 80)))
    mixed = crosstalk(SHEET, pictures=2)
    assert ghosts([coffee, coffee], mixed).number == pytest.approx(0, abs=1e-9)
    assert ghosts([rocket, coffee], mixed).number > ghosts([coffee, coffee[:, ::-1]], mixed).number


def test_what_would_help_leaves_less_and_the_most_helpful_comes_first():
    rocket = np.asarray(Image.fromarray(data.rocket()).resize((120, 80)))
    coffee = np.asarray(Image.fromarray(data.coffee()).resize((120, 80)))
    pictures = [rocket, coffee, rocket, coffee]
    before = ghosts(pictures, crosstalk(SHEET, pictures=4)).number
    helped = remedies(pictures, SHEET, any_order=True, most_pictures=20)
    numbers = [one.number for one in helped]
    assert numbers == sorted(numbers)
    assert max(numbers) < before
    left = {one.words: one.number for one in helped}
    assert left["lower the contrast of every picture to 60 %"] < left["lower the contrast of every picture to 80 %"]
    assert "use every second picture, 2 in all" in left
    assert "put a plain grey picture after each, as a spacer between their strips" in left
    # equal pictures side by side leak into each other without being seen
    orders = {words.removeprefix("where their order is free, lay them ") for words in left if "order" in words}
    assert orders & {"1, 3, 2, 4", "1, 3, 4, 2"}
    # too many for every order: from one picture on the nearest next, and the equal ones end up side by side
    many = [rocket, coffee] * 4
    told = next(one.words for one in remedies(many, SHEET, any_order=True) if "order" in one.words)
    laid = [int(number) % 2 for number in told.rpartition("lay them ")[2].split(", ")]
    assert sorted(laid) in (laid, laid[::-1])
    without_room = remedies(pictures, SHEET, any_order=False, most_pictures=4)
    assert not [one for one in without_room if "spacer" in one.words or "order" in one.words]


def test_a_picture_that_lies_beside_the_first_is_found_as_another_library_finds_it():
    camera = np.repeat(data.camera()[::4, ::4, None], 3, axis=2)
    moved = np.roll(camera, (5, -9), axis=(0, 1))
    across, down = shift(camera, moved)
    found, _, _ = skimage.registration.phase_cross_correlation(camera[:, :, 0], moved[:, :, 0])
    assert (-down, -across) == tuple(found.astype(int))
    pictures = [camera, moved]
    aligned = next(one for one in remedies(pictures, SHEET, any_order=False) if one.words.startswith("move"))
    assert aligned.number == pytest.approx(0, abs=1e-6)
    far = np.roll(camera, camera.shape[0] // 3, axis=0)  # hardly any of it would be left
    for others in ([camera, camera], [camera, far]):
        assert not [one for one in remedies(others, SHEET, any_order=False) if one.words.startswith("move")]


def test_between_the_middles_of_two_zones_both_pictures_are_seen_alike():
    sharp = Mixing(SHEET.lens_lpi, 0.457, 1.557, 0.1905)
    assert shares_seen(sharp, pictures=2, phase=0.75)[0] == crosstalk(
        Mixing(SHEET.lens_lpi, 0.457, 1.557, 0.1905, registration=0), pictures=2)[0, 0]
    assert shares_seen(sharp, pictures=2, phase=0.5) == pytest.approx([0.5, 0.5], abs=0.01)


def test_words_and_picture_follow_the_published_shares():
    assert visible_delta_l() == pytest.approx(0.980, abs=6e-4)  # 1 % of white on Y 0.18, as worked above
    assert [in_words(0.1), in_words(2.0), in_words(9.0)] == ["not seen", "visible", "disturbing"]
    meant = np.full((6, 6, 3), 100, dtype=np.uint8)
    drawn = where_it_shows(meant, np.array([[0.0, 2.0, 9.0] * 2] * 6))
    assert len({tuple(pixel) for pixel in drawn[:, 0]}) == 1
    assert (drawn[:, 1] != drawn[:, 0]).any()
    assert len({tuple(pixel) for pixel in drawn[:, 2]}) == 2  # hatched: the colour does not carry it alone


def test_a_bench_that_cannot_be_is_refused():
    for wrong in ({"lens_lpi": 0}, {"index": 1}, {"floor": 1}, {"ink_spread_mm": -1}, {"radius_mm": 0.01}):
        with pytest.raises(Refused):
            Mixing(**{"lens_lpi": 20.0, "thickness_mm": 3.0, "index": 1.56, **wrong})
    with pytest.raises(Refused):
        ghosts([np.zeros((2, 2, 3)), np.zeros((3, 2, 3))], np.eye(2))
