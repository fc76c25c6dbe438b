"""Where the camera stood, from the four corner marks and its stated distance; and where a ray ends on the paper.

A plane seen by a camera gives a homography; with the distance known, the camera's focal length in pixels and its place
follow. Lens and air gap lie between the ridges, which the camera sees, and the ink, which the ridges show.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logbook.engine.distance import Layer

_ROUNDS = 12


@dataclass(frozen=True, slots=True)
class View:
    """The picture's size in pixels, the marks' middles in pixels (4, 2) and on paper (4, 2) in mm; the stated distance
    from the ridges in mm, and the layers under them."""

    size: tuple[int, int]
    seen: np.ndarray
    printed: np.ndarray
    distance_mm: float
    layers: tuple[Layer, ...]

    @property
    def depth_mm(self) -> float:
        """From the ridges down to the ink."""
        return sum(layer.thickness_mm for layer in self.layers)


@dataclass(frozen=True, slots=True)
class Pose:
    """The camera over the paper: its place in mm (z up from the ink) and the planes' homographies.

    ``paper`` and ``ridges`` take (x, y, 1) in mm to straightened pixels counted from the picture's middle; ``barrel``
    straightens: r' = r (1 + barrel (r/R)²), R half the diagonal. ``focal_px`` is the focal length in pixels.
    """

    view: View
    barrel: float
    focal_px: float
    place: np.ndarray
    paper: np.ndarray
    ridges: np.ndarray

    @property
    def tilt_deg(self) -> float:
        """Between the line from the lens box's middle to the camera and straight up."""
        return float(np.degrees(np.arctan2(np.hypot(*self.place[:2]), self.place[2])))

    def pixels(self, points: np.ndarray, *, plane: str = "paper") -> np.ndarray:
        """Where points in mm (…, 2) of the paper or the ridges stand in the picture: pixels (…, 2)."""
        straight = apply(self.paper if plane == "paper" else self.ridges, points)
        return bent(straight, self.view.size, self.barrel)

    def on_ridges(self, pixels: np.ndarray) -> np.ndarray:
        """Which points of the ridges' plane pixels (…, 2) show, in mm (…, 2)."""
        return apply(np.linalg.inv(self.ridges), straightened(pixels, self.view.size, self.barrel))

    def shift(self, points: np.ndarray) -> np.ndarray:
        """How far sideways of ridge points (…, 2) the ink lies that their middles show, mm (…, 2): Snell's law."""
        aside = points - self.place[:2]
        flat = np.hypot(aside[..., 0], aside[..., 1])
        sine = flat / np.hypot(flat, self.place[2] - self.view.depth_mm)
        reach = sum(layer.thickness_mm * np.tan(np.arcsin(sine / layer.index)) for layer in self.view.layers)
        return np.asarray(aside * (reach / np.maximum(flat, 1e-9))[..., None])


def pose(view: View, *, barrel: float = 0.0) -> Pose:
    """The camera that sees the marks there from its stated distance, through an objective with this barrel."""
    paper = homography(view.printed, straightened(view.seen, view.size, barrel))
    focal, wanted = float(np.hypot(*view.size)), view.distance_mm + view.depth_mm
    for _ in range(_ROUNDS):
        turn, place = _camera(paper, focal)
        focal *= wanted / place[2]
    turn, place = _camera(paper, focal)
    inner = np.diag([focal, focal, 1.0])
    # the ridges lie nearer to the camera; z runs up from the paper, against the turn's third column
    up = -turn[:, 2] * view.depth_mm
    back = -turn @ np.array([place[0], place[1], -place[2]])
    ridges = inner @ np.column_stack([turn[:, 0], turn[:, 1], back + up])
    return Pose(view=view, barrel=barrel, focal_px=focal, place=place, paper=paper, ridges=ridges)


def _camera(paper: np.ndarray, focal: float) -> tuple[np.ndarray, np.ndarray]:
    """Rotation (page's axes, its third away from the camera, to the camera's) and place (z up) for a focal length."""
    columns = np.diag([1 / focal, 1 / focal, 1.0]) @ paper
    columns = columns * np.sign(columns[2, 2]) * 2 / (np.linalg.norm(columns[:, 0]) + np.linalg.norm(columns[:, 1]))
    left, _, right = np.linalg.svd(np.column_stack([columns[:, :2], np.cross(columns[:, 0], columns[:, 1])]))
    turn = left @ right
    place = -turn.T @ columns[:, 2]
    return turn, np.array([place[0], place[1], -place[2]])


def straightened(pixels: np.ndarray, size: Sequence[int], barrel: float) -> np.ndarray:
    """Pixels (…, 2) counted from the middle, without the barrel."""
    centred = pixels - np.array(size) / 2
    share = np.sum(centred**2, axis=-1, keepdims=True) * 4 / (size[0] ** 2 + size[1] ** 2)
    return np.asarray(centred * (1 + barrel * share))


def bent(straight: np.ndarray, size: Sequence[int], barrel: float) -> np.ndarray:
    """The inverse of straightened."""
    centred = straight
    for _ in range(_ROUNDS if barrel else 0):
        share = np.sum(centred**2, axis=-1, keepdims=True) * 4 / (size[0] ** 2 + size[1] ** 2)
        centred = straight / (1 + barrel * share)
    return centred + np.array(size) / 2


def homography(points: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """The 3 × 3 matrix that takes four points (4, 2) to where they are seen (4, 2)."""
    rows, target = [], []
    for (x, y), (u, v) in zip(points, seen, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        target += [u, v]
    return np.append(np.linalg.solve(np.array(rows), np.array(target)), 1.0).reshape(3, 3)


def apply(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """A homography applied to points (…, 2)."""
    ends = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(ends[..., :2] / ends[..., 2:])
