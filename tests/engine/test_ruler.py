"""The ruler over single dots, against the phase counted with plain fractions."""

from fractions import Fraction
from math import floor

import numpy as np
import pytest
from PIL import Image

from logbook.engine.interlace import interlace
from logbook.engine.plan import make_plan
from logbook.engine.readback import read_raster
from logbook.engine.ruler import DEEP, LONG, ROW, ruled
from logbook.lengths import parse_length
from logbook.refusals import Refused

LPI, DPI = Fraction("20.12"), Fraction(720)
PER_MM = DPI * 10 / 254


@pytest.fixture(params=["left-right", "up-down", "reversed"])
def printed(request, tmp_path):
    for name, level in (("white", 255), ("black", 0)):
        Image.new("L", (40, 40), level).save(tmp_path / f"{name}.png")
    flip = "up-down" if request.param == "up-down" else "left-right"
    plan = make_plan(lpi="20.12", dpi="720", width=parse_length("30mm"), height=parse_length("30mm"), flip=flip,
                     pictures=2, reversed_sheet=request.param == "reversed")
    interlace(plan, [tmp_path / "white.png", tmp_path / "black.png"], tmp_path / "out.tif")
    return request.param, read_raster(tmp_path / "out.tif")


def _along(canvas, kind):
    """Pixels of the canvas with the pitch axis across, as (beside, along) grey levels."""
    pixels = np.asarray(canvas.convert("L"))
    return pixels.T if kind == "up-down" else pixels


def _lenticules(dot, kind, count):
    return (count - dot if kind == "reversed" else dot) * LPI / DPI


def test_every_dot_under_the_ruler_is_white_where_picture_1_has_its_strip(printed):
    kind, raster = printed
    places = {"from_left_mm": 7.0, "from_top_mm": 7.0}
    pixels = _along(ruled(raster, **places, length_mm=5), kind)
    first = floor(7 * PER_MM)
    count = raster.dots[0]
    for pixel in range(0, LONG, 7):
        dot = first + floor((pixel + Fraction(1, 2)) * 5 * PER_MM / LONG)
        phase = _lenticules(Fraction(2 * dot + 1, 2), kind, count) % 1
        assert (pixels[3 * ROW + DEEP // 2, pixel] == 255) == (phase >= Fraction(1, 2))  # PICTURE 1: the right half


def test_the_lines_of_the_lenticules_stand_where_the_pitch_puts_them(printed):
    kind, raster = printed
    pixels = _along(ruled(raster, from_left_mm=12.0, from_top_mm=12.0, length_mm=10), kind)
    first, count = floor(12 * PER_MM), raster.dots[0]
    drawn = np.flatnonzero(pixels[2 * ROW - 5] < 60)
    expected = []
    for pixel in range(LONG):
        here, there = (first + at * 10 * PER_MM / LONG for at in (pixel, pixel + 1))
        if floor(_lenticules(here, kind, count)) != floor(_lenticules(there, kind, count)):
            expected.append(pixel)
    assert len(expected) == 8 or len(expected) == 7  # 10 mm hold 7.92 lenticules
    for place in expected:
        assert np.abs(drawn - place).min() <= 1


def test_whole_millimetres_have_the_longer_lines(printed):
    kind, raster = printed
    pixels = _along(ruled(raster, from_left_mm=0, from_top_mm=0, length_mm=5), kind)
    long_lines = np.flatnonzero(pixels[ROW - 10, 1:-1] < 60) + 1
    assert {144, 288, 432, 576} <= set(long_lines.tolist())  # 720 pixels for 5 mm


def test_a_lenticule_too_narrow_for_its_number_goes_without(tmp_path):
    Image.new("L", (40, 40), 255).save(tmp_path / "white.png")
    counted = []
    for lpi in ("20", "75"):  # 720 pixels for 20 mm: 46 and 12 for a lenticule
        plan = make_plan(lpi=lpi, dpi="720", width=parse_length("30mm"), height=parse_length("30mm"),
                         flip="left-right", pictures=2)
        interlace(plan, [tmp_path / "white.png"] * 2, tmp_path / "out.tif")
        pixels = np.asarray(ruled(read_raster(tmp_path / "out.tif"), from_left_mm=0, from_top_mm=0,
                                  length_mm=20).convert("L"))
        dark = pixels[ROW + 3:2 * ROW - 3] < 100
        counted.append(int((dark & ~dark.all(axis=0)).sum()))  # what is no line from edge to edge
    assert counted[0] > 0
    assert counted[1] == 0


def test_a_place_beyond_the_print_is_moved_inside(printed):
    kind, raster = printed
    canvas = ruled(raster, from_left_mm=900, from_top_mm=900, length_mm=20)
    size = (LONG, DEEP + 3 * ROW)
    assert canvas.size == (size[::-1] if kind == "up-down" else size)


def test_a_file_without_its_story_is_refused(tmp_path):
    Image.new("L", (300, 300), 255).save(tmp_path / "plain.tif", dpi=(720, 720))
    with pytest.raises(Refused, match="does not say"):
        ruled(read_raster(tmp_path / "plain.tif"), from_left_mm=0, from_top_mm=0, length_mm=5)
