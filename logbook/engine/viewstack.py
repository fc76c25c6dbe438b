"""Views that were drawn beforehand, stacked below each other in one image: a page shows one part of it at a time.

One file comes over the network, and nothing is fetched while a hand moves.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from io import BytesIO
from pathlib import Path

from PIL import Image, ImageSequence

from logbook.engine.readback import Raster
from logbook.engine.view import seen_from, view_of_raster

LONG_SIDE = 560
"""Dots along a view's longer side: sharp on a phone, and a whole stack stays below a megabyte or so."""
MOST_VIEWS = 25
PLACES = 21
"""Views of an interlaced file from one side to the other."""
_QUALITY = 82


def view_size(width: Fraction, height: Fraction) -> tuple[int, int]:
    """Dots of one view of a piece of this finished size (any unit)."""
    scale = Fraction(LONG_SIDE) / max(width, height)
    return max(1, round(width * scale)), max(1, round(height * scale))


def chosen(count: int) -> list[int]:
    """Which of ``count`` pictures are in a stack: all, or as many as it holds, evenly from first to last."""
    if count <= MOST_VIEWS:
        return list(range(count))
    return [round(at * (count - 1) / (MOST_VIEWS - 1)) for at in range(MOST_VIEWS)]


def stacked(views: Sequence[Image.Image], size: tuple[int, int]) -> bytes:
    """The views below each other, each ``size`` dots, as one JPEG without metadata."""
    wide, high = size
    whole = Image.new("RGB", (wide, high * len(views)))
    for at, view in enumerate(views):
        shown = view.convert("RGB")
        whole.paste(shown if shown.size == size else shown.resize(size, Image.Resampling.LANCZOS), (0, at * high))
    out = BytesIO()
    whole.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()


def of_moving(path: Path, count: int, size: tuple[int, int] | None = None) -> bytes:
    """``count`` views out of a moving picture, first to last; in its own size where none is given."""
    views = views_of_moving(path, count)
    return stacked(views, size or views[0].size)


def views_of_moving(path: Path, count: int) -> list[Image.Image]:
    """``count`` views out of a moving picture, from its first to its last."""
    with Image.open(path, formats=("GIF",)) as moving:
        frames = [frame.convert("RGB") for frame in ImageSequence.Iterator(moving)]
    last = max(1, count - 1)
    # frames that are alike are one in the file: what is left is spread evenly
    return [frames[round(at * (len(frames) - 1) / last)] for at in range(count)]


def of_raster(raster: Raster, size: tuple[int, int]) -> bytes:
    """What an eye sees of an interlaced file from ``PLACES`` places, far left (above) to far right (below)."""
    views = [through_lens(raster, Fraction(2 * at, PLACES - 1) - 1, long_side=LONG_SIDE) for at in range(PLACES)]
    return stacked(views, size)


def through_lens(raster: Raster, place: Fraction, *, long_side: int) -> Image.Image:
    """The finished piece as an eye sees it from a place between -1 and 1; the waste around it is cut off."""
    across = raster.story["flip"] == "left-right"
    assert raster.dpi is not None
    wide, high = raster.dots
    dots = seen_from(
        wide if across else high,
        lpi=Decimal(raster.story["lpi"]),
        dpi=raster.dpi[0 if across else 1],
        pictures=int(raster.story["pictures"]),
        place=place,
    )
    return finished(view_of_raster(raster, dots, across=across, long_side=long_side).convert("RGB"), raster)


def finished(image: Image.Image, raster: Raster) -> Image.Image:
    """Only what stays after trimming: the waste around it is for the bench, not for the eye."""
    left, top, right, bottom = raster.story["trim_dots"]
    across, down = image.width / raster.dots[0], image.height / raster.dots[1]
    return image.crop((round(left * across), round(top * down), round(right * across), round(bottom * down)))
