"""Views stacked in one image, read back where each must lie."""

from fractions import Fraction
from io import BytesIO
from itertools import pairwise

import pytest
from PIL import Image

from logbook.engine import viewstack


@pytest.mark.parametrize(("width", "height", "size"), [(8, 10, (448, 560)), (10, 8, (560, 448)), (1, 2000, (1, 560))])
def test_a_view_has_the_shape_of_the_finished_piece(width, height, size):
    assert viewstack.view_size(Fraction(width), Fraction(height)) == size


@pytest.mark.parametrize("count", [1, 2, 25, 26, 60, 1000])
def test_of_many_pictures_the_first_the_last_and_evenly_between_are_shown(count):
    told = viewstack.chosen(count)
    assert (told[0], told[-1], len(told)) == (0, count - 1, min(count, 25))
    steps = {later - one for one, later in pairwise(told)}
    assert not steps or max(steps) - min(steps) <= 1


def test_views_lie_below_each_other_each_in_the_same_size():
    shades = (20, 120, 230)
    views = [Image.new("L", (30 + 10 * at, 20), shade) for at, shade in enumerate(shades)]  # all but the first resized
    with Image.open(BytesIO(viewstack.stacked(views, (30, 20)))) as whole:
        assert (whole.size, whole.mode, whole.getexif()) == ((30, 60), "RGB", {})
        assert [whole.getpixel((15, 10 + 20 * at))[0] for at in range(3)] == pytest.approx(shades, abs=3)


def test_views_out_of_a_moving_picture_are_spread_evenly_over_its_frames(tmp_path):
    frames = [Image.new("RGB", (12, 8), (50 * at, 0, 0)) for at in range(5)]
    frames[0].save(tmp_path / "moving.gif", save_all=True, append_images=frames[1:])
    told = viewstack.views_of_moving(tmp_path / "moving.gif", 3)
    assert [view.getpixel((5, 5))[0] for view in told] == pytest.approx([0, 100, 200], abs=4)
    with Image.open(BytesIO(viewstack.of_moving(tmp_path / "moving.gif", 2))) as whole:
        assert whole.size == (12, 16)
