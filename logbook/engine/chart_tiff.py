"""A chart's raster as TIFF bytes with its exact resolution (TIFF 6.0, 1992: RATIONAL fields 282 and 283)."""

import zlib

import numpy as np

from logbook import __version__
from logbook.engine import tiff
from logbook.engine.rasterfile import Form
from logbook.engine.resolution import Resolution

_DEFLATE_LEVEL = 6


def tiff_bytes(raster: np.ndarray, *, dpi: Resolution, compression: str = "none") -> bytes:
    """The raster (uint8, rows × columns) as a grey TIFF; reading it back gives the same resolution.

    ``compression`` is ``none``, which every printer's software reads, or ``deflate``, which makes a chart a hundred
    times smaller. Raises Refused where a resolution does not fit a TIFF rational of two 32-bit numbers.
    """
    rows, columns = raster.shape
    form = Form(dots=(columns, rows), channels=1, bits=8, dpi=dpi, compression=compression,
                software=f"logbook {__version__}")
    bands = [raster[top:top + form.strip_rows] for top in range(0, rows, form.strip_rows)]
    strips = [band.tobytes() if compression == "none" else _deflated(band) for band in bands]
    return b"".join([tiff.header_and_directory(form, [len(strip) for strip in strips], big=False), *strips])


def _deflated(band: np.ndarray) -> bytes:
    """Compressed after TIFF's predictor 2: each dot less its left neighbour."""
    differences = band.copy()
    differences[:, 1:] -= band[:, :-1]
    return zlib.compress(differences.tobytes(), _DEFLATE_LEVEL)
