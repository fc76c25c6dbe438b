"""Whether the code printed on a photographed chart is this chart's: its known squares compared with the picture.

Nothing is decoded: the text is known from the chart's description, and comparing needs far fewer pixels.
"""

import numpy as np
import segno

from logbook.engine.photo_chart import BoxMm, PrintedChart
from logbook.engine.photo_pose import apply

GOOD_MATCH = 0.35
"""Another chart's code agrees by chance, within about ± 0.1 over its several hundred squares."""
_QUIET, _FINDER = 4, 8
_BLURS = (0.0, 0.5, 0.8, 1.1, 1.5)


def match(grey: np.ndarray, chart: PrintedChart, paper: np.ndarray) -> float:
    """How well the picture agrees with the chart's code where ``paper`` (mm to pixels) puts it: −1 to 1.

    The better of the codes counts, for one may be covered.
    """
    return max(_match(grey, chart.code, box, paper) for box in chart.codes)


def _match(grey: np.ndarray, code: str, box: BoxMm, paper: np.ndarray) -> float:
    import cv2

    dark = np.array([list(row) for row in segno.make_qr(code, error="m").matrix_iter(border=_QUIET)], dtype=np.float32)
    count = len(dark)
    across = box[0] + (np.arange(count) + 0.5) * (box[2] - box[0]) / count
    down = box[1] + (np.arange(count) + 0.5) * (box[3] - box[1]) / count
    places = apply(paper, np.stack(np.meshgrid(across, down), axis=-1)).astype(np.float32) - np.float32(0.5)
    seen = cv2.remap(grey, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    telling = _telling(count)
    patterns = [cv2.GaussianBlur(dark, (0, 0), blur) if blur else dark for blur in _BLURS]
    return max(_correlation(-seen[telling].astype(float), pattern[telling]) for pattern in patterns)


def _telling(count: int) -> np.ndarray:
    """The squares that differ between codes: not the quiet zone, not the three corners that all codes share."""
    telling = np.zeros((count, count), dtype=bool)
    telling[_QUIET:count - _QUIET, _QUIET:count - _QUIET] = True
    near, far = slice(0, _QUIET + _FINDER), slice(count - _QUIET - _FINDER, count)
    telling[near, near] = telling[near, far] = telling[far, near] = False
    return telling


def _correlation(first: np.ndarray, second: np.ndarray) -> float:
    first, second = first - first.mean(), second - second.mean()
    size = float(np.sqrt(np.sum(first**2) * np.sum(second**2)))
    return float(np.sum(first * second)) / size if size > 0 else 0.0
