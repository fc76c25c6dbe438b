"""A camera over a chart under its lens: a JPEG file, and the pitch that is true from where the camera stands.
Imports nothing from the project.

Lengths in millimetres. The origin lies on the ridges over the middle of the lens box, x to the right, y down the page,
z from the lens to the camera. Every ridge shows one colour across its whole width: what a spot of 0.2 ridge sees of the
paper where the ray from the camera through the ridge's middle ends (Snell's law, in space).
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image

from simulated_bench.optics import INCH, Layer, Lens, Printer

_BLACK, _WHITE, _DESK, _SHEET_LEFT = 0.05, 0.85, 0.25, 0.92
_PAPER_MARGIN, _LENS_OVER = (6.0, 8.0), (4.0, 1.0)
_ROWS_AT_ONCE = 200


@dataclass(frozen=True)
class Scene:
    """Where everything is, and what the camera does to it; angles in radians, ``place`` in millimetres."""

    lens: Lens
    printer: Printer
    gap: Layer
    place: tuple[float, float, float]
    roll: float
    across_px: float
    skew: float
    start: float
    barrel: float = 0.0
    blur_px: float = 2.0
    noise: float = 0.02
    quality: int = 85
    light: tuple[float, float, float] = (0.0, 0.0, 0.0)
    exposure: float = 1.0
    off_aim: tuple[float, float] = (0.0, 0.0)
    focal_in_file: bool = False
    spot_share: float = 0.2

    @property
    def pitch(self) -> float:
        """Printed lines per printer's inch that are solid from the camera's true place."""
        reduced = self.lens.thickness / self.lens.index + self.gap.thickness / self.gap.index
        return self.printer.scale * self.lens.lpi / (1 + reduced / self.place[2])


@dataclass(frozen=True)
class Chart:
    """A printed chart: its dots (0 … 255), the box under the lens and the whole, both in dots."""

    raster: np.ndarray
    box: Sequence[int]


@dataclass(frozen=True)
class Known:
    """What the photographer states: distance and thickness within 3 %, index within 0.01."""

    distance: float
    thickness: float
    index: float


def scenes(count: int, *, lpi: float, seed: int) -> list[tuple[Scene, Known]]:
    """Scenes as a bench may have them, each with what its photographer states."""
    rng = np.random.default_rng(seed)
    return [_scene(lpi, rng) for _ in range(count)]


def _scene(lpi: float, rng: np.random.Generator) -> tuple[Scene, Known]:
    distance, tilt, towards = rng.uniform(400, 800), np.radians(rng.uniform(0, 10)), rng.uniform(0, 2 * np.pi)
    aside = distance * np.tan(tilt)
    lens = Lens(lpi=lpi * (1 + rng.uniform(-0.005, 0.005)), index=rng.uniform(1.49, 1.59),
                thickness=rng.uniform(1.4, 2.4) * INCH / lpi)
    scene = Scene(
        lens=lens, printer=Printer(dpi=720, scale=1 + rng.uniform(-0.0002, 0.0002)), gap=Layer(rng.uniform(0, 0.1), 1),
        place=(aside * np.cos(towards), aside * np.sin(towards), distance), roll=np.radians(rng.uniform(-4, 4)),
        across_px=rng.uniform(1000, 3500), skew=np.radians(rng.uniform(-0.3, 0.3)), start=rng.uniform(0, 1),
        barrel=rng.uniform(0, 0.01), light=(*rng.uniform(-0.2, 0.2, 2), rng.uniform(0, 0.2)),
        exposure=rng.uniform(0.6, 1.05), off_aim=tuple(rng.uniform(-8, 8, 2)))
    return scene, Known(distance * (1 + rng.uniform(-0.03, 0.03)), lens.thickness * (1 + rng.uniform(-0.03, 0.03)),
                        lens.index + rng.uniform(-0.01, 0.01))


def photograph(chart: Chart, scene: Scene, *, rng: np.random.Generator) -> bytes:
    """The JPEG file of a photograph of the whole page on a desk, in sRGB code values, grey in three channels."""
    camera = _Camera.over(chart, scene)
    picture = np.concatenate([_rows(chart, scene, camera, first) for first in range(0, camera.high, _ROWS_AT_ONCE)])
    blurred = cv2.GaussianBlur(picture, (0, 0), scene.blur_px) if scene.blur_px else picture
    coded = _srgb(np.clip(blurred * np.float32(scene.exposure), 0, 1))
    coded += rng.standard_normal(coded.shape, dtype=np.float32) * np.float32(scene.noise)
    grey = np.clip(coded * 255 + 0.5, 0, 255).astype(np.uint8)
    stream, exif = io.BytesIO(), Image.Exif()
    if scene.focal_in_file:
        diagonal = float(np.hypot(camera.wide, camera.high))
        exif.get_ifd(0x8769)[0xA405] = round(camera.focal / diagonal * float(np.hypot(36, 24)))
    Image.fromarray(np.stack([grey] * 3, axis=-1)).save(stream, "JPEG", quality=scene.quality, exif=exif)
    return stream.getvalue()


@dataclass(frozen=True)
class _Camera:
    place: np.ndarray
    turn: np.ndarray
    focal: float
    wide: int
    high: int
    barrel: float

    @classmethod
    def over(cls, chart: Chart, scene: Scene) -> "_Camera":
        page = _page(chart, scene)
        place, aim = np.array(scene.place), np.array([page[:, 0].mean(), page[:, 1].mean(), 0.0])
        aim[:2] += scene.off_aim
        turn = _looking(aim - place, roll=scene.roll)
        focal = scene.across_px / (8 * INCH) * float(np.linalg.norm(aim - place))
        seen = (page - place) @ turn.T
        ends = np.abs(seen[:, :2] / seen[:, 2:]).max(axis=0) * focal * 1.04
        return cls(place, turn, focal, 2 * int(ends[0]), 2 * int(ends[1]), scene.barrel)

    def seen_on(self, depth: float, first: int) -> tuple[np.ndarray, np.ndarray]:
        """Where the pixels of some rows meet the plane z = ``depth``: x and y, float32 (rows, columns)."""
        rows, columns = np.ogrid[first:min(first + _ROWS_AT_ONCE, self.high), 0:self.wide]
        x = (columns + 0.5 - self.wide / 2).astype(np.float32)
        y = (rows + 0.5 - self.high / 2).astype(np.float32)
        out = self._straight(x, y) / np.float32(self.focal)
        right, down, forward = self.turn.astype(np.float32)
        ray = [right[i] * x * out + down[i] * y * out + forward[i] for i in range(3)]
        reach = np.float32(depth - self.place[2]) / ray[2]
        return np.float32(self.place[0]) + ray[0] * reach, np.float32(self.place[1]) + ray[1] * reach

    def _straight(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """By how much a pixel lay further out before the barrel drew it in: r' = r (1 - b r²/R²), inverted."""
        share = (x**2 + y**2) / np.float32((self.wide**2 + self.high**2) / 4)
        out = np.ones_like(share)
        for _ in range(4):
            out = 1 / (1 - np.float32(self.barrel) * share * out**2)
        return out


