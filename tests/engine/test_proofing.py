"""Small pictures for eyes: where each part of a picture stands on the finished piece, found by its shade."""

from fractions import Fraction
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from logbook.engine import proofing
from logbook.engine.headers import inspect

LEFT, RIGHT = 40, 200


@pytest.fixture
def halves(tmp_path):
    """A picture twice as wide as high, dark on the left."""
    pixels = np.full((200, 400), RIGHT, dtype=np.uint8)
    pixels[:, :200] = LEFT
    Image.fromarray(pixels).convert("RGB").save(tmp_path / "halves.jpg", quality=95)
    return tmp_path / "halves.jpg"


@pytest.mark.parametrize(("fit", "shift", "shades"), [
    ("stretch", 0, {(10, 50): LEFT, (90, 50): RIGHT, (50, 5): None}),
    ("crop", 0, {(10, 50): LEFT, (90, 50): RIGHT}),
    ("pad", 0, {(10, 50): LEFT, (90, 50): RIGHT, (50, 5): 255, (50, 95): 255}),
    ("stretch", 3, {(10, 50): 255, (70, 50): LEFT, (90, 50): RIGHT}),
])
def test_a_preview_stands_where_its_fit_and_shift_put_it(halves, fit, shift, shades):
    """On a square piece of 10, without bleed; a shift of 3 to the right leaves the left side bare."""
    view = proofing.framed(halves, width=Fraction(10), height=Fraction(10), bleed=Fraction(0), fit=fit, long_side=100,
                           shift=(Fraction(shift), Fraction(0)))
    assert view.size == (100, 100)
    told = {place: view.getpixel(place)[0] for place, shade in shades.items() if shade is not None}
    assert told == {place: pytest.approx(shade, abs=6) for place, shade in shades.items() if shade is not None}


def test_the_bleed_is_cut_off(halves):
    view = proofing.framed(halves, width=Fraction(10), height=Fraction(5), bleed=Fraction(1), fit="stretch",
                           long_side=100)
    assert view.size == (100, 50)
    told = [view.getpixel((across, 25))[0] for across in (2, 44, 56, 97)]
    assert told == pytest.approx([LEFT, LEFT, RIGHT, RIGHT], abs=6)


@pytest.mark.parametrize("mode", ["I;16", "L", "RGB"])
def test_a_preview_is_small_in_screen_colours_and_of_the_same_light(tmp_path, mode):
    dark = {"I;16": np.full((3000, 900), 100 * 257, dtype=np.uint16), "L": np.full((3000, 900), 100, dtype=np.uint8),
            "RGB": np.full((3000, 900, 3), 100, dtype=np.uint8)}[mode]
    Image.fromarray(dark).save(tmp_path / "tall.png")
    with Image.open(BytesIO(proofing.preview(inspect(tmp_path / "tall.png"), long_side=200))) as small:
        assert (small.size, small.mode) == ((60, 200), "RGB")
        assert small.getpixel((30, 100)) == pytest.approx((100, 100, 100), abs=2)
