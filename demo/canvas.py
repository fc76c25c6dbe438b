"""A canvas for the demo's pictures: drawn twice as large and reduced, so that no edge is jagged."""

from collections.abc import Sequence
from io import BytesIO

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

Colour = tuple[int, int, int]
Point = tuple[float, float]
Points = Sequence[Point]
LARGER = 2
"""How much larger the canvas is than the picture."""


def mixed(one: Colour, other: Colour, part: float) -> Colour:
    """A colour between two: ``part`` 0 is the one, 1 the other."""
    red, green, blue = (round(a + (b - a) * part) for a, b in zip(one, other, strict=True))
    return (red, green, blue)


class Canvas:
    """A picture being drawn; every coordinate is in dots of the finished picture."""

    def __init__(self, size: tuple[int, int], top: Colour, bottom: Colour) -> None:
        self.size = size
        rows = np.linspace(np.array(top, float), np.array(bottom, float), size[1] * LARGER)
        column = Image.fromarray(rows.round().astype(np.uint8)[:, None, :])
        self.image = column.resize((size[0] * LARGER, size[1] * LARGER), Image.Resampling.NEAREST)
        self._draw = ImageDraw.Draw(self.image)

    def polygon(self, points: Points, fill: Colour) -> None:
        """A filled polygon."""
        self._draw.polygon(_larger(points), fill=fill)

    def line(self, points: Points, fill: Colour, width: float) -> None:
        """A line with rounded corners."""
        self._draw.line(_larger(points), fill=fill, width=round(width * LARGER), joint="curve")

    def oval(self, centre: Point, across: float, down: float, fill: Colour) -> None:
        """A filled ellipse by its centre and its two half axes."""
        self._draw.ellipse(_box(centre, across, down), fill=fill)

    def box(self, left: float, top: float, right: float, bottom: float, fill: Colour) -> None:
        """A filled rectangle."""
        self._draw.rectangle(_larger([(left, top), (right, bottom)]), fill=fill)

    def arc(
        self, centre: Point, across: float, down: float, degrees: tuple[float, float], fill: Colour, width: float
    ) -> None:
        """Part of an ellipse's line, clockwise from three o'clock."""
        self._draw.arc(_box(centre, across, down), *degrees, fill=fill, width=round(width * LARGER))

    def slice(self, centre: Point, radius: float, degrees: tuple[float, float], fill: Colour) -> None:
        """Part of a disc, clockwise from three o'clock."""
        self._draw.pieslice(_box(centre, radius, radius), *degrees, fill=fill)

    def glow(self, points: Points, fill: Colour, *, strength: int, blur: float) -> None:
        """Light with soft edges, laid over what is there."""
        small = Image.new("L", self.size, 0)
        ImageDraw.Draw(small).polygon([tuple(point) for point in points], fill=strength)
        mask = small.filter(ImageFilter.GaussianBlur(blur)).resize(self.image.size, Image.Resampling.BILINEAR)
        self.image.paste(fill, mask=mask)

    def stars(self, count: int, *, seed: int, above: float) -> None:
        """Stars strewn over the upper part."""
        rng = np.random.default_rng(seed)
        places = zip(rng.uniform(0, self.size[0], count), rng.uniform(0, above, count), strict=True)
        for place, radius in zip(places, rng.uniform(0.8, 3, count), strict=True):
            self.oval(place, radius, radius, (240, 240, 220))

    def hills(self, base: float, fill: Colour, *, seed: int, height: float) -> None:
        """A range of hills down to the lower edge."""
        rng, x = np.random.default_rng(seed), np.arange(0, self.size[0] + 1, 4)
        waves = sum(np.sin(x / rng.uniform(90, 320) + rng.uniform(0, 6)) * rng.uniform(0.2, 0.5) for _ in range(4))
        edge = zip(x.tolist(), (base + height * waves).tolist(), strict=True)
        self.polygon([*edge, (self.size[0], self.size[1]), (0, self.size[1])], fill)

    def jpeg(self) -> bytes:
        """A picture as a camera would keep it."""
        return self._kept("JPEG", quality=90)

    def png(self) -> bytes:
        """A picture as a drawing program would keep it."""
        return self._kept("PNG", compress_level=6)

    def _kept(self, kind: str, **how: int) -> bytes:
        out = BytesIO()
        self.image.reduce(LARGER).save(out, kind, **how)
        return out.getvalue()


def ring(centre: Point, across: float, down: float, *, count: int) -> list[Point]:
    """Points around an ellipse, from twelve o'clock on, clockwise."""
    turns = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return [(centre[0] + across * float(np.sin(turn)), centre[1] - down * float(np.cos(turn))) for turn in turns]


def turned(points: Points, *, about: Point, degrees: float) -> list[Point]:
    """The points turned clockwise about one of them."""
    cos, sin = float(np.cos(np.radians(degrees))), float(np.sin(np.radians(degrees)))
    moved = [(x - about[0], y - about[1]) for x, y in points]
    return [(about[0] + x * cos - y * sin, about[1] + x * sin + y * cos) for x, y in moved]


def _larger(points: Points) -> list[Point]:
    return [(x * LARGER, y * LARGER) for x, y in points]


def _box(centre: Point, across: float, down: float) -> list[Point]:
    return _larger([(centre[0] - across, centre[1] - down), (centre[0] + across, centre[1] + down)])
