"""A fox asleep and awake, and a pocket watch closed and open."""

from functools import cache

from canvas import Canvas, Colour, mixed, ring, turned

UPRIGHT = (1200, 1500)

FUR: Colour = (214, 110, 46)
DARK_FUR: Colour = mixed(FUR, (90, 40, 20), 0.45)
CREAM: Colour = (250, 238, 220)


@cache
def fox(*, awake: bool) -> bytes:
    """A fox curled up under a birch: eyes shut, or its head up and looking."""
    art = Canvas(UPRIGHT, (244, 216, 168), (250, 240, 214))
    art.oval((900, 330), 120, 120, (255, 246, 216))
    art.hills(860, (206, 190, 128), seed=21, height=50)
    for x in (120, 300, 1080):
        art.polygon([(x - 26, 0), (x + 26, 0), (x + 34, 1010), (x - 34, 1010)], (244, 240, 232))
        for mark in range(9):
            side = 26 * (-1) ** mark
            art.line([(x + side, 60 + mark * 108), (x + side * 0.1, 66 + mark * 108)], (70, 64, 60), 8)
    art.hills(1000, (150, 142, 84), seed=22, height=36)
    _fox_body(art)
    _fox_head(art, (460.0, 930.0) if awake else (430.0, 1120.0), awake=awake)
    art.hills(1400, (112, 112, 62), seed=23, height=26)
    return art.jpeg()


def _fox_body(art: Canvas) -> None:
    art.oval((640, 1310), 400, 70, (120, 112, 66))
    art.oval((650, 1130), 350, 220, FUR)
    art.oval((470, 1150), 170, 180, FUR)
    art.arc((640, 1190), 330, 150, (-40, 110), DARK_FUR, 10)
    art.polygon([(980, 1130), (1010, 1260), (880, 1350), (640, 1366), (700, 1250), (860, 1200)], DARK_FUR)
    art.oval((880, 1270), 130, 76, DARK_FUR)
    art.oval((740, 1300), 120, 62, DARK_FUR)
    art.oval((610, 1318), 92, 44, CREAM)


def _fox_head(art: Canvas, place: tuple[float, float], *, awake: bool) -> None:
    x, y = place
    tilt = 0.0 if awake else -14.0

    def at(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
        return turned([(x + dx, y + dy) for dx, dy in points], about=place, degrees=tilt)

    for side in (-1, 1):
        tip = -250 if awake else -205
        art.polygon(at([(side * 176, -50), (side * 150, tip), (side * 36, -120)]), FUR)
        art.polygon(at([(side * 152, -80), (side * 140, tip + 46), (side * 66, -118)]), (70, 44, 40))
    art.polygon(
        at([(-190, -60), (-100, -138), (0, -150), (100, -138), (190, -60), (210, 40), (70, 130), (0, 190), (-70, 130),
            (-210, 40)]),
        FUR,
    )  # fmt: skip
    for side in (-1, 1):
        art.polygon(at([(side * 206, 36), (side * 120, 20), (side * 30, 96), (0, 186), (side * 70, 128)]), CREAM)
        _fox_eye(art, at([(side * 84, -16)])[0], awake=awake, tilt=tilt)
    nose = at([(0, 168)])[0]
    art.oval(nose, 30, 22, (40, 30, 32))
    art.oval((nose[0] - 9, nose[1] - 8), 7, 5, (120, 110, 112))


def _fox_eye(art: Canvas, place: tuple[float, float], *, awake: bool, tilt: float) -> None:
    dark: Colour = (46, 30, 28)
    if not awake:
        art.arc(place, 36, 22, (20 + tilt, 160 + tilt), dark, 8)
        return
    art.oval(place, 34, 30, dark)
    art.oval(place, 26, 24, (236, 178, 66))
    art.oval(place, 12, 20, dark)
    art.oval((place[0] - 8, place[1] - 9), 6, 6, (255, 255, 255))


GOLD: Colour = (206, 164, 78)
DARK_GOLD: Colour = (140, 102, 42)


@cache
def watch(*, opened: bool) -> bytes:
    """A watch on green cloth: its engraved lid, or the lid up and the dial."""
    art = Canvas(UPRIGHT, (26, 66, 54), (14, 40, 34))
    for link in range(16):
        place = (610 + 34 * link, 300 - 22 * link + (link % 2) * 6)
        art.arc(place, 24, 15, (0, 360), DARK_GOLD if link % 2 else GOLD, 8)
    centre = (600.0, 880.0)
    art.glow(ring((620, 920), 400, 400, count=60), (4, 16, 12), strength=160, blur=30)
    art.box(560, 440, 640, 530, DARK_GOLD)
    art.oval((600, 420), 62, 40, GOLD)
    art.arc((600, 392), 74, 74, (0, 360), GOLD, 16)
    if opened:
        _lid_up(art)
    art.oval(centre, 400, 400, DARK_GOLD)
    art.oval(centre, 386, 386, GOLD)
    (_dial if opened else _engraving)(art, centre)
    return art.png()


def _engraving(art: Canvas, centre: tuple[float, float]) -> None:
    art.oval(centre, 340, 340, mixed(GOLD, (255, 240, 190), 0.35))
    for x, y in ring(centre, 165, 165, count=18):
        art.arc((x, y), 165, 165, (0, 360), mixed(GOLD, DARK_GOLD, 0.5), 3)
    for x, y in ring(centre, 362, 362, count=48):
        art.oval((x, y), 7, 7, DARK_GOLD)
    art.oval(centre, 70, 70, GOLD)
    star = [point for pair in zip(ring(centre, 60, 60, count=8), _between(centre), strict=True) for point in pair]
    art.polygon(star, DARK_GOLD)


def _between(centre: tuple[float, float]) -> list[tuple[float, float]]:
    return turned(ring(centre, 22, 22, count=8), about=centre, degrees=22.5)


def _lid_up(art: Canvas) -> None:
    art.oval((236, 620), 130, 330, DARK_GOLD)
    art.oval((244, 620), 116, 312, mixed(GOLD, (255, 240, 190), 0.45))
    art.oval((256, 620), 84, 262, mixed(GOLD, (255, 240, 190), 0.7))


def _dial(art: Canvas, centre: tuple[float, float]) -> None:
    art.oval(centre, 346, 346, (250, 246, 234))
    ink: Colour = (38, 40, 48)
    for minute, (outer, inner) in enumerate(
        zip(ring(centre, 330, 330, count=60), ring(centre, 306, 306, count=60), strict=True)
    ):
        art.line([outer, inner], ink, 4 if minute % 5 else 9)
    for place in ring(centre, 262, 262, count=12):
        art.oval(place, 15, 15, ink)
    art.arc((600, 1040), 80, 80, (0, 360), mixed(ink, (255, 255, 255), 0.5), 4)
    art.line([(600, 1040), (644, 1000)], ink, 4)
    for degrees, long, wide in ((-58, 180, 18), (48, 270, 12)):
        art.line(turned([(600, 910), (600, 880 - long)], about=centre, degrees=degrees), (28, 58, 110), wide)
    art.oval(centre, 18, 18, (28, 58, 110))
