"""A photograph's file: its grey picture the right way up, and the focal length that the camera wrote into it."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps

from logbook.engine import headers
from logbook.refusals import Refused

PIXEL_CAP = 60_000_000
_EXIF_PART, _FOCAL_35MM_TAG = 0x8769, 0xA405
_FULL_FRAME_DIAGONAL_MM = math.hypot(36, 24)


@dataclass(frozen=True, slots=True)
class Photograph:
    """Grey sRGB code values (uint8, high × wide), and the focal length in pixels where the file tells one."""

    grey: np.ndarray
    focal_px: float | None


def open_photograph(path: Path) -> Photograph:
    """Open a JPEG, PNG or 8-bit TIFF, upright. Raises Refused for what is no such picture or has too many pixels."""
    source = headers.inspect(path, pixel_cap=PIXEL_CAP)
    if source.bits != 8:
        raise Refused(f"{path.name} has 16 bits a channel; save the photograph as a JPEG.", field="photo")
    try:
        with Image.open(path) as image:
            focal = image.getexif().get_ifd(_EXIF_PART).get(_FOCAL_35MM_TAG)
            grey = np.asarray(ImageOps.exif_transpose(image).convert("L"))
    except Exception as error:  # decoders raise of every kind on damaged files
        raise headers.unreadable(path, error) from None
    return Photograph(grey, _focal_px(focal, grey.shape))


def _focal_px(focal: object, shape: tuple[int, ...]) -> float | None:
    """From the length that would see the same on 36 × 24 mm film, by the diagonals (common practice, no source)."""
    if not isinstance(focal, int | float) or not 5 <= focal <= 2000:
        return None
    return float(focal) / _FULL_FRAME_DIAGONAL_MM * math.hypot(*shape)