def _looking(direction: np.ndarray, *, roll: float) -> np.ndarray:
    """Rows: the camera's right, down and forward."""
    forward = direction / np.linalg.norm(direction)
    right = np.cross(forward, np.array([0.0, 1.0, 0.0]))
    right /= np.linalg.norm(right)
    down = np.cross(right, forward)
    turned = np.cos(roll) * right + np.sin(roll) * down, np.cos(roll) * down - np.sin(roll) * right
    return np.stack([*turned, forward])


def _page(chart: Chart, scene: Scene) -> np.ndarray:
    left, top, right, bottom = _in_mm(chart, (0, 0, chart.raster.shape[1], chart.raster.shape[0]), scene.printer.dot)
    aside, over = _PAPER_MARGIN
    depth = -scene.lens.thickness - scene.gap.thickness
    return np.array([(x, y, depth) for x in (left - aside, right + aside) for y in (top - over, bottom + over)])


def _in_mm(chart: Chart, box: Sequence[int], dot: float) -> tuple[float, float, float, float]:
    middle_x, middle_y = (chart.box[0] + chart.box[2]) / 2, (chart.box[1] + chart.box[3]) / 2
    return ((box[0] - middle_x) * dot, (box[1] - middle_y) * dot, (box[2] - middle_x) * dot, (box[3] - middle_y) * dot)


def _rows(chart: Chart, scene: Scene, camera: _Camera, first: int) -> np.ndarray:
    """Linear light of some rows of the sharp picture."""
    paper_x, paper_y = camera.seen_on(-scene.lens.thickness - scene.gap.thickness, first)
    shade = _bare(chart, scene, paper_x, paper_y, camera=camera)
    x, y = camera.seen_on(0.0, first)
    left, top, right, bottom = _in_mm(chart, chart.box, scene.printer.dot)
    over_x, over_y = _LENS_OVER
    under = (x > left - over_x) & (x < right + over_x) & (y > top - over_y) & (y < bottom + over_y)
    shade[under] = _SHEET_LEFT * _through(chart, scene, x[under], y[under], camera=camera) + 0.02
    along, down, round_off = (np.float32(part) for part in scene.light)
    u, v = paper_x / 120, paper_y / 120
    return shade * (1 + along * u + down * v - round_off * (u**2 + v**2) / 2)


