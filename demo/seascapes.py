"""A lighthouse by day and by night, and a harbour with the tide in and out."""

from functools import cache

from canvas import Canvas, Colour, mixed, turned

UPRIGHT, ACROSS = (1200, 1500), (1800, 1440)


@cache
def lighthouse(*, night: bool) -> bytes:
    """A striped tower on a rock: gulls by day, its beam by night."""
    art = Canvas(UPRIGHT, *(((10, 16, 44), (66, 66, 112)) if night else ((86, 162, 222), (228, 241, 246))))
    if night:
        art.stars(160, seed=7, above=1000)
    _sea(art, night)
    rock: Colour = (34, 33, 42) if night else (112, 98, 88)
    art.polygon([(215, 1235), (300, 1120), (390, 1085), (440, 1010), (770, 990), (850, 1070), (985, 1235)], rock)
    art.polygon([(440, 1010), (770, 990), (720, 1060), (500, 1085)], mixed(rock, (255, 255, 255), 0.12))
    _tower(art, night)
    if night:
        art.glow([(600, 334), (1300, 120), (1300, 470)], (255, 232, 160), strength=150, blur=18)
        art.glow([(600, 334), (-100, 280), (-100, 560)], (255, 232, 160), strength=110, blur=18)
    else:
        for x, y, size in ((240, 300, 40), (330, 360, 26), (900, 240, 34), (980, 420, 22)):
            art.arc((x - size / 2, y), size / 2, size / 3, (190, 350), (60, 60, 66), 4)
            art.arc((x + size / 2, y), size / 2, size / 3, (190, 350), (60, 60, 66), 4)
    return art.jpeg()


def _sea(art: Canvas, night: bool) -> None:
    sea: Colour = (16, 34, 62) if night else (44, 122, 156)
    art.box(0, 1080, 1200, 1500, sea)
    for row in range(14):
        y, shift = 1100 + row * row * 2.0, 137 * row % 400
        for x in range(-400 + shift, 1300, 400):
            wave = mixed(sea, (255, 255, 255), 0.10 if night else 0.28)
            art.line([(x, y), (x + 60 + row * 8, y)], wave, 2 + row * 0.4)


def _tower(art: Canvas, night: bool) -> None:
    white, red = ((152, 152, 164), (98, 30, 38)) if night else ((247, 244, 236), (198, 50, 46))
    for part in range(6):
        top, bottom = 380 + part * 104, 380 + (part + 1) * 104
        left = [566 - 0.05 * (y - 380) for y in (top, bottom)]
        right = [1200 - x for x in left]
        colour = red if part % 2 else white
        art.polygon([(left[0], top), (right[0], top), (right[1], bottom), (left[1], bottom)], colour)
        shade = mixed(colour, (20, 20, 40), 0.22)
        art.polygon([(right[0] - 24, top), (right[0], top), (right[1], bottom), (right[1] - 28, bottom)], shade)
    iron: Colour = (40, 40, 50)
    art.box(546, 370, 654, 384, iron)
    art.box(570, 296, 630, 370, (255, 228, 136) if night else (208, 224, 232))
    art.line([(600, 296), (600, 370)], iron, 4)
    art.polygon([(556, 298), (600, 240), (644, 298)], red)
    for y in (560, 700, 840):
        art.box(592, y, 608, y + 34, (255, 228, 136) if night else iron)


@cache
def harbour(*, tide_in: bool) -> bytes:
    """Houses on a quay; a boat afloat, or aground with the wall's weed bare."""
    art = Canvas(ACROSS, (150, 200, 226), (240, 242, 232))
    art.hills(560, (146, 176, 160), seed=31, height=50)
    art.box(0, 640, 1800, 1440, (120, 160, 168))
    paints = ((222, 150, 96), (236, 214, 150), (126, 162, 178), (206, 98, 86), (238, 232, 218), (148, 178, 120))
    for number, paint in enumerate(paints):
        _house(art, 60 + number * 172, 380 - (number * 53) % 90, paint)
    art.polygon([(0, 720), (1110, 720), (1110, 1330), (0, 1440)], (136, 130, 122))
    for row in range(8):
        art.line([(0, 790 + row * 78), (1110, 780 + row * 72)], (116, 110, 104), 4)
    art.polygon([(0, 920), (1110, 905), (1110, 1330), (0, 1440)], (92, 104, 74))
    art.box(0, 708, 1126, 734, (170, 164, 154))
    for rung in range(11):
        art.line([(1000, 750 + rung * 46), (1050, 750 + rung * 46)], (70, 64, 60), 8)
    art.line([(1000, 740), (1000, 1250)], (70, 64, 60), 9)
    art.line([(1050, 740), (1050, 1250)], (70, 64, 60), 9)
    _high_water(art) if tide_in else _mud(art)
    _boat(art, (1400.0, 880.0 if tide_in else 1216.0), lean=0 if tide_in else -13)
    return art.jpeg()


def _house(art: Canvas, left: float, top: float, paint: Colour) -> None:
    art.box(left, top, left + 164, 716, paint)
    art.polygon([(left - 10, top), (left + 82, top - 90), (left + 174, top)], (150, 84, 66))
    for floor in range(2):
        for column in (30, 100):
            y = top + 40 + floor * 110
            art.box(left + column, y, left + column + 36, y + 56, (250, 248, 240))
            art.box(left + column + 5, y + 5, left + column + 31, y + 51, (84, 106, 122))
    art.box(left + 62, 640, left + 102, 716, mixed(paint, (60, 40, 30), 0.6))


SEA: Colour = (70, 132, 152)


def _high_water(art: Canvas) -> None:
    art.box(0, 900, 1800, 1440, SEA)
    _ripples(art, [(60 + (row * 167) % 300 + 300 * place, 926 + row * 44) for row in range(11) for place in range(6)])


def _mud(art: Canvas) -> None:
    art.polygon([(1110, 960), (1800, 930), (1800, 1440), (0, 1440), (0, 1300), (1110, 1250)], (168, 148, 116))
    art.polygon([(1110, 960), (1800, 930), (1800, 990), (1110, 1040)], (148, 140, 118))
    for x, y, across in ((1640, 1060, 120), (960, 1370, 190), (1600, 1360, 130), (420, 1390, 120)):
        art.oval((x, y), across, across * 0.16, SEA)
        art.oval((x + 8, y - 3), across * 0.7, across * 0.09, mixed(SEA, (255, 255, 255), 0.3))
    art.oval((1400, 1290), 300, 26, (130, 112, 88))


def _ripples(art: Canvas, places: list[tuple[int, int]]) -> None:
    for x, y in places:
        art.line([(x, y), (x + 90, y)], mixed(SEA, (255, 255, 255), 0.3), 5)


def _boat(art: Canvas, place: tuple[float, float], *, lean: float) -> None:
    x, y = place

    def at(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
        return turned([(x + dx, y + dy) for dx, dy in points], about=place, degrees=lean)

    art.line(at([(-20, -40), (-20, -520)]), (96, 72, 52), 14)
    art.polygon(at([(-2, -500), (-2, -90), (190, -90)]), (246, 240, 226))
    art.polygon(at([(-38, -440), (-38, -90), (-190, -90)]), (206, 84, 70))
    art.polygon(at([(-270, -60), (290, -60), (220, 60), (-210, 60)]), (40, 74, 104))
    art.polygon(at([(-270, -60), (290, -60), (282, -34), (-262, -34)]), (238, 230, 212))
