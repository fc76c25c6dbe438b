"""What an eye sees of two printed pictures through a lens that leaks, against what was meant.

Imports nothing from the project. Light adds up as on the bench of ``nulling``; L* is that of CIE 15,
116 f(Y) - 16, Y of linear sRGB primaries (IEC 61966-2-1).
"""

from collections.abc import Sequence

import numpy as np

from simulated_bench.nulling import Bench


def ghost(printed: Sequence[np.ndarray], meant: Sequence[np.ndarray], bench: Bench, *, kept: float = 1.0,
          lowest: float = 0.0) -> float:
    """The change of L* that the most changed twentieth of the worse picture exceeds.

    ``printed`` and ``meant`` are levels (high, wide, 3); what is meant shall be seen as lowest + kept * its light.
    """
    lights = [bench.light(one) for one in printed]
    worst = 0.0
    for own, leak in enumerate(bench.leaks):
        seen = (1 - leak) * lights[own] + leak * lights[1 - own]
        wanted = lowest + kept * bench.light(meant[own])
        worst = max(worst, float(np.percentile(np.abs(_lightness(seen) - _lightness(wanted)), 95)))
    return worst


def _lightness(light: np.ndarray) -> np.ndarray:
    luminance = light @ np.array([0.2126, 0.7152, 0.0722])
    cube = np.where(luminance > 216 / 24389, np.cbrt(luminance), (luminance * 24389 / 27 + 16) / 116)
    lightness: np.ndarray = 116 * cube - 16
    return lightness
