"""Pitch charts, dot for dot against exact fractions, and what stands around the lens box."""

from decimal import Decimal
from fractions import Fraction

import cv2
import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st

from logbook.engine.chart import band_pitches, draw_chart, fine_step, make_chart, sidecar
from logbook.engine.resolution import parse_dpi
from logbook.lengths import parse_length
from logbook.refusals import Refused

MM = Fraction(10, 254)  # in inches; 1 inch = 25.4 mm exactly since 1 July 1959


def chart(**asked):
    wanted = {"lpi": "19.9", "step": "0.1", "bands": 5, "dpi": "300", "length": "4in", "band_height": "4mm"} | asked
    return make_chart(lpi=Decimal(wanted["lpi"]), step=Decimal(wanted["step"]), bands=wanted["bands"],
                      dpi=parse_dpi(wanted["dpi"]), length=parse_length(wanted["length"]),
                      band_height=parse_length(wanted["band_height"]), gap=parse_length(wanted.get("gap", "2mm")),
                      flip=wanted.get("flip", "left-right"), mirrored=wanted.get("mirrored", False),
                      code=wanted.get("code"))


def exact_row(count, *, lpi, dpi):
    """Black exactly where the fraction of (i + 1/2)·lpi/dpi is under a half, in rational numbers."""
    step = Fraction(lpi) / Fraction(dpi)
    return [0 if ((i + Fraction(1, 2)) * step) % 1 < Fraction(1, 2) else 255 for i in range(count)]


@pytest.mark.parametrize("dpi", ["300", "362.16", "719.9"])
def test_every_dot_of_every_band_is_that_of_the_exact_phase(dpi):
    plan = chart(dpi=dpi)
    raster = draw_chart(plan)
    for band in plan.bands:
        left, top, right, bottom = band.box_dots
        assert raster[top, left:right].tolist() == exact_row(right - left, lpi=band.lpi, dpi=Decimal(dpi))
        assert (raster[top:bottom, left:right] == raster[top, left:right]).all()


def test_an_up_down_chart_has_its_lines_along_the_page_and_band_one_at_the_left():
    plan = chart(flip="up-down", dpi="300x240")
    raster = draw_chart(plan)
    lefts = [band.box_dots[0] for band in plan.bands]
    assert lefts == sorted(lefts)
    for band in plan.bands:
        left, top, right, bottom = band.box_dots
        assert raster[top:bottom, left].tolist() == exact_row(bottom - top, lpi=band.lpi, dpi=240)
        assert (raster[top:bottom, left:right] == raster[top:bottom, left:left + 1]).all()
    assert (plan.axis, chart().axis) == ("down", "across")


def lens_box(plan):
    left, top, right, bottom = plan.lens_box_dots
    return draw_chart(plan)[top:bottom, left:right]


def test_a_reversed_chart_mirrors_the_lens_box_left_to_right_and_nothing_else():
    plain, mirrored = chart(code="7KQ2M"), chart(code="7KQ2M", mirrored=True)
    assert (lens_box(mirrored) == lens_box(plain)[:, ::-1]).all()
    side = 29 * 6  # a QR code of version 1 with its quiet zone, six dots to a module at 300 dots per inch
    assert (draw_chart(mirrored)[:side, :side] == draw_chart(plain)[:side, :side]).all()
    assert zxingcpp.read_barcodes(draw_chart(mirrored)[:side, :side])[0].text == "7KQ2M"


def test_a_reversed_up_down_chart_has_band_one_at_the_right():
    plain, mirrored = chart(flip="up-down"), chart(flip="up-down", mirrored=True)
    assert (lens_box(mirrored) == lens_box(plain)[:, ::-1]).all()
    assert mirrored.bands[0].box_dots[0] > mirrored.bands[-1].box_dots[0]


@given(st.integers(1, 9000), st.integers(1, 40), st.integers(2, 30))
def test_pitches_are_exact_and_centred(centre, step, bands):
    lpi, distance = Decimal(centre) / 10 + 60, Decimal(step) / 100
    pitches = band_pitches(lpi=lpi, step=distance, bands=bands)
    assert [Fraction(pitch) for pitch in pitches] == [
        Fraction(lpi) + Fraction(distance) * (Fraction(b) - Fraction(bands + 1, 2)) for b in range(1, bands + 1)]


