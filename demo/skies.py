"""A moon over hills in four phases, and a kite low and high."""

from functools import cache

from canvas import Canvas, Colour, mixed, ring

UPRIGHT = (1200, 1500)


@cache
def moon(*, phase: int) -> bytes:
    """One of four phases of the moon: young, half, full, old."""
    art = Canvas(UPRIGHT, (16, 16, 44), (104, 82, 126))
    art.stars(170, seed=3, above=900)
    centre, radius = (600.0, 440.0), 200
    lit: Colour = (251, 244, 214)
    art.glow(ring(centre, 230, 230, count=40), lit, strength=(30, 45, 80, 30)[phase], blur=60)
    dark: Colour = (38, 36, 66)
    art.oval(centre, radius, radius, dark)
    art.slice(centre, radius, (90, 270) if phase == 3 else (-90, 90), lit)
    if phase == 2:
        art.oval(centre, radius, radius, lit)
        for x, y, size in ((540, 380, 40), (660, 500, 54), (520, 530, 26), (670, 350, 22), (610, 440, 18)):
            art.oval((x, y), size, size, mixed(lit, (170, 160, 150), 0.35))
    elif phase != 1:
        art.oval(centre, radius * 0.62, radius, dark)
    for base, colour, seed in ((960, (58, 56, 96), 11), (1110, (40, 43, 72), 12), (1290, (22, 26, 44), 13)):
        art.hills(base, colour, seed=seed, height=70)
    art.box(812, 1228, 872, 1276, (16, 18, 30))
    art.polygon([(800, 1232), (842, 1196), (884, 1232)], (16, 18, 30))
    art.box(834, 1242, 850, 1258, (255, 206, 110))
    return art.jpeg()


@cache
def kite(*, high: bool) -> bytes:
    """A kite low over a meadow, or high up."""
    art = Canvas(UPRIGHT, (112, 186, 232), (242, 246, 228))
    for x, y, size in ((200, 250, 60), (960, 420, 76), (420, 560, 46)):
        for dx, part in ((-1.1, 0.6), (-0.3, 1.0), (0.7, 0.75), (1.5, 0.45)):
            art.oval((x + dx * size, y - part * size * 0.3), part * size, part * size * 0.7, (252, 253, 252))
    for base, colour, seed in ((980, (152, 194, 122), 5), (1120, (114, 168, 94), 6), (1290, (80, 134, 72), 8)):
        art.hills(base, colour, seed=seed, height=60)
    x, y = (760.0, 300.0) if high else (500.0, 800.0)
    art.line(_string((x, y + 10), (450, 1322)), (96, 86, 76), 3)
    _kite_itself(art, x, y)
    art.oval((420, 1300), 16, 16, (232, 190, 158))
    art.polygon([(400, 1316), (440, 1316), (452, 1410), (388, 1410)], (196, 60, 60))
    art.line([(424, 1330), (448, 1316)], (196, 60, 60), 12)
    return art.jpeg()


def _string(kite: tuple[float, float], hand: tuple[float, float]) -> list[tuple[float, float]]:
    """A string sags a little between kite and hand."""
    parts = [step / 30 for step in range(31)]
    return [
        (kite[0] + (hand[0] - kite[0]) * part, kite[1] + (hand[1] - kite[1]) * part + 240 * part * (1 - part))
        for part in parts
    ]


def _kite_itself(art: Canvas, x: float, y: float) -> None:
    tail = [(x + 24 * (-1) ** knot, y + 170 + 46 * knot) for knot in range(5)]
    art.line([(x, y + 165), *tail], (96, 86, 76), 3)
    for number, (left, top) in enumerate(tail[1:]):
        bow: Colour = ((226, 92, 60), (64, 120, 168))[number % 2]
        art.polygon([(left - 24, top - 14), (left + 24, top + 14), (left + 24, top - 14), (left - 24, top + 14)], bow)
    for points, colour in (
        ([(x, y - 150), (x + 112, y), (x, y)], (226, 92, 60)),
        ([(x, y - 150), (x - 112, y), (x, y)], (244, 190, 66)),
        ([(x + 112, y), (x, y + 172), (x, y)], (64, 120, 168)),
        ([(x - 112, y), (x, y + 172), (x, y)], (240, 234, 216)),
    ):
        art.polygon(points, colour)
