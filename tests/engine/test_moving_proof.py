"""The moving proof: small enough to mail, every picture in it, in play order."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from logbook.engine.proofing import MAILED_BYTES, animation
from logbook.refusals import Refused


def _noise(count, side):
    """Noise cannot be packed: the worst that anybody could hand in."""
    chance = np.random.default_rng(8704)
    return [Image.fromarray(chance.integers(0, 256, (side, side, 3), dtype=np.uint8)) for _ in range(count)]


def _read(made):
    image = Image.open(BytesIO(made))
    return image.n_frames, image.size


def test_an_ordinary_proof_keeps_its_size():
    frames = [Image.new("RGB", (640, 480), colour) for colour in ("teal", "gold", "navy")]
    assert _read(animation(frames)) == (3, (640, 480))


def test_a_sky_stays_smooth_in_few_colours():
    """Means over 8 x 8 dots, as an eye blends them: without dithering they are off by 3.2 levels (measured here)."""
    wide, high = np.meshgrid(np.linspace(20, 240, 640), np.linspace(20, 240, 480))
    sky = np.stack([wide, high, 255 - wide / 2], axis=-1).round().astype(np.uint8)
    image = Image.open(BytesIO(animation([Image.fromarray(sky), Image.fromarray(sky[::-1])])))
    error = np.asarray(image.convert("RGB")).astype(float) - sky
    means = error.reshape(60, 8, 80, 8, 3).mean(axis=(1, 3))
    assert np.sqrt((means**2).mean()) < 1.5


def test_a_heavy_proof_is_made_smaller_until_it_can_be_mailed():
    made = animation(_noise(12, 900))
    assert len(made) <= MAILED_BYTES == 5_000_000
    count, size = _read(made)
    assert count == 12
    assert size[0] == size[1] < 900
    assert len(made) > MAILED_BYTES / 2  # and not smaller than it must be


def test_every_picture_stays_in_its_place_when_it_is_made_smaller():
    plain = [Image.new("RGB", (300, 300), colour) for colour in ("red", "lime", "blue")]
    noisy = [Image.blend(one, other, 0.3) for one, other in zip(plain, _noise(3, 300), strict=True)]
    image = Image.open(BytesIO(animation(noisy, most_bytes=60_000)))
    for number in range(3):
        image.seek(number)
        means = np.asarray(image.convert("RGB")).mean(axis=(0, 1))
        assert int(means.argmax()) == number


def test_what_cannot_be_made_small_enough_is_refused():
    with pytest.raises(Refused, match="too large to mail") as refused:
        animation(_noise(4, 400), most_bytes=2_000)
    assert refused.value.field == "pictures"
