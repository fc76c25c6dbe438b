"""Grey rasters as PDF pages: exact page box, every dot embedded lossless and unresampled (ISO 32000)."""

import io
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pikepdf

from logbook.engine.paper_sizes import Paper
from logbook.engine.resolution import Resolution
from logbook.lengths import INCH_IN_MM
from logbook.refusals import Refused

POINTS_PER_INCH = 72
_DECIMALS = 6
"""Of a point: the page's own rounding stays under a millionth of a point."""


@dataclass(frozen=True, slots=True)
class RasterPage:
    """One page in inches: its size, and the raster's upper left corner on it."""

    raster: np.ndarray
    dpi: Resolution
    width_in: Fraction
    height_in: Fraction
    left_in: Fraction = Fraction(0)
    top_in: Fraction = Fraction(0)


def pdf_bytes(pages: Sequence[RasterPage]) -> bytes:
    """A PDF of these pages; the same pages give the same bytes."""
    with pikepdf.new() as pdf:
        for page in pages:
            pdf.pages.append(_page(pdf, page))
        stream = io.BytesIO()
        pdf.save(stream, deterministic_id=True, compress_streams=True)
        return stream.getvalue()


def page_of(raster: np.ndarray, *, dpi: Resolution) -> RasterPage:
    """A page exactly as large as the raster."""
    rows, columns = raster.shape
    return RasterPage(raster, dpi, width_in=columns / dpi[0], height_in=rows / dpi[1])


def page_on(paper: Paper, raster: np.ndarray, *, dpi: Resolution, what: str) -> RasterPage:
    """The raster between the margins of a sheet: at the upper one, in the middle across; a rounded dot may overlap.

    ``what`` it is called. Raises Refused where it is wider or higher than the margins leave.
    """
    rows, columns = raster.shape
    width, height, room = columns / dpi[0], rows / dpi[1], paper.printable_height_in
    if width > paper.printable_width_in + 1 / dpi[0] or (room is not None and height > room + 1 / dpi[1]):
        size = " by ".join(f"{float(inches * INCH_IN_MM):.0f}" for inches in (width, height))
        raise Refused(f"paper: the {what} is {size} mm and does not lie between its margins; take a larger one.",
                      field="paper")
    margin, whole = paper.margin.inches, paper.width.inches
    return RasterPage(raster, dpi, width_in=whole, left_in=(whole - width) / 2, top_in=margin,
                      height_in=height + 2 * margin if paper.height is None else paper.height.inches)


def _page(pdf: pikepdf.Pdf, page: RasterPage) -> pikepdf.Page:
    rows, columns = page.raster.shape
    width, height = columns / page.dpi[0], rows / page.dpi[1]
    bottom = page.height_in - page.top_in - height
    matrix = " ".join(str(_points(value)) for value in (width, Fraction(0), Fraction(0), height, page.left_in, bottom))
    image = pikepdf.Stream(
        pdf, zlib.compress(np.ascontiguousarray(page.raster).tobytes(), 6), Type=pikepdf.Name.XObject,
        Subtype=pikepdf.Name.Image, Width=columns, Height=rows, ColorSpace=pikepdf.Name.DeviceGray,
        BitsPerComponent=8, Filter=pikepdf.Name.FlateDecode, Interpolate=False)
    return pikepdf.Page(pikepdf.Dictionary(
        Type=pikepdf.Name.Page, MediaBox=[0, 0, _points(page.width_in), _points(page.height_in)],
        Resources=pikepdf.Dictionary(XObject=pikepdf.Dictionary(Raster=pdf.make_indirect(image))),
        Contents=pdf.make_stream(f"q {matrix} cm /Raster Do Q".encode())))


def _points(inches: Fraction) -> Decimal:
    points = inches * POINTS_PER_INCH
    return round(Decimal(points.numerator) / Decimal(points.denominator), _DECIMALS)
