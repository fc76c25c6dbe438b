"""Which share of a mounted print shows the right picture. Imports nothing from the project.

A ridge is right when, seen from the middle of a picture's zone at the design distance, that picture has at least the
stated share of the light of a spot 0.2 ridge wide.
"""

from dataclasses import dataclass

import numpy as np

from simulated_bench.optics import Layer, Lens, Printer, eye_for_offset, landing, light


@dataclass(frozen=True)
class Mounted:
    """A print of two pictures under its lens, ``slip`` ridges off its place in the middle."""

    lens: Lens
    printer: Printer
    distance: float
    adhesive: Layer
    slip: float = 0.0
    spot_share: float = 0.2


def share_right(second: np.ndarray, *, lpi: float, mounted: Mounted, needed: float = 0.5) -> float:
    """The worse of two eyes, one in the middle of each picture's zone.

    ``second`` is the row of dots along the pitch axis, 1 where the second picture (the one for the viewer at the
    right) is printed and 0 where the first is; ``lpi`` is the pitch it was made at, needed only to lay the lens over
    the strips at the middle.
    """
    return min(_share(second, lpi=lpi, mounted=mounted, needed=needed, picture=picture) for picture in (1, 2))


def _share(second: np.ndarray, *, lpi: float, mounted: Mounted, needed: float, picture: int) -> float:
    lens, length = mounted.lens, len(second) * mounted.printer.dot
    printed_pitch = 25.4 / lpi * mounted.printer.scale
    middle = (np.floor(length / 2 / printed_pitch) + 0.5) * printed_pitch + mounted.slip * lens.pitch
    ridges = middle + np.arange(-int(length / lens.pitch), int(length / lens.pitch) + 1) * lens.pitch
    eye = eye_for_offset(lens.pitch * (0.25 if picture == 1 else -0.25), distance=mounted.distance, lens=lens,
                         layer=mounted.adhesive)
    places = middle + landing(ridges - middle, eye=eye, distance=mounted.distance, lens=lens, layer=mounted.adhesive)
    own = second if picture == 2 else 1 - second
    seen = light(own, printer=mounted.printer, places=places, spot=mounted.spot_share * lens.pitch)
    over = ~np.isnan(seen) & (ridges >= lens.pitch / 2) & (ridges <= length - lens.pitch / 2)
    return float(np.mean(seen[over] >= needed - 1e-9))
