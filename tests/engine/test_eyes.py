"""Two eyes before a print, against the bench of the tests' own and the geometry of two-view displays."""

from decimal import Decimal

import numpy as np
import pytest
from PIL import Image

from logbook.engine import eyes
from logbook.engine.interlace import interlace
from logbook.engine.plan import make_plan
from logbook.engine.readback import read_raster
from logbook.lengths import parse_length
from logbook.refusals import Refused

THICK, INDEX, DISTANCE = 3.0, 1.56, 600.0


def printed(folder, flip="left-right", pictures=2, lpi="20.00", **more):
    files = []
    for number in range(pictures):
        files.append(folder / f"{number}.png")
        Image.new("L", (40, 40), 255 * number // (pictures - 1)).save(files[-1])
    plan = make_plan(lpi=lpi, dpi="720", width=parse_length("4in"), height=parse_length("4in"), flip=flip,
                     pictures=pictures, **more)
    interlace(plan, files, folder / "out.tif")
    return read_raster(folder / "out.tif")


def pair(raster, *, distance=DISTANCE, beside=0.0, lpi="20.00", apart=63.0):
    sheet = eyes.lens_for(Decimal(lpi), thickness_mm=THICK, index=INDEX, distance_mm=DISTANCE)
    return [eyes.shares(raster, eyes.dots_seen(raster, sheet, distance_mm=distance, eye_mm=place))
            for place in eyes.eye_places(raster, beside_mm=beside, apart_mm=apart)]


def test_before_the_middle_the_left_eye_sees_picture_1_and_the_right_eye_picture_2(tmp_path):
    # 4 in hold 80 lenticules: the middle of the print is a border of two, so the zone of each picture begins at the
    # middle plane and is half of p n D / e = 1.27 x 1.56 x 600 / 3 = 396 mm wide: the eyes stand 31.5 mm inside.
    left, right = pair(printed(tmp_path))
    assert left[1] > 0.98
    assert right[2] > 0.98
    assert eyes.in_words(left, right).startswith("The left eye sees PICTURE 1 and the right eye PICTURE 2")


def test_a_step_aside_both_eyes_see_the_same_picture(tmp_path):
    raster = printed(tmp_path)
    left, right = pair(raster, beside=100.0)
    assert (left[2] > 0.98, right[2] > 0.98) == (True, True)
    assert eyes.in_words(left, right) == "Both eyes see PICTURE 2: the print is calm here."
    left, right = pair(raster, beside=-100.0)
    assert (left[1] > 0.98, right[1] > 0.98) == (True, True)


def test_far_too_near_no_single_picture_fills_the_width(tmp_path):
    left, right = pair(printed(tmp_path), distance=120.0)
    assert max(left.values()) < 0.8
    assert "No single picture" in eyes.in_words(left, right)


def test_with_an_up_down_flip_both_eyes_see_the_same(tmp_path):
    left, right = pair(printed(tmp_path, flip="up-down"), beside=60.0)
    assert left == right
    assert left[2] > 0.98  # from below


def test_the_view_of_a_reversed_sheet_is_that_of_the_plain_one(tmp_path):
    (tmp_path / "plain").mkdir()
    (tmp_path / "turned").mkdir()
    bleed = parse_length("3mm")
    plain = printed(tmp_path / "plain", lpi="19.87", bleed=bleed)
    turned = printed(tmp_path / "turned", lpi="19.87", bleed=bleed, reversed_sheet=True)
    assert pair(plain, lpi="19.87", beside=20.0) == pair(turned, lpi="19.87", beside=20.0)


def test_the_lens_is_the_one_that_a_ray_through_its_ridges_asks_for():
    # engine of the pitch: p = L / (1 + t / (n D)); 20.12 lines, 3 mm, 1.56, 2 m gives 20.1006 (worked by hand)
    sheet = eyes.lens_for(Decimal("20.1006"), thickness_mm=3.0, index=1.56, distance_mm=2000.0)
    assert sheet.lens_lpi == pytest.approx(20.12, abs=1e-3)


def test_two_views_stand_side_by_side_the_left_eyes_at_the_left(tmp_path):
    raster = printed(tmp_path)
    sheet = eyes.lens_for(Decimal("20.00"), thickness_mm=THICK, index=INDEX, distance_mm=DISTANCE)
    views = tuple(eyes.view(raster, eyes.dots_seen(raster, sheet, distance_mm=DISTANCE, eye_mm=place), long_side=100)
                  for place in (-31.5, 31.5))
    pixels = np.asarray(eyes.side_by_side(views))
    assert pixels.shape == (100, 204, 3)
    assert (pixels[50, 50], pixels[50, 150]) == (pytest.approx([0, 0, 0]), pytest.approx([255, 255, 255]))


def test_a_file_without_its_story_is_refused(tmp_path):
    Image.new("L", (30, 30)).save(tmp_path / "plain.tif", dpi=(720, 720))
    with pytest.raises(Refused):
        eyes.dots_seen(read_raster(tmp_path / "plain.tif"), eyes.Sheet(20.0, 3.0, 1.56), distance_mm=600.0, eye_mm=0.0)
