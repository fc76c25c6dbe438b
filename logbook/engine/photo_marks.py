"""The four corner marks of a chart in a photograph: black squares with a white square hole in the middle."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from logbook.engine import photo_code
from logbook.engine.photo_chart import BoxMm, PrintedChart
from logbook.engine.photo_pose import apply, homography
from logbook.refusals import Refused

_SEARCH_LONG_SIDE = 2200
_WINDOWS = (40, 14)
"""The threshold's neighbourhood as parts of the picture's longer side: a chart that fills it, and a smaller one."""
_LEAST_SIDE_PX, _LEAST_FILL, _MOST_OBLONG, _MOST_OFF_MIDDLE = 9.0, 0.8, 1.5, 0.1
_HOLE_SHARES = (0.02, 0.22)
_MOST_CANDIDATES = 12
_MOST_AREA_OFF = 0.35


@dataclass(frozen=True, slots=True)
class Square:
    """A dark square with a hole: its middle and its area in pixels of the whole photograph."""

    middle: tuple[float, float]
    area: float


@dataclass(frozen=True, slots=True)
class Found:
    """The marks' middles in pixels (4, 2) in the chart's order, and how well the printed code agrees there (to 1)."""

    middles: np.ndarray
    code_match: float


def find_marks(grey: np.ndarray, chart: PrintedChart) -> Found | None:
    """The chart's four marks in a grey picture (uint8, high × wide); None where four squares do not stand like them.

    The chart may lie turned by any quarter; its code says which way up it is. Raises Refused where squares that could
    be marks are missing.
    """
    squares = squares_in(grey)
    if len(squares) < 4:
        raise Refused(missing_words(len(squares)), field="photo")
    fitting = sorted(_fitting(squares, chart), key=lambda pair: pair[0])[:8]
    found = [Found(middles, photo_code.match(grey, chart, homography(chart.mark_centres, middles)))
             for _off, middles in fitting]
    best = max(found, key=lambda one: one.code_match, default=None)
    return best and Found(refined(grey, best.middles, chart), best.code_match)


def missing_words(there: int) -> str:
    """Why fewer than four marks cannot be read."""
    said = {0: "none", 1: "only one", 2: "only two", 3: "only three"}[there]
    return (f"photo: {said} of the four corner marks can be found; take the picture so that all four black squares "
            "are in it, sharp and not covered by lens, hand or shine.")


def squares_in(grey: np.ndarray) -> list[Square]:
    """Everything that looks like a corner mark, the most alike in size first."""
    import cv2

    times = max(1, -(-max(grey.shape) // _SEARCH_LONG_SIDE))
    small = cv2.resize(grey, None, fx=1 / times, fy=1 / times, interpolation=cv2.INTER_AREA) if times > 1 else grey
    small = cv2.GaussianBlur(small, (0, 0), 1.0)
    every: list[Square] = []
    for part in _WINDOWS:
        around = max(11, max(small.shape) // part) // 2 * 2 + 1
        dark = cv2.adaptiveThreshold(small, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, around, 12)
        new = [Square((s.middle[0] * times + (times - 1) / 2, s.middle[1] * times + (times - 1) / 2),
                      s.area * times**2) for s in _holed_squares(dark)]
        every += [s for s in new if all(np.hypot(*np.subtract(s.middle, o.middle)) > np.sqrt(s.area) / 2
                                        for o in every)]
    middle = np.median([s.area for s in every]) if every else 0.0
    return sorted(every, key=lambda s: abs(np.log(s.area / middle)))[:_MOST_CANDIDATES]


def _holed_squares(dark: np.ndarray) -> Iterator[Square]:
    import cv2

    contours, tree = cv2.findContours(dark, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    for number, contour in enumerate(contours):
        outermost, child = tree[0][number][3] < 0, tree[0][number][2]
        if not outermost or child < 0 or len(contour) < 4 * _LEAST_SIDE_PX:
            continue
        area = cv2.contourArea(contour)
        (x, y), (wide, high), _turn = cv2.minAreaRect(contour)
        if min(wide, high) < _LEAST_SIDE_PX or area < _LEAST_FILL * wide * high \
                or max(wide, high) > _MOST_OBLONG * min(wide, high):
            continue
        holes = [contours[hole] for hole in _siblings(tree[0], child)]
        largest = max(holes, key=cv2.contourArea)
        share = cv2.contourArea(largest) / area
        (hole_x, hole_y), _size, _turn = cv2.minAreaRect(largest)
        if _HOLE_SHARES[0] < share < _HOLE_SHARES[1] \
                and np.hypot(hole_x - x, hole_y - y) < _MOST_OFF_MIDDLE * np.sqrt(area):
            yield Square((float(x), float(y)), float(area))


def _siblings(tree: np.ndarray, first: int) -> Iterator[int]:
    while first >= 0:
        yield first
        first = tree[first][0]


def _fitting(squares: list[Square], chart: PrintedChart) -> Iterator[tuple[float, np.ndarray]]:
    """Quadruples that a camera could see as this chart's marks: how far off their sizes are, and their middles."""
    for four in itertools.combinations(squares, 4):
        points = np.array([square.middle for square in four])
        areas = np.array([square.area for square in four])
        aside = points - points.mean(axis=0)
        round_about = np.argsort(np.arctan2(aside[:, 1], aside[:, 0]))
        for turn in range(4):
            # clockwise from the upper left: upper left, upper right, lower right, lower left
            clockwise = np.roll(round_about, turn)
            order = clockwise[[0, 1, 3, 2]]
            off = _area_off(points[order], areas[order], chart)
            if off < _MOST_AREA_OFF:
                yield off, points[order]


