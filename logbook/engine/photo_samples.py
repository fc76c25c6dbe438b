"""The light of a photographed chart's bands, block by block: what the fit of the fringes rests on."""

from dataclasses import dataclass

import numpy as np

from logbook.engine.photo_chart import PrintedBand, PrintedChart
from logbook.engine.photo_pose import Pose, apply

COLUMNS, ROWS = 200, 3
_INNER_SHARE, _END_MM = 0.7, 2.0
_BLUR_KEPT_MM = 1.2


@dataclass(frozen=True, slots=True)
class Samples:
    """One entry per block: band index, place in the photograph (n, 2) in pixels, linear light 0 … 1."""

    band: np.ndarray
    pixels: np.ndarray
    light: np.ndarray


def linear_light(grey: np.ndarray) -> np.ndarray:
    """sRGB code values (uint8) to linear light, float32 0 … 1: IEC 61966-2-1, from memory."""
    code = np.arange(256) / 255
    table = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return np.asarray(table[grey])


def sample(grey: np.ndarray, chart: PrintedChart, camera: Pose) -> Samples:
    """Blocks of every band's inner part, away from its edges, as the camera's pose lays them into the picture."""
    parts = [_band(grey, band, camera, turned=chart.turned) for band in chart.bands]
    return Samples(
        band=np.concatenate([np.full(len(light), index) for index, (_, light) in enumerate(parts)]),
        pixels=np.concatenate([pixels for pixels, _ in parts]), light=np.concatenate([light for _, light in parts]))


def _band(grey: np.ndarray, band: PrintedBand, camera: Pose, *, turned: bool) -> tuple[np.ndarray, np.ndarray]:
    import cv2

    start, side, length, height = _inner(band, turned=turned)
    across, down = _fine(camera, length / COLUMNS), _fine(camera, height / ROWS)
    along = start + (np.arange(COLUMNS * across) + 0.5) * length / (COLUMNS * across)
    beside = side + (np.arange(ROWS * down) + 0.5) * height / (ROWS * down)
    points = _points(along, beside, turned=turned)
    places = camera.pixels(points, plane="ridges").astype(np.float32) - np.float32(0.5)
    seen = cv2.remap(grey, places[..., 0], places[..., 1], cv2.INTER_LINEAR)
    light = linear_light(seen).reshape(ROWS, down, COLUMNS, across).mean(axis=(1, 3))
    middle = _points(along.reshape(COLUMNS, across).mean(axis=1), beside.reshape(ROWS, down).mean(axis=1),
                     turned=turned)
    return camera.pixels(middle, plane="ridges").reshape(-1, 2), light.ravel().astype(float)


def _inner(band: PrintedBand, *, turned: bool) -> tuple[float, float, float, float]:
    """Where the inner part starts along the lines' crossing and beside it, its length and height, in mm."""
    left, top, right, bottom = band.box
    low, high, first, last = (top, bottom, left, right) if turned else (left, right, top, bottom)
    height = (last - first) * _INNER_SHARE
    return low + _END_MM, (first + last - height) / 2, high - low - 2 * _END_MM, height


def _fine(camera: Pose, block_mm: float) -> int:
    """Points a block along one axis: about one for every pixel."""
    ends = apply(camera.paper, np.array([(-5.0, 0.0), (5.0, 0.0)]))
    return max(1, round(block_mm * float(np.hypot(*(ends[1] - ends[0]))) / 10))


def _points(along: np.ndarray, beside: np.ndarray, *, turned: bool) -> np.ndarray:
    x, y = np.meshgrid(along, beside)
    return np.stack([y, x] if turned else [x, y], axis=-1)
