"""A chart's TIFF, read back by a second library."""

import io
from fractions import Fraction

import numpy as np
import pytest
import tifffile
from PIL import Image

from logbook.engine.chart_tiff import tiff_bytes
from logbook.refusals import Refused

RASTER = np.arange(12, dtype=np.uint8).reshape(3, 4)


@pytest.mark.parametrize("compression", ["none", "deflate"])
@pytest.mark.parametrize("dpi", [
    (Fraction(720), Fraction(720)), (Fraction(9054, 25), Fraction(1440)), (Fraction(7199, 10), Fraction(7199, 10))])
def test_the_resolution_is_read_back_exactly(dpi, compression):
    # Source: TIFF 6.0 (1992): XResolution 282 and YResolution 283 RATIONAL, ResolutionUnit 296 = 2 (inch).
    with tifffile.TiffFile(io.BytesIO(tiff_bytes(RASTER, dpi=dpi, compression=compression))) as file:
        page = file.pages[0]
        assert tuple(Fraction(*page.tags[tag].value) for tag in (282, 283)) == dpi
        assert page.tags[296].value == 2
        assert (page.asarray() == RASTER).all()


@pytest.mark.parametrize("compression", ["none", "deflate"])
def test_every_dot_of_a_large_raster_is_read_back_by_two_libraries(compression):
    raster = np.random.default_rng(1).choice(np.array([0, 255], dtype=np.uint8), size=(1500, 3000))
    written = tiff_bytes(raster, dpi=(Fraction(720), Fraction(720)), compression=compression)
    assert (tifffile.imread(io.BytesIO(written)) == raster).all()
    with Image.open(io.BytesIO(written)) as image:
        assert image.info["dpi"] == (720, 720)
        assert (np.asarray(image) == raster).all()


def test_a_deflated_chart_is_a_hundred_times_smaller():
    raster = np.tile(np.array([0, 0, 255, 255], dtype=np.uint8), (2000, 500))
    dpi = (Fraction(720), Fraction(720))
    assert len(tiff_bytes(raster, dpi=dpi, compression="deflate")) * 100 < len(tiff_bytes(raster, dpi=dpi))


def test_a_resolution_that_no_rational_of_32_bits_holds_is_refused():
    with pytest.raises(Refused) as refusal:
        tiff_bytes(RASTER, dpi=(Fraction(2**40 + 1, 2**33), Fraction(720)))
    assert refusal.value.field == "dpi"