def test_boxes_have_the_lengths_that_were_asked_for():
    plan = chart(dpi="720", length="203.2mm", band_height="10mm", gap="2mm")
    for band in plan.bands:
        left, top, right, bottom = band.box_dots
        assert (right - left, bottom - top) == (5760, 283)  # floor(8·720 + 1/2), floor(10/25.4·720 + 1/2)
    gaps = [second.box_dots[1] - first.box_dots[3] for first, second in zip(plan.bands, plan.bands[1:], strict=False)]
    assert set(gaps) == {57}  # floor(2/25.4·720 + 1/2)


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
@pytest.mark.parametrize("length", ["4in", "1in"])
def test_nothing_stands_at_the_sides_of_the_lens_box_and_all_bands_lie_within_it(flip, length):
    plan = chart(flip=flip, length=length)
    raster = draw_chart(plan)
    left, top, right, bottom = plan.lens_box_dots
    assert (raster[top:bottom, :left] == 255).all()
    assert (raster[top:bottom, right:] == 255).all()
    for band in (*plan.bands, *plan.guides):
        assert left <= band.box_dots[0] < band.box_dots[2] <= right
        assert top <= band.box_dots[1] < band.box_dots[3] <= bottom
    assert raster.shape == (plan.size_dots[1], plan.size_dots[0])


def test_the_guides_at_both_ends_of_the_lens_box_are_the_same_grating():
    plan = chart()
    raster = draw_chart(plan)
    first, second = (raster[guide.box_dots[1], guide.box_dots[0]:guide.box_dots[2]] for guide in plan.guides)
    assert first.tolist() == second.tolist() == exact_row(len(first), lpi=Decimal("19.9"), dpi=300)
    assert plan.guides[0].box_dots[1] == plan.lens_box_dots[1]
    assert plan.guides[1].box_dots[3] == plan.lens_box_dots[3]


@pytest.mark.parametrize(("dpi", "flip"), [("720", "left-right"), ("600x300", "up-down"), ("150", "left-right")])
def test_the_codes_above_and_below_the_lens_box_are_read_by_another_reader(dpi, flip):
    plan = chart(dpi=dpi, flip=flip, length="6in", code="https://shop.example/c/7KQ2M")
    raster = draw_chart(plan)
    for part in (raster[:plan.lens_box_dots[1]], raster[plan.lens_box_dots[3]:]):
        across, down = (float(axis) for axis in plan.dpi)
        square = cv2.resize(part, None, fx=1.0, fy=across / down, interpolation=cv2.INTER_NEAREST)
        assert [found.text for found in zxingcpp.read_barcodes(square)] == ["https://shop.example/c/7KQ2M"]


def test_a_code_has_its_quiet_zone_of_four_modules_and_four_dots_to_a_module():
    # Source: ISO/IEC 18004, quiet zone 4X. A reader does not prove it: the dots are inspected.
    plan = chart(dpi="300")
    head = draw_chart(plan)[:plan.lens_box_dots[1]]
    module = max(4, round(0.5 * 300 / 25.4))
    finder = np.argwhere(head[: 12 * module, : 12 * module] == 0).min(axis=0)
    assert finder.tolist() == [4 * module, 4 * module]
    assert (head[4 * module, 4 * module:11 * module] == 0).all()  # a finder pattern is seven modules wide


