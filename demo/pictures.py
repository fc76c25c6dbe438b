"""The demo's own pictures: drawn here, the same every time, nothing from elsewhere."""

from io import BytesIO

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

SIZE = (1200, 1500)
Colour = tuple[int, int, int]


def _sky(top: Colour, bottom: Colour) -> Image.Image:
    wide, high = SIZE
    part = np.linspace(0, 1, high)[:, None, None]
    rows = np.array(top) * (1 - part) + np.array(bottom) * part
    return Image.fromarray(np.broadcast_to(rows, (high, wide, 3)).astype(np.uint8).copy())


def _hills(image: Image.Image, *, colours: list[Colour], seed: int) -> None:
    rng, draw, (wide, high) = np.random.default_rng(seed), ImageDraw.Draw(image), SIZE
    x = np.arange(wide)
    for layer, colour in enumerate(colours):
        base = high * (0.62 + 0.12 * layer)
        waves = sum(rng.uniform(15, 60) * np.sin(x / rng.uniform(90, 320) + rng.uniform(0, 6)) for _ in range(4))
        edge = list(zip(x.tolist(), (base + waves).tolist(), strict=True))
        draw.polygon([*edge, (wide, high), (0, high)], fill=colour)


def _stars(image: Image.Image, *, seed: int) -> None:
    rng, draw = np.random.default_rng(seed), ImageDraw.Draw(image)
    for x, y, size in zip(
        rng.uniform(0, SIZE[0], 160), rng.uniform(0, SIZE[1] * 0.6, 160), rng.uniform(0.8, 3, 160), strict=True
    ):
        draw.ellipse((x - size, y - size, x + size, y + size), fill=(240, 240, 220))


def lighthouse(*, night: bool) -> Image.Image:
    """A striped tower on a rock, by day or with its beam at night."""
    image = _sky((12, 20, 48), (58, 62, 104)) if night else _sky((96, 170, 224), (226, 240, 246))
    if night:
        _stars(image, seed=7)
    sea, rock, tower, stripe = (
        ((16, 34, 58), (30, 30, 36), (150, 150, 160), (96, 30, 36))
        if night
        else ((44, 118, 150), (104, 92, 84), (246, 244, 236), (196, 52, 48))
    )
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 1080, *SIZE), fill=sea)
    draw.polygon([(240, 1210), (420, 1000), (800, 985), (980, 1210)], fill=rock)
    for part in range(6):
        top, bottom = 380 + part * 104, 380 + (part + 1) * 104
        inset = [46 - 30 * (y - 380) / 624 for y in (top, bottom)]
        colour = stripe if part % 2 else tower
        draw.polygon(
            [(520 + inset[0], top), (680 - inset[0], top), (680 - inset[1], bottom), (520 + inset[1], bottom)],
            fill=colour,
        )
    draw.rectangle((540, 372, 660, 388), fill=rock)
    draw.rectangle((566, 296, 634, 372), fill=(255, 226, 130) if night else (206, 222, 230))
    draw.polygon([(552, 296), (600, 238), (648, 296)], fill=stripe)
    return _beam(image) if night else _gulls(image)


def _beam(image: Image.Image) -> Image.Image:
    light = Image.new("L", SIZE, 0)
    ImageDraw.Draw(light).polygon([(600, 334), (1300, 120), (1300, 470)], fill=150)
    ImageDraw.Draw(light).polygon([(600, 334), (-100, 300), (-100, 560)], fill=110)
    light = light.filter(ImageFilter.GaussianBlur(18))
    return Image.composite(Image.new("RGB", SIZE, (255, 232, 160)), image, light)


def _gulls(image: Image.Image) -> Image.Image:
    draw = ImageDraw.Draw(image)
    for x, y, size in ((240, 300, 40), (330, 360, 26), (880, 240, 34), (960, 420, 22)):
        draw.arc((x - size, y, x, y + size), 200, 340, fill=(60, 60, 66), width=5)
        draw.arc((x, y, x + size, y + size), 200, 340, fill=(60, 60, 66), width=5)
    return image


def moon(*, phase: int) -> Image.Image:
    """One of four phases of the moon over hills."""
    image = _sky((18, 18, 46), (92, 74, 120))
    _stars(image, seed=3)
    disc = Image.new("L", SIZE, 0)
    ImageDraw.Draw(disc).ellipse((400, 240, 800, 640), fill=255)
    shift = (-130, -300, -420, 130)[phase]
    ImageDraw.Draw(disc).ellipse((400 + shift, 240, 800 + shift, 640), fill=255 if shift == -420 else 0)
    if shift == -420:
        ImageDraw.Draw(disc).rectangle((0, 0, 399, SIZE[1]), fill=0)
    image.paste((250, 244, 214), mask=disc)
    _hills(image, colours=[(52, 52, 88), (36, 40, 66), (20, 24, 40)], seed=11)
    return image


def kite(*, high: bool) -> Image.Image:
    """A kite low over a meadow, or high up."""
    image = _sky((120, 190, 230), (240, 244, 226))
    _hills(image, colours=[(150, 190, 120), (112, 164, 92), (78, 130, 70)], seed=5)
    draw, x, y = ImageDraw.Draw(image), 600 + (130 if high else -60), 260 if high else 760
    draw.line([(x, y + 150), (x - 40, y + 300), (560, 1320)], fill=(90, 80, 70), width=4)
    for points, colour in (
        ([(x, y - 150), (x + 110, y), (x, y)], (226, 92, 60)),
        ([(x, y - 150), (x - 110, y), (x, y)], (244, 190, 66)),
        ([(x + 110, y), (x, y + 170), (x, y)], (64, 120, 168)),
        ([(x - 110, y), (x, y + 170), (x, y)], (238, 232, 214)),
    ):
        draw.polygon(points, fill=colour)
    return image


def jpeg(image: Image.Image) -> bytes:
    """A picture as a customer would send it."""
    out = BytesIO()
    image.save(out, "JPEG", quality=90)
    return out.getvalue()


LIGHTHOUSE = [
    ("lighthouse-day.jpg", lambda: jpeg(lighthouse(night=False))),
    ("lighthouse-night.jpg", lambda: jpeg(lighthouse(night=True))),
]
MOONS = [(f"moon-{phase + 1}.jpg", lambda phase=phase: jpeg(moon(phase=phase))) for phase in range(4)]
KITE = [("kite-low.jpg", lambda: jpeg(kite(high=False))), ("kite-high.jpg", lambda: jpeg(kite(high=True)))]
