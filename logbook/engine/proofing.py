"""Small pictures for eyes, not for the print: previews, and the proof that flips.

Made from pixels only: no metadata of the originals survives in them.
"""

import math
from collections.abc import Sequence
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps

from logbook.engine.plan import NO_SHIFT, Shift, placed
from logbook.engine.sources import Ground, Source, common_ground, decode
from logbook.refusals import Refused

PREVIEW_LONG_SIDE = 1200
PROOF_LONG_SIDE = 640
PROOF_HOLD_MS = 1100
MAILED_BYTES = 5_000_000
"""The largest moving proof: what mailboxes take as a rule (common practice, no source)."""
SMALLEST_LONG_SIDE = 96
_SCREEN = "RGB"
_BAND_ROWS = 256


def preview(source: Source, *, long_side: int = PREVIEW_LONG_SIDE) -> bytes:
    """A JPEG of the whole picture in screen colours, at most ``long_side`` pixels a side."""
    ground = common_ground([source])
    image = _screen_image(decode(source, ground), ground, long_side=long_side)
    image.thumbnail((long_side, long_side), Image.Resampling.LANCZOS)
    return jpeg(image)


def _screen_image(pixels: np.ndarray, ground: Ground, *, long_side: int) -> Image.Image:
    """In screen colours and at least twice ``long_side``; band by band, so that a large picture is held once only."""
    part = max(1, max(pixels.shape[:2]) // (2 * long_side))
    step = _BAND_ROWS * part
    bands = [_screen_band(pixels[top:top + step], ground, part=part) for top in range(0, len(pixels), step)]
    image = Image.new(_SCREEN, (bands[0].width, sum(band.height for band in bands)))
    top = 0
    for band in bands:
        image.paste(band, (0, top))
        top += band.height
    return image


def _screen_band(pixels: np.ndarray, ground: Ground, *, part: int) -> Image.Image:
    if pixels.dtype == np.uint16:
        pixels = (pixels >> 8).astype(np.uint8)
    band = Image.fromarray(pixels if pixels.shape[2] > 1 else pixels[:, :, 0], ground.mode).convert(_SCREEN)
    return band.reduce(part) if part > 1 else band


def jpeg(image: Image.Image) -> bytes:
    """JPEG bytes without any metadata."""
    out = BytesIO()
    Image.fromarray(np.asarray(image.convert(_SCREEN))).save(out, "JPEG", quality=88)
    return out.getvalue()


def framed(path: Path, *, width: Fraction, height: Fraction, bleed: Fraction, fit: str, long_side: int,
           shift: tuple[Fraction, Fraction] = NO_SHIFT) -> Image.Image:
    """A preview as its picture will stand on the finished piece: fitted to the printed size, cut at the trim.

    ``width``, ``height``, ``bleed`` and ``shift`` (right, down) in the same unit; the longer
    finished side gets ``long_side`` pixels.
    """
    scale = Fraction(long_side) / max(width, height)
    finished = (max(1, round(width * scale)), max(1, round(height * scale)))
    margin = round(bleed * scale)
    printed = (finished[0] + 2 * margin, finished[1] + 2 * margin)
    with Image.open(path, formats=("JPEG",)) as opened:
        image = _fitted(opened.convert(_SCREEN), printed, fit) if shift == NO_SHIFT \
            else _shifted(opened.convert(_SCREEN), printed, fit, (shift[0] * scale, shift[1] * scale))
    return image.crop((margin, margin, margin + finished[0], margin + finished[1]))


def _fitted(image: Image.Image, size: tuple[int, int], fit: str) -> Image.Image:
    if fit == "stretch":
        return image.resize(size, Image.Resampling.LANCZOS)
    if fit == "pad":
        return ImageOps.pad(image, size, Image.Resampling.LANCZOS, color="white")
    return ImageOps.fit(image, size, Image.Resampling.LANCZOS)


def _shifted(image: Image.Image, size: tuple[int, int], fit: str, shift: Shift) -> Image.Image:
    """Placed as the print places it, moved by pixels of this view; what stays bare is white."""
    where = placed(image.size, size, (Fraction(1), Fraction(1)), fit=fit, shift=shift)
    left, top, right, bottom = where.place
    low, high, far, deep = (float(edge) for edge in where.box)
    box = (low, high, far, deep)
    view = Image.new(_SCREEN, size, "white")
    view.paste(image.resize((right - left, bottom - top), Image.Resampling.LANCZOS, box=box), (left, top))
    return view


def blended(first: Image.Image, second: Image.Image) -> Image.Image:
    """Two views over each other, half and half, for laying key points upon each other."""
    return Image.blend(first, second, 0.5)


def animation(frames: Sequence[Image.Image], *, most_bytes: int = MAILED_BYTES) -> bytes:
    """An animated GIF that shows one picture after the other, for mailing: made smaller until a mailbox takes it.

    Raises Refused where even the smallest view is larger than ``most_bytes``.
    """
    shown = list(frames)
    while len(made := _gif(shown)) > most_bytes:
        part = 0.95 * math.sqrt(most_bytes / len(made))  # bytes grow with the area
        size = [max(1, round(side * part)) for side in shown[0].size]
        if max(size) < SMALLEST_LONG_SIDE:
            raise Refused("These pictures make a moving proof that is too large to mail; take fewer.", field="pictures")
        shown = [frame.resize((size[0], size[1]), Image.Resampling.LANCZOS) for frame in frames]
    return made


def _gif(frames: Sequence[Image.Image]) -> bytes:
    small = [_in_few_colours(frame) for frame in frames]
    out = BytesIO()
    small[0].save(out, "GIF", save_all=True, append_images=small[1:], duration=PROOF_HOLD_MS, loop=0, disposal=1)
    return out.getvalue()


def _in_few_colours(frame: Image.Image) -> Image.Image:
    """In its own 256 colours; skies and skin stay smooth, since Pillow dithers only onto a palette that it is given."""
    palette = frame.quantize(colors=256, method=Image.Quantize.MEDIANCUT)
    return frame.quantize(palette=palette, dither=Image.Dither.FLOYDSTEINBERG)


def size_of_moving(path: Path) -> tuple[int, int]:
    """Dots of a moving proof, wide and high."""
    with Image.open(path, formats=("GIF",)) as moving:
        return moving.size
