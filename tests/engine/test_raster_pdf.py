"""PDF pages against two independent PDF libraries: page box, place of the raster, every dot."""

import io
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pikepdf
import pypdfium2
import pytest

from logbook.engine.chart import draw_chart
from logbook.engine.chart_pages import charts_on_paper
from logbook.engine.paper_sizes import parse_paper
from logbook.engine.raster_pdf import RasterPage, page_of, pdf_bytes
from logbook.engine.resolution import parse_dpi


@pytest.fixture(scope="module")
def pages():
    return charts_on_paper(parse_paper("a4"), lpi=Decimal("19.9"), step=Decimal("0.1"), bands=21,
                           dpi=parse_dpi("600x300"))


@pytest.fixture(scope="module")
def pdf(pages):
    return pdf_bytes([RasterPage(draw_chart(page.plan), page.plan.dpi, page.width_in, page.height_in, page.left_in,
                                 page.top_in) for page in pages])


def test_every_dot_of_every_page_comes_out_as_it_went_in(pages, pdf):
    with pikepdf.open(io.BytesIO(pdf)) as document:
        assert len(document.pages) == len(pages)
        for page, written in zip(pages, document.pages, strict=True):
            (image,) = written.get_images().values()
            found = np.asarray(pikepdf.PdfImage(image).as_pil_image())
            assert (found == draw_chart(page.plan)).all()
            assert image.Filter == "/FlateDecode"
            assert image.Interpolate == False  # noqa: E712  a PDF object equal to false


def test_the_page_box_is_a4_by_another_library(pdf):
    # Source: ISO 216, 210 × 297 mm; ISO 32000, a point is 1/72 in (from memory).
    document = pypdfium2.PdfDocument(pdf)
    for page in document:
        assert page.get_mediabox() == pytest.approx((0, 0, 210 / 25.4 * 72, 297 / 25.4 * 72), abs=1e-4)
        page.close()
    document.close()


def test_the_raster_stands_at_its_size_and_place_by_another_library(pages, pdf):
    document = pypdfium2.PdfDocument(pdf)
    page = document[0]
    (image,) = page.get_objects()
    left, bottom, right, top = image.get_bounds()
    plan = pages[0].plan
    assert right - left == pytest.approx(plan.size_dots[0] / 600 * 72, abs=1e-3)
    assert top - bottom == pytest.approx(plan.size_dots[1] / 300 * 72, abs=1e-3)
    assert left == pytest.approx(float(pages[0].left_in) * 72, abs=1e-3)
    assert top == pytest.approx(float(pages[0].height_in - pages[0].top_in) * 72, abs=1e-3)
    page.close()
    document.close()


def test_a_page_without_paper_is_as_large_as_its_raster():
    raster = np.zeros((90, 100), dtype=np.uint8)
    with pikepdf.open(io.BytesIO(pdf_bytes([page_of(raster, dpi=(Fraction(300), Fraction(150)))]))) as document:
        assert [float(edge) for edge in document.pages[0].mediabox] == [0, 0, 24, 43.2]


def test_the_same_pages_give_the_same_bytes():
    raster = np.arange(200, dtype=np.uint8).reshape(10, 20)
    page = page_of(raster, dpi=(Fraction(720), Fraction(720)))
    assert pdf_bytes([page]) == pdf_bytes([page])
