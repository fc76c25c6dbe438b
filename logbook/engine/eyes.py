"""Two eyes before a print: which picture each of them sees, over the whole width, at a real place.

The lens is taken to be the one that the print's pitch was made for at its own distance, registered in the middle.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np
from PIL import Image

from logbook.engine.phase import owners
from logbook.engine.readback import Raster
from logbook.engine.view import seen_at, view_of_raster
from logbook.refusals import Refused

EYES_APART_MM = 63
"""The mean of adults; most lie between 50 and 75 (N. A. Dodgson, "Variation and extrema of human interpupillary
distance", Proc. SPIE 5291, 2004)."""

CLEAR = 0.8
"""From this share of the width on a picture counts as the one that an eye sees: our own choice."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The lens: lines per real inch, thickness (mm), index; ``scale`` printed length over nominal length."""

    lens_lpi: float
    thickness_mm: float
    index: float
    scale: float = 1.0


def lens_for(lpi: Decimal, *, thickness_mm: float, index: float, distance_mm: float) -> Sheet:
    """The lens that a pitch is right for at a distance: lpi (1 + e / (n D)), from the ray through a ridge's middle."""
    return Sheet(float(lpi) * (1 + thickness_mm / (index * distance_mm)), thickness_mm, index)


def dots_seen(raster: Raster, sheet: Sheet, *, distance_mm: float, eye_mm: float) -> np.ndarray:
    """Which dot of the pitch axis is seen at each; ``eye_mm`` right of (below) the middle."""
    across, dpi = _axis(raster)
    return seen_at(raster.dots[0 if across else 1], lpi=Decimal(raster.story["lpi"]), dpi=dpi, lens_lpi=sheet.lens_lpi,
                   thickness_mm=sheet.thickness_mm, index=sheet.index, distance_mm=distance_mm, eye_mm=eye_mm,
                   scale=sheet.scale)


def eye_places(raster: Raster, *, beside_mm: float, apart_mm: float = EYES_APART_MM) -> tuple[float, float]:
    """Where the left and the right eye are on the pitch axis; with an up-down flip both are at the same height."""
    half = apart_mm / 2 if _axis(raster)[0] else 0.0
    return beside_mm - half, beside_mm + half


def shares(raster: Raster, seen: np.ndarray) -> dict[int, float]:
    """The part of the finished width in which each PICTURE (1 …) is seen; pictures that are not seen are left out."""
    story, (across, dpi) = raster.story, _axis(raster)
    parts = [Fraction(part) for part in story["shares"]] if story.get("shares") else None
    count = raster.dots[0 if across else 1]
    owned = owners(count, lpi=Decimal(story["lpi"]), dpi=dpi, pictures=int(story["pictures"]),
                   offset=Fraction(story.get("offset") or 0), shares=parts)
    left, top, right, bottom = story["trim_dots"]
    low, high = (left, right) if across else (top, bottom)
    if story.get("reversed") and across:
        low, high = count - high, count - low
    found, numbers = np.unique(owned[seen[low:high]], return_counts=True)
    return {int(picture): float(number) / (high - low) for picture, number in zip(found, numbers, strict=True)}


def view(raster: Raster, seen: np.ndarray, *, long_side: int | None = None) -> Image.Image:
    """The picture that this eye sees."""
    return view_of_raster(raster, seen, across=_axis(raster)[0], long_side=long_side)


def side_by_side(views: tuple[Image.Image, Image.Image]) -> Image.Image:
    """The left eye's view at the left, the right eye's at the right, white between them."""
    left, right = (one.convert("RGB") for one in views)
    gap = max(1, left.width // 25)
    both = Image.new("RGB", (left.width + gap + right.width, left.height), "white")
    both.paste(left, (0, 0))
    both.paste(right, (left.width + gap, 0))
    return both


def in_words(left: dict[int, float], right: dict[int, float]) -> str:
    """One sentence: what both eyes see together."""
    first, second = _clear(left), _clear(right)
    if first is None or second is None:
        return "No single picture fills the view of both eyes here: parts of neighbouring pictures stand side by side."
    if first == second:
        return f"Both eyes see PICTURE {first}: the print is calm here."
    return (f"The left eye sees PICTURE {first} and the right eye PICTURE {second}: depth if they are a stereo pair, "
            "a shimmer if they are not.")


def _clear(parts: dict[int, float]) -> int | None:
    picture = max(parts, key=lambda number: parts[number])
    return picture if parts[picture] >= CLEAR else None


def _axis(raster: Raster) -> tuple[bool, Fraction]:
    """(whether the pitch axis runs across, dots per inch along it). Raises Refused for a file without its story."""
    if raster.dpi is None or "flip" not in raster.story:
        raise Refused("This file does not say how it was interlaced.", field="file")
    across = raster.story["flip"] == "left-right"
    return across, raster.dpi[0 if across else 1]
