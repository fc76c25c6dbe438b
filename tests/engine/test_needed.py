"""How many pixels a picture needs: one per lenticule across, what the eye resolves along."""

import pytest

from logbook.engine.needed import Threshold, density, eye_pixels_per_inch, threshold
from logbook.engine.plan import make_plan
from logbook.lengths import parse_length


def test_the_eye_resolves_one_minute_of_arc():
    # ISO 8596, acuity 1: one minute of arc at 600 mm is 600 mm x 2.908882e-4 = 0.174533 mm
    assert eye_pixels_per_inch(600) == pytest.approx(25.4 / 0.174533, rel=1e-5)
    assert eye_pixels_per_inch(1200) == pytest.approx(eye_pixels_per_inch(600) / 2)


@pytest.mark.parametrize(("flip", "across", "down"), [("left-right", 60, 145.53), ("up-down", 145.53, 60)])
def test_across_the_ridges_the_lens_decides_and_along_them_the_eye(flip, across, down):
    least = threshold(lpi=60, distance_mm=600, flip=flip)
    assert (least.across, least.down) == pytest.approx((across, down), rel=1e-4)


def test_the_printer_shows_no_more_than_its_own_dots():
    assert threshold(lpi=60, distance_mm=100, flip="left-right", dpi=(720, 360)).down == 360


def test_a_picture_is_asked_for_with_square_pixels_rounded_up_and_a_whole_number_stays():
    assert Threshold(60, 100).pixels((4, 5)) == (400, 500)
    assert Threshold(100, 60).pixels((4.001, 5.001)) == (401, 501)


def _plan(fit):
    size = parse_length("4in"), parse_length("5in")
    return make_plan(lpi="20", dpi="720x360", width=size[0], height=size[1], flip="left-right", pictures=2, fit=fit)


@pytest.mark.parametrize(
    ("fit", "size", "expected"),
    [
        ("crop", (400, 1000), (100, 100)),  # 400 over 4 in; of 1000 rows 500 are shown over 5 in
        ("pad", (400, 1000), (200, 200)),  # the whole height over 5 in
        ("stretch", (400, 1000), (100, 200)),
    ],
)
def test_the_density_after_fitting(fit, size, expected):
    # a border is made of whole dots: at most half a dot in the narrow side's 1440
    assert density(_plan(fit), size) == pytest.approx(expected, rel=1 / 1440)


def test_a_threshold_is_met_on_both_axes_or_not():
    assert Threshold(60, 100).met_by((60, 100))
    assert not Threshold(60, 100).met_by((59.9, 400))
    assert not Threshold(60, 100).met_by((400, 99.9))
