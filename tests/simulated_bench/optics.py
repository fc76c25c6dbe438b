"""A bench of the tests' own: lens, printer and eye by exact refraction. Imports nothing from the project.

All lengths in millimetres on the paper, x along the pitch axis. Rays go through the middle of a ridge; the ridge's
blur is a spot of stated width. Source: Snell's law; 1 inch = 25.4 mm exactly.
"""

from dataclasses import dataclass

import numpy as np

INCH = 25.4


@dataclass(frozen=True)
class Lens:
    lpi: float
    thickness: float
    index: float

    @property
    def pitch(self) -> float:
        return INCH / self.lpi


@dataclass(frozen=True)
class Printer:
    """Nominal dots per inch, and how long it prints an inch (720/719.9 when it really prints 719.9 dots per inch)."""

    dpi: float
    scale: float

    @property
    def dot(self) -> float:
        return INCH / self.dpi * self.scale


@dataclass(frozen=True)
class Layer:
    """What lies between lens and paper: air under a loose lens, adhesive under a mounted one."""

    thickness: float
    index: float


def landing(vertices: np.ndarray, *, eye: float, distance: float, lens: Lens, layer: Layer) -> np.ndarray:
    """Where on the paper the rays from the eye through the ridges' middles end."""
    sine = (vertices - eye) / np.hypot(vertices - eye, distance)
    place = vertices.astype(float)
    for thickness, index in ((lens.thickness, lens.index), (layer.thickness, layer.index)):
        place = place + thickness * np.tan(np.arcsin(sine / index))
    return place


def light(row: np.ndarray, *, printer: Printer, places: np.ndarray, spot: float) -> np.ndarray:
    """Mean value (0 … 1) of a row of dots under spots of the given width; NaN where a spot leaves the row."""
    whole = np.concatenate([[0.0], np.cumsum(row, dtype=float)])
    edges = np.arange(len(whole)) * printer.dot

    def up_to(x: np.ndarray) -> np.ndarray:
        return np.interp(x, edges, whole)

    low, high = places - spot / 2, places + spot / 2
    mean = (up_to(high) - up_to(low)) * printer.dot / spot
    return np.where((low >= 0) & (high <= edges[-1]), mean, np.nan)


def eye_for_offset(offset: float, *, distance: float, lens: Lens, layer: Layer) -> float:
    """Sideways place of an eye that sees, through a ridge straight ahead of the origin, the paper at ``offset``."""
    low, high = -20 * distance, 20 * distance
    for _ in range(200):
        middle = (low + high) / 2
        seen = landing(np.array([0.0]), eye=middle, distance=distance, lens=lens, layer=layer)[0]
        low, high = (middle, high) if seen > offset else (low, middle)
    return (low + high) / 2
