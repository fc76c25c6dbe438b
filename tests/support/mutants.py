"""Damaged copies of real pictures, the same ones for the same seed."""

from collections.abc import Iterator
from io import BytesIO

import numpy as np
from PIL import Image
from skimage import data

KINDS = ("JPEG", "PNG", "TIFF")


def damaged(count: int, *, seed: int) -> Iterator[tuple[str, bytes]]:
    """``count`` files, (name, content): bytes changed, cut out, repeated, the end cut off, near the header mostly."""
    dice = np.random.default_rng(seed)
    whole = [_saved(kind) for kind in KINDS]
    for number in range(count):
        kind = number % len(KINDS)
        yield f"damaged-{number}.{('jpg', 'png', 'tif')[kind]}", _damaged(bytearray(whole[kind]), dice)


def _saved(kind: str) -> bytes:
    out = BytesIO()
    Image.fromarray(data.astronaut()[::4, ::4]).save(out, kind)
    return out.getvalue()


def _damaged(content: bytearray, dice: np.random.Generator) -> bytes:
    for _ in range(int(dice.integers(1, 6))):
        # half of the damage falls on the first 200 bytes: headers are where decoders are led astray
        at = int(dice.integers(0, 200 if dice.random() < 0.5 else len(content)))
        span = int(dice.integers(1, 40))
        how = dice.integers(0, 4)
        if how == 0:
            content[at:at + span] = dice.integers(0, 256, span, dtype=np.uint8).tobytes()
        elif how == 1:
            del content[at:at + span]
        elif how == 2:
            content[at:at] = content[at:at + span] * 3
        else:
            content[at:at + 4] = b"\xff\xff\xff\xff"
    return bytes(content[:int(dice.integers(len(content) // 2, len(content) + 1))] if dice.random() < 0.2 else content)
