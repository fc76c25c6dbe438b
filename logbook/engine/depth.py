"""Depth the right way round: does PICTURE 1 come from the camera at the left?

The eye at the left sees PICTURE 1. What is near stands farther to the right in the left camera's picture than in the
right camera's; where every patch of a sequence moves the other way, depth would be inside out. Pictures that were
brought together on a plane in the middle move both ways: then only a person can tell, and so it is said.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from PIL import Image

from logbook.refusals import Refused

_WIDE, _PATCH, _REACH = 360, 24, 36
_ALIKE, _LEAST_CONTRAST = 0.9, 6.0
_AGREED, _LEAST_PATCHES = 0.85, 12

RIGHT, INSIDE_OUT, UNDECIDED = "right", "inside out", "undecided"


@dataclass(frozen=True, slots=True)
class DepthOrder:
    """``verdict`` (right, inside out, undecided) and how many patches moved as in the right order, and against it."""

    verdict: str
    patches_for: int
    patches_against: int


def depth_order(pictures: Sequence[np.ndarray]) -> DepthOrder:
    """Judge a sequence of pictures of one scene, (high, wide[, 3]) levels, PICTURE 1 first."""
    if len({picture.shape for picture in pictures}) != 1 or len(pictures) < 2:
        raise Refused("The order of depth is judged on two or more pictures of one size.", field="pictures")
    moved = np.concatenate([parallax(first, second) for first, second in pairwise(pictures)])
    right, wrong = int((moved >= 1).sum()), int((moved <= -1).sum())
    if right + wrong < _LEAST_PATCHES or max(right, wrong) < _AGREED * (right + wrong):
        return DepthOrder(UNDECIDED, right, wrong)
    return DepthOrder(RIGHT if right > wrong else INSIDE_OUT, right, wrong)


def parallax(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """How far patches stand farther right in ``first`` than in ``second``, in pixels of pictures reduced to 360 across.

    Only patches with enough contrast and a clear counterpart (normalised correlation) are counted.
    """
    one, other = _small(first), _small(second)
    found = [_shift(one, other, top=top, left=left)
             for top in range(0, one.shape[0] - _PATCH, _PATCH) for left in range(0, one.shape[1] - _PATCH, _PATCH)]
    return np.array([shift for shift in found if shift is not None], dtype=np.int64)


def _small(picture: np.ndarray) -> np.ndarray:
    image = Image.fromarray(picture).convert("L")
    size = _WIDE, max(1, round(image.height * _WIDE / image.width))
    return np.asarray(image.resize(size, Image.Resampling.BOX), dtype=np.float64)


def _shift(one: np.ndarray, other: np.ndarray, *, top: int, left: int) -> int | None:
    patch = one[top:top + _PATCH, left:left + _PATCH]
    if patch.std() < _LEAST_CONTRAST:
        return None
    low, high = max(0, left - _REACH), min(other.shape[1] - _PATCH, left + _REACH)
    strip = other[top:top + _PATCH, low:high + _PATCH]
    windows = np.lib.stride_tricks.sliding_window_view(strip, _PATCH, axis=1)
    spread = windows - windows.mean(axis=(0, 2), keepdims=True)
    own = patch - patch.mean()
    alike = np.einsum("ijk,ik->j", spread, own) / (
        np.sqrt((spread**2).sum(axis=(0, 2)) * (own**2).sum()) + 1e-9)
    best = int(alike.argmax())
    return left - (low + best) if alike[best] >= _ALIKE else None