def _area_off(points: np.ndarray, areas: np.ndarray, chart: PrintedChart) -> float:
    try:
        matrix = homography(chart.mark_centres, points)
    except np.linalg.LinAlgError:
        return np.inf
    expected = np.array([_area(apply(matrix, corners(mark))) for mark in chart.marks])
    if np.any(expected <= 0):
        return np.inf
    return float(np.max(np.abs(np.log(areas / expected))))


def corners(box: BoxMm) -> np.ndarray:
    """The corners of a box, clockwise from the upper left, (4, 2)."""
    left, top, right, bottom = box
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)])


def _area(quad: np.ndarray) -> float:
    """Signed area, positive clockwise on a picture's axes."""
    x, y = quad[:, 0], quad[:, 1]
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2)


def refined(grey: np.ndarray, middles: np.ndarray, chart: PrintedChart) -> np.ndarray:
    """The marks' middles as centres of their darkness, which blur does not move."""
    found = middles
    for _ in range(2):
        matrix = homography(chart.mark_centres, found)
        found = np.array([_centre_of_darkness(grey, apply(matrix, corners(_grown(mark)))) for mark in chart.marks])
    return found


def _grown(box: BoxMm, by: float = 0.9) -> BoxMm:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def _centre_of_darkness(grey: np.ndarray, quad: np.ndarray) -> np.ndarray:
    """In pixels, whose middles lie at halves."""
    import cv2

    high, wide = grey.shape
    left, top = np.maximum(np.floor(quad.min(axis=0)).astype(int), 0)
    right, bottom = np.minimum(np.ceil(quad.max(axis=0)).astype(int) + 1, (wide, high))
    part = grey[top:bottom, left:right].astype(np.float32)
    inside = np.zeros(part.shape, np.uint8)
    cv2.fillConvexPoly(inside, np.round(quad - (left, top) - 0.5).astype(np.int32), 1)
    white = float(np.percentile(part[inside > 0], 90))
    black = float(np.percentile(part[inside > 0], 10))
    weight = np.clip((white - part) / max(white - black, 1.0), 0, None) * inside
    weight[weight < 0.1] = 0
    rows, columns = np.indices(part.shape)
    middle = np.array([np.sum(weight * columns), np.sum(weight * rows)]) / weight.sum()
    return np.asarray(middle + np.array([left + 0.5, top + 0.5]))
