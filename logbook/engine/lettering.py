"""Plain lettering in a raster: wrapped lines of Pillow's built-in face, also on unequal axes."""

from functools import lru_cache

import numpy as np
from PIL import Image, ImageDraw, ImageFont

_REFERENCE = 100
UNBROKEN = "\u00a0"
"""A space at which no line is broken."""


@lru_cache(maxsize=16)
def _face(size: int) -> ImageFont.FreeTypeFont:
    face = ImageFont.load_default(size=size)
    assert isinstance(face, ImageFont.FreeTypeFont)
    return face


def width_in_heights(line: str) -> float:
    """The line's width in units of the lettering's height."""
    return _face(_REFERENCE).getlength(_plain(line)) / _REFERENCE


def wrapped(paragraph: str, *, width_mm: float, height_mm: float) -> list[str]:
    """The paragraph broken at spaces into lines that fit the width; a longer word stands alone."""
    lines: list[str] = []
    for word in paragraph.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_in_heights(longer) * height_mm <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def draw_line(line: str, raster: np.ndarray, *, left: int, top: int, height: tuple[int, int]) -> None:
    """Draw one line, black, with its upper left corner at (left, top), cut at the raster's border.

    ``height`` is the lettering's size in dots of the across and of the down axis,
    so that letters keep their shape on a printer with unequal axes.
    """
    across, down = max(1, height[0]), max(6, height[1])
    face, line = _face(down), _plain(line)
    canvas = Image.new("L", (int(face.getlength(line)) + down, int(down * 1.4)), 255)
    ImageDraw.Draw(canvas).text((0, 0), line, fill=0, font=face)
    if across != down:
        canvas = canvas.resize((max(1, canvas.width * across // down), canvas.height))
    letters = np.asarray(canvas)
    part = raster[top:top + letters.shape[0], left:left + letters.shape[1]]
    part[letters[:part.shape[0], :part.shape[1]] < 128] = 0


def _plain(line: str) -> str:
    """The built-in face has no glyph for the unbroken space."""
    return line.replace(UNBROKEN, " ")
