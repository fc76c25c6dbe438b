"""Choosing a lens by numbers: against published geometry and the eye's minute of arc."""

import math

import pytest

from logbook.engine.choosing import EYES_MM, LensType, Use, line_arcmin, looks, rank, rule_of_thumb

# Source: "Lenticular printing", encyclopaedia article, worked example: p 336.65 µm, e 457, n 1.557.
PUBLISHED = LensType(25.4 / 0.33665, 0.457, 1.557)
PRINTERS = {"fine": (1440.0, 720.0), "coarse": (360.0, 360.0)}


def _use(**changes):
    known = {"width_in": 4, "height_in": 5, "distance_mm": 300, "flip": "left-right", "use": "hand", "pictures": 2}
    return Use(**{**known, **changes})


def test_a_ridge_looks_one_minute_wide_where_the_eye_stops_seeing_it():
    # ISO 8596: acuity 1 resolves one minute of arc; 1/60 degree at 1 m is 0.290888 mm
    assert line_arcmin(25.4 / 0.290888, 1000) == pytest.approx(1, rel=1e-5)
    assert line_arcmin(20, 600) == pytest.approx(60 * math.degrees(1.27 / 600), rel=1e-5)


def test_view_angle_and_zone_are_those_of_the_published_example():
    found = looks(PUBLISHED, _use(), printers={})
    assert found.view_deg == pytest.approx(59.6671, abs=5e-5)  # paraxial 2·atan(p·n/2e), recomputed
    assert found.picture_zone_mm == pytest.approx(344.090 / 2, abs=1e-3)  # p·n·D/e at 300 mm, for two pictures


@pytest.mark.parametrize(("pictures", "together"), [(2, True), (5, True), (6, False)])
def test_both_eyes_fall_into_one_picture_as_long_as_it_is_wider_than_they_are_apart(pictures, together):
    # 344.09 mm shared by five are 68.8 mm, by six 57.3 mm; eyes 63 mm apart (published two-view geometry)
    assert EYES_MM == 63
    assert looks(PUBLISHED, _use(pictures=pictures), printers={}).eyes_together is together


def test_eyes_that_lie_along_the_ridges_always_see_one_picture():
    assert looks(PUBLISHED, _use(pictures=40, flip="up-down"), printers={}).eyes_together is True


@pytest.mark.parametrize(
    ("effect", "pictures", "flip", "against"),
    [("flip", 2, "left-right", 0), ("flip", 6, "left-right", 1), ("", 6, "left-right", 1),
     ("depth", 2, "left-right", 1), ("depth", 6, "left-right", 0), ("depth", 6, "up-down", 1),
     ("sequence", 6, "left-right", 1)],
)  # fmt: skip
def test_depth_wants_the_eyes_apart_and_everything_else_together(effect, pictures, flip, against):
    # five pictures and fewer are wider than eyes are apart, see above; with ridges across both eyes see one picture
    use = _use(effect=effect, pictures=pictures, flip=flip, use="hand")
    assert looks(PUBLISHED, use, printers={}).against - (rule_of_thumb(PUBLISHED.lpi, "hand") is False) == against


def test_dots_per_strip_run_along_the_pitch_axis():
    # common practice, no source: 9 + 9 dots for two pictures at 20.12 lines and 362.16 dots per inch
    found = looks(LensType(20.12), _use(), printers={"whole": (362.16, 100.0)})
    assert found.dots_per_strip["whole"] == pytest.approx(9)
    up_down = looks(LensType(20), _use(flip="up-down"), printers=PRINTERS)
    assert dict(up_down.dots_per_strip) == {"fine": 18, "coarse": 9}
    assert up_down.best_dots == 18


def test_what_the_makers_sheet_does_not_say_is_not_judged():
    found = looks(LensType(60), _use(), printers={})
    assert (found.view_deg, found.picture_zone_mm, found.eyes_together, found.sheet_fits) == (None, None, None, None)
    assert found.best_dots is None
    assert found.possible


@pytest.mark.parametrize(
    ("sheets", "fits"), [(((4, 5),), True), (((5, 4),), False), (((3.9, 9),), False), (((3, 3), (8, 10)), True)]
)
def test_a_sheet_is_not_turned_to_fit(sheets, fits):
    found = looks(LensType(60, sheets_in=sheets), _use(), printers={})
    assert found.sheet_fits is fits
    assert found.possible is fits


@pytest.mark.parametrize(
    ("lpi", "use", "said"),
    [(60, "hand", True), (49.9, "hand", False), (75.1, "hand", False), (20, "wall", True), (40, "wall", None)],
)
def test_the_trades_rule_of_thumb(lpi, use, said):
    """Common practice, no source."""
    assert rule_of_thumb(lpi, use) is said


def test_a_lens_that_cannot_be_made_comes_last_and_fewer_reasons_against_come_first():
    types = {
        "60": LensType(60, 0.62, 1.57),
        "75": LensType(75, 0.46, 1.57),
        "20": LensType(20, 2.4, 1.57),
        "60, small": LensType(60, 0.62, 1.57, ((2, 2),)),
    }
    found = {name: looks(lens, _use(), printers=PRINTERS) for name, lens in types.items()}
    assert rank(found) == ["75", "60", "20", "60, small"]
    assert found["20"].against == 1  # the rule of thumb only
    coarse = {name: looks(lens, _use(pictures=12), printers={"coarse": (360, 360)}) for name, lens in types.items()}
    assert not coarse["60"].possible  # 360 dots for 720 strips
    assert coarse["20"].possible  # 360 dots for 240 strips
    assert rank(coarse)[0] == "20"
