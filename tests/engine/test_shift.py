"""Pictures moved on the print: exact in the file, against copying pixels by plain slices; bare where nothing is."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from logbook.engine.interlace import interlace
from logbook.engine.plan import NO_SHIFT, make_plan, placed
from logbook.engine.proofing import framed
from logbook.lengths import parse_length
from logbook.refusals import Refused
from support.plain_interlace import owner

DOTS = (120, 100)


def _plan(shifts=None, **more):
    known = {"lpi": "10", "dpi": "100", "width": parse_length("1.2in"), "height": parse_length("1in")}
    return make_plan(**{**known, "flip": "left-right", "pictures": 2, "shifts": shifts, **more})


def _shift(dx, dy):
    return Fraction(dx), Fraction(dy)


@pytest.fixture
def noise(tmp_path):
    """Two pictures of noise with a pixel for every dot: resampling copies them as they are."""
    chance, files = np.random.default_rng(8704), []
    for number in (1, 2):
        file = tmp_path / f"{number}.png"
        Image.fromarray(chance.integers(0, 256, (DOTS[1], DOTS[0], 3), dtype=np.uint8)).save(file)
        files.append(file)
    return files


def _moved(pixels, dx, dy):
    """A copy moved by whole pixels over white, by plain slices."""
    out = np.full_like(pixels, 255)
    high, wide = pixels.shape[:2]
    out[max(0, dy):high + min(0, dy), max(0, dx):wide + min(0, dx)] = \
        pixels[max(0, -dy):high + min(0, -dy), max(0, -dx):wide + min(0, -dx)]
    return out


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
@pytest.mark.parametrize(("dx", "dy"), [(3, 0), (-7, 0), (0, 5), (0, -11), (13, -6), (-1, 1)])
def test_a_moved_picture_is_its_pixels_moved_dot_by_dot(noise, tmp_path, flip, dx, dy):
    plan = _plan([NO_SHIFT, _shift(dx, dy)], flip=flip)
    interlace(plan, noise, tmp_path / "out.tif")
    with Image.open(tmp_path / "out.tif") as image:
        made = np.asarray(image)
    first, second = (np.asarray(Image.open(file)) for file in noise)
    second = _moved(second, dx, dy)
    count = DOTS[0] if flip == "left-right" else DOTS[1]
    mine = np.array([owner(dot, lpi="10", dpi=Fraction(100), pictures=2) == 2 for dot in range(count)])
    chosen = mine[None, :, None] if flip == "left-right" else mine[:, None, None]
    assert np.array_equal(made, np.where(chosen, second, first))


def test_shifts_belong_to_the_given_pictures_whatever_their_order(noise, tmp_path):
    straight = _plan([NO_SHIFT, _shift(4, 0)])
    turned = _plan([_shift(4, 0), NO_SHIFT], order=[2, 1])
    one, two = tmp_path / "one.tif", tmp_path / "two.tif"
    made = [interlace(straight, noise, one), interlace(turned, noise[::-1], two)]
    assert made[0].hashes.pixels_sha256 == made[1].hashes.pixels_sha256


def test_a_print_in_which_nothing_is_moved_keeps_its_bytes(noise, tmp_path):
    plain = interlace(_plan(), noise, tmp_path / "plain.tif")
    still = interlace(_plan([NO_SHIFT, NO_SHIFT]), noise, tmp_path / "still.tif")
    assert plain.hashes == still.hashes


def test_what_a_cut_picture_has_beyond_its_edge_comes_in_first():
    # 200 x 100 on 120 x 100 dots: a pixel for each dot, 40 pixels hidden at either side
    dpi = (Fraction(100), Fraction(100))
    found = placed((200, 100), DOTS, dpi, fit="crop", shift=_shift(40, 0))
    assert (found.box, found.place) == ((0, 0, 120, 100), (0, 0, 120, 100))
    found = placed((200, 100), DOTS, dpi, fit="crop", shift=_shift(43, 0))
    assert (found.box, found.place) == ((0, 0, 117, 100), (3, 0, 120, 100))


@given(
    size=st.tuples(st.integers(30, 400), st.integers(30, 400)),
    shift=st.tuples(st.fractions(-25, 25, max_denominator=7), st.fractions(-25, 25, max_denominator=7)),
    fit=st.sampled_from(["crop", "pad", "stretch"]),
)
def test_every_dot_shows_the_point_that_lay_there_before_the_move(size, shift, fit):
    """One affine map: a dot of the moved picture shows what the unmoved map has at the dot less the move."""
    dpi = (Fraction(100), Fraction(90))
    before = placed(size, DOTS, dpi, fit=fit)
    after = placed(size, DOTS, dpi, fit=fit, shift=shift)
    for axis in (0, 1):
        rate = (before.box[axis + 2] - before.box[axis]) / (before.place[axis + 2] - before.place[axis])
        assert (after.box[axis + 2] - after.box[axis]) == rate * (after.place[axis + 2] - after.place[axis])
        there = before.box[axis] + (after.place[axis] - shift[axis] - before.place[axis]) * rate
        assert after.box[axis] == there
        assert 0 <= after.box[axis] < after.box[axis + 2] <= size[axis]
        assert 0 <= after.place[axis] < after.place[axis + 2] <= DOTS[axis]


def test_a_picture_that_is_moved_out_of_the_print_is_refused():
    with pytest.raises(Refused, match="moved out") as refused:
        placed((120, 100), DOTS, (Fraction(100), Fraction(100)), fit="crop", shift=_shift(120, 0))
    assert refused.value.field == "dx"


def test_each_picture_needs_a_shift():
    with pytest.raises(Refused, match="3 shifts for 2 pictures"):
        _plan([NO_SHIFT] * 2 + [_shift(1, 1)])


def test_the_file_tells_the_shifts_it_was_made_with_and_only_those():
    assert "shifts" not in _plan().told()
    assert _plan([NO_SHIFT, _shift(4, -2)]).told()["shifts"] == [["0", "0"], ["4", "-2"]]


def test_a_view_is_moved_as_the_print_is(noise, tmp_path):
    preview = tmp_path / "preview.jpg"  # previews are JPEG
    Image.open(noise[0]).save(preview)
    size = {"width": Fraction(120), "height": Fraction(100), "bleed": Fraction(0), "fit": "crop", "long_side": 120}
    still = np.asarray(framed(preview, **size))
    moved = np.asarray(framed(preview, **size, shift=_shift(9, -4)))
    assert np.array_equal(moved, _moved(still, 9, -4))
