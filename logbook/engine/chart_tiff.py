"""A chart's raster as TIFF bytes with its exact resolution (TIFF 6.0, 1992: RATIONAL fields 282 and 283)."""

import io

import numpy as np
from PIL import Image, TiffImagePlugin

from logbook.engine.resolution import Resolution
from logbook.refusals import Refused

_X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT, _INCH = 282, 283, 296, 2
_MOST = 2**32 - 1


def tiff_bytes(raster: np.ndarray, *, dpi: Resolution) -> bytes:
    """The raster (uint8, rows × columns) as an uncompressed grey TIFF; reading it back gives the same resolution.

    Raises Refused where a resolution does not fit a TIFF rational of two 32-bit numbers.
    """
    if any(max(axis.numerator, axis.denominator) > _MOST for axis in dpi):
        raise Refused("dpi: a TIFF cannot hold this resolution exactly; use fewer decimals.", field="dpi")
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    for tag, axis in ((_X_RESOLUTION, dpi[0]), (_Y_RESOLUTION, dpi[1])):
        tags[tag] = TiffImagePlugin.IFDRational(axis.numerator, axis.denominator)
    tags[_RESOLUTION_UNIT] = _INCH
    stream = io.BytesIO()
    Image.fromarray(raster).save(stream, "TIFF", tiffinfo=tags)
    return stream.getvalue()