def _bare(chart: Chart, scene: Scene, x: np.ndarray, y: np.ndarray, *, camera: _Camera) -> np.ndarray:
    dot = np.float32(scene.printer.dot)
    shrink = max(1, int(scene.place[2] / camera.focal / dot))
    small = _shrunk(chart.raster, shrink)
    column = (x / dot + np.float32((chart.box[0] + chart.box[2]) / 2)) / shrink - np.float32(0.5)
    row = (y / dot + np.float32((chart.box[1] + chart.box[3]) / 2)) / shrink - np.float32(0.5)
    ink = cv2.remap(small, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=1.0)
    low, high = _page(chart, scene).min(axis=0), _page(chart, scene).max(axis=0)
    inside = (x > low[0]) & (x < high[0]) & (y > low[1]) & (y < high[1])
    return np.where(inside, np.float32(_BLACK) + np.float32(_WHITE - _BLACK) * ink, np.float32(_DESK))


_SHRUNK: dict[tuple[int, int], np.ndarray] = {}


def _shrunk(raster: np.ndarray, by: int) -> np.ndarray:
    key = (id(raster), by)
    if key not in _SHRUNK:
        high, wide = raster.shape[0] // by * by, raster.shape[1] // by * by
        blocks = raster[:high, :wide].reshape(high // by, by, wide // by, by)
        _SHRUNK[key] = (blocks.mean(axis=(1, 3), dtype=np.float32) / 255).astype(np.float32)
    return _SHRUNK[key]


def _through(chart: Chart, scene: Scene, x: np.ndarray, y: np.ndarray, *, camera: _Camera) -> np.ndarray:
    """What the ridges show at these places of the lens."""
    pitch, cos, sin = (np.float32(value) for value in (scene.lens.pitch, np.cos(scene.skew), np.sin(scene.skew)))
    start = np.float32(scene.start)
    across = x * cos + y * sin
    ridge = (np.round(across / pitch - start) + start) * pitch - across
    x, y = x + ridge * cos, y + ridge * sin
    aside, down = x - np.float32(camera.place[0]), y - np.float32(camera.place[1])
    share = _landing_share(scene, aside**2 + down**2)
    return _spot(chart, scene, x + share * aside, y + share * down)


def _landing_share(scene: Scene, square: np.ndarray) -> np.ndarray:
    """How far the refracted ray travels sideways, as a share of the way from the camera's foot (its square given)."""
    table = np.linspace(0, float(square.max(initial=0)) + 1, 4000)
    tangent = np.sqrt(table + 1e-6) / scene.place[2]
    sine = tangent / np.hypot(1, tangent)
    reach = sum(layer.thickness * np.tan(np.arcsin(sine / layer.index)) for layer in (scene.lens, scene.gap))
    return np.interp(square, table, reach / np.sqrt(table + 1e-6)).astype(np.float32)


def _spot(chart: Chart, scene: Scene, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Mean light of a spot across the lines; white paper beside the raster."""
    dot, wide = np.float32(scene.printer.dot), chart.raster.shape[1]
    kinds, of_row = _kinds(chart.raster)
    row = np.floor(y / dot + np.float32((chart.box[1] + chart.box[3]) / 2))
    row = np.clip(row, 0, len(of_row) - 1).astype(np.int32)
    start = of_row[row] * (wide + 1)
    middle = x / dot + np.float32((chart.box[0] + chart.box[2]) / 2)
    half = np.float32(scene.spot_share * scene.lens.pitch / dot / 2)
    ink = (_up_to(kinds, start, middle + half, wide) - _up_to(kinds, start, middle - half, wide)) / (2 * half)
    return _WHITE - (_WHITE - _BLACK) * ink


def _up_to(kinds: np.ndarray, start: np.ndarray, place: np.ndarray, wide: int) -> np.ndarray:
    place = np.clip(place, 0, np.float32(wide - 0.001))
    whole = place.astype(np.int32)
    low = kinds[start + whole]
    return low + (kinds[start + whole + 1] - low) * (place - whole)


_KINDS: dict[int, tuple[np.ndarray, np.ndarray]] = {}


def _kinds(raster: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The different rows of the raster as running sums of ink, one after the other, and which one each row is."""
    if id(raster) not in _KINDS:
        rows, of_row = np.unique(raster, axis=0, return_inverse=True)
        ink = np.cumsum(1 - rows / 255.0, axis=1).astype(np.float32)
        _KINDS[id(raster)] = (np.pad(ink, ((0, 0), (1, 0))).ravel(), of_row.ravel().astype(np.int32))
    return _KINDS[id(raster)]


def _srgb(linear: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, from memory."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
