"""What an error does to the print that the customer sees: lenticules end to end, share of the width, degrees.

A print is registered in its middle, so that a drift of d lenticules end to end is d/2 at either edge.
"""

import math
from dataclasses import dataclass

EXPANSION_PER_C = {"PETG": 6.8e-5, "acrylic": 7.7e-5, "polystyrene": 5.4e-5, "paper": 1.0e-5}
"""Linear thermal expansion per °C of the usual sheets; paper from memory, by direction 0.2 to 1.6 · 10⁻⁵."""


@dataclass(frozen=True, slots=True)
class Drift:
    """One error said in the three ways of the bench."""

    lenticules: float
    late_share: float
    degrees: float


def lenticules(*, width_in: float, error_lpi: float) -> float:
    """End to end over the print: width times the error of pitch (0.02 lines per inch over 8 in: 0.16)."""
    return abs(width_in * error_lpi)


def late_share(*, drift_lenticules: float, pictures: int) -> float:
    """The share of the width that still shows the neighbouring picture when the middle shows the right one fully.

    A place flips late where it is off by more than half a strip, 1/(2N) lenticule.
    """
    return max(0.0, 1 - 1 / (pictures * drift_lenticules)) if drift_lenticules > 0 else 0.0


def degrees(*, drift_lenticules: float, view_angle_deg: float) -> float:
    """How far the view turns from one end to the other: one lenticule is the whole view angle."""
    return drift_lenticules * view_angle_deg


def drift(*, width_in: float, error_lpi: float, pictures: int, view_angle_deg: float) -> Drift:
    """An error of pitch over one print, in lenticules, share of the width and degrees."""
    off = lenticules(width_in=width_in, error_lpi=error_lpi)
    return Drift(off, late_share(drift_lenticules=off, pictures=pictures),
                 degrees(drift_lenticules=off, view_angle_deg=view_angle_deg))


def climate_lenticules(*, width_in: float, lpi: float, change_c: float, lens_per_c: float,
                       paper_per_c: float = EXPANSION_PER_C["paper"]) -> float:
    """End-to-end drift between lens and paper for a change of temperature: W·LPI·|ΔT|·|α_lens − α_paper|."""
    return abs(width_in * lpi * change_c * (lens_per_c - paper_per_c))


def climate_pitch_change(*, lpi: float, change_c: float, per_c: float) -> float:
    """The lens's own change of pitch: −LPI·α·ΔT."""
    return -lpi * per_c * change_c


def skew_lenticules(*, height_in: float, lpi: float, skew_deg: float) -> float:
    """Lenticules crossed along the lines by a lens turned by ``skew_deg``: H·LPI·tan θ."""
    return height_in * lpi * math.tan(math.radians(abs(skew_deg)))