def test_corner_marks_are_four_equal_squares_at_the_outer_edges():
    plan = chart(dpi="300")
    marks = sidecar(plan)["corner_marks"]
    raster = draw_chart(plan)
    assert len(marks) == 4
    for left, top, right, bottom in marks:
        assert (right - left, bottom - top) == (59, 59)  # 5 mm at 300 dots per inch
        assert (raster[top, left:right] == 0).all()
        assert raster[(top + bottom) // 2, (left + right) // 2] == 255
    assert {mark[0] for mark in marks} == {0, plan.size_dots[0] - 59}


@pytest.mark.parametrize(("dpi", "flip"), [("720", "left-right"), ("600x300", "up-down")])
def test_scale_bars_are_as_long_as_they_say(dpi, flip):
    plan = chart(dpi=dpi, flip=flip)
    bars = {bar["axis"]: bar for bar in sidecar(plan)["scale_bars"]}
    assert set(bars) == {"across", "down"}
    for axis, per_inch in zip(("across", "down"), plan.dpi, strict=True):
        dots = bars[axis]["to_dot"] - bars[axis]["from_dot"]
        assert abs(dots - bars[axis]["length_mm"] * MM * per_inch) <= 1
    column = draw_chart(plan)[:, 0]
    assert column[bars["down"]["from_dot"]] == column[bars["down"]["to_dot"]] == 0
    assert column[bars["down"]["from_dot"] - 1] == column[bars["down"]["to_dot"] - 1] == 255


def test_the_description_says_what_was_drawn():
    described = sidecar(chart(dpi="362.16"))
    assert described["dpi"] == [362.16, 362.16]
    assert described["flip"] == "left-right"
    assert [band["number"] for band in described["bands"]] == [1, 2, 3, 4, 5]
    assert [band["lpi"] for band in described["bands"]] == [19.7, 19.8, 19.9, 20, 20.1]


@pytest.mark.parametrize(("lpi", "dpi", "width", "step"), [
    ("20", 720, 8, "0.01"), ("75", 720, 8, "0.015"), ("20.12", 720, 10, "0.01"), ("100", 360, 4, "0.07"),
    ("60", 600, 10, "0.01"), ("60.1", 600, 10, "0.015")])
def test_the_fine_step_is_the_greater_of_a_hundredth_and_one_dot_rounded_up(lpi, dpi, width, step):
    # max(0.01, LPI/(dpi·W)) rounded up to 0.005, worked by hand: 75/5760 = 0.01302 → 0.015; 100/1440 = 0.0694 → 0.07.
    assert fine_step(lpi=Decimal(lpi), dpi=Fraction(dpi), width_in=Fraction(width)) == Decimal(step)


def test_a_fine_chart_at_the_fine_step_has_no_two_equal_bands():
    step = fine_step(lpi=Decimal(75), dpi=Fraction(720), width_in=Fraction(8))
    assert len(chart(lpi="75", step=str(step), bands=21, dpi="720", length="8in", band_height="1mm").bands) == 21


@pytest.mark.parametrize(("asked", "field"), [
    ({"lpi": "20", "dpi": "720", "step": "0.0005"}, "step"),
    ({"step": "0"}, "step"), ({"step": "-0.1"}, "step"), ({"step": "10"}, "step"),
    ({"step": "0.000001", "bands": 4}, "step"), ({"lpi": "0"}, "lpi"), ({"lpi": "-20"}, "lpi"), ({"bands": 1}, "bands"),
    ({"bands": 0}, "bands"), ({"bands": 100}, "bands"), ({"dpi": "40"}, "dpi"), ({"length": "0.5mm"}, "width"),
    ({"length": "3000m"}, "width"), ({"flip": "sideways"}, "flip")])
def test_a_chart_that_cannot_be_is_refused_with_its_field(asked, field):
    with pytest.raises(Refused) as refusal:
        chart(**asked)
    assert refusal.value.field == field


def test_a_chart_with_two_equal_bands_is_refused_with_the_step_that_would_do():
    with pytest.raises(Refused, match=r"same dots over 4in at 720 dots per inch; use a step of at least 0\.01\."):
        chart(lpi="20", dpi="720", step="0.0005")


@pytest.mark.parametrize("text", ["", "0", "-720", "720x", "x720", "720x0", "720 by 360", "nan", "1e3", "999999"])
def test_what_is_no_resolution_is_refused(text):
    with pytest.raises(Refused) as refusal:
        parse_dpi(text)
    assert refusal.value.field == "dpi"


@pytest.mark.parametrize(("text", "exact"), [
    ("720", (Fraction(720), Fraction(720))), ("1440x720", (Fraction(1440), Fraction(720))),
    ("362,16", (Fraction(9054, 25), Fraction(9054, 25))), ("600 × 300 dpi", (Fraction(600), Fraction(300)))])
def test_a_resolution_is_read_exactly(text, exact):
    assert parse_dpi(text) == exact
