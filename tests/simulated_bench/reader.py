"""A person who reads a pitch chart through a lens: counts fringes to the quarter, with an error. Imports nothing from
the project: it sees a raster, the boxes of its bands and nothing else."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simulated_bench.optics import Layer, Lens, Printer, landing, light

_NUDGES = 8


@dataclass(frozen=True)
class Look:
    """How the chart is read: the eye straight over the middle of the bands, the lens lying loose and a little askew."""

    lens: Lens
    printer: Printer
    distance: float
    gap: Layer
    spot_share: float = 0.2
    skew: float = 0.0
    lens_start: float = 0.0


def fringes(row: np.ndarray, *, look: Look, down: float = 0.0) -> float:
    """Fringes over the whole band, exact and signed: + where the band is finer than what fits the lens.

    ``down`` is the band's place along the lines, for a lens that is turned.
    """
    places, phase = turning_phase(row, look=look, down=down)
    return float(np.polyfit(places, phase, 1)[0]) * len(row) * look.printer.dot


def turning_phase(row: np.ndarray, *, look: Look, down: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Along a band, ridge by ridge: the place, and the phase (in rounds) at which dark turns light there.

    The reader nudges the lens by eighths of a ridge, head still, and watches where along the band dark turns light:
    the phase of that turning runs through one round per fringe.
    """
    length = len(row) * look.printer.dot
    first = look.lens_start + down * np.tan(look.skew)
    ridges = np.arange(-2, int(length / look.lens.pitch) + 3) * look.lens.pitch + first
    turning = np.zeros(len(ridges), dtype=complex)
    for nudge in range(_NUDGES):
        places = landing(ridges + nudge / _NUDGES * look.lens.pitch - length / 2, eye=0.0, distance=look.distance,
                         lens=look.lens, layer=look.gap) + length / 2
        seen = light(row, printer=look.printer, places=places, spot=look.spot_share * look.lens.pitch)
        turning += seen * np.exp(-2j * np.pi * nudge / _NUDGES)
    there = ~np.isnan(turning)
    return ridges[there], np.unwrap(np.angle(turning[there])) / (2 * np.pi)


def told(exact: float, *, rng: np.random.Generator, error: float = 0.25) -> str:
    """What the reader writes down: off by up to a quarter, then rounded to the quarter; zero is called solid."""
    quarters = round(4 * max(0.0, abs(exact) + rng.uniform(-error, error)))
    return "solid" if quarters == 0 else f"{quarters / 4:g}"


def band_rows(raster: np.ndarray, boxes: Sequence[Sequence[int]], *, turned: bool) -> list[np.ndarray]:
    """The middle row (turned: column) of each band as values 0 … 1."""
    rows = []
    for left, top, right, bottom in boxes:
        row = raster[top:bottom, (left + right) // 2] if turned else raster[(top + bottom) // 2, left:right]
        rows.append(row / 255.0)
    return rows
