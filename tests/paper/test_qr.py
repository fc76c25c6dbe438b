"""QR codes on paper: read back by two readers, with a quiet zone that is really empty."""

import numpy as np
import pytest

from logbook.paper.codes import qr
from logbook.paper.pdf import pdf_bytes
from support.example_forms import every_paper
from support.example_papers import ADDRESS, PICTURES
from support.pdf_reading import image
from support.qr_reading import boxes, quiet_zone_is_empty, read_with_opencv, read_with_zxing

DPI = 300
MODULES = 29
"""Version 3 has 17 + 4 x 3 = 29 modules and holds 42 bytes at recovery M; version 2 holds 26
(ISO/IEC 18004, from memory). Every address here has between 27 and 42 characters."""
SHEETS = {ADDRESS + "/S4KD", ADDRESS + "/S9TX"}


@pytest.fixture(scope="module")
def first_page(a4):
    return image(a4, dpi=DPI)


@pytest.mark.parametrize("read", [read_with_zxing, read_with_opencv])
def test_two_readers_find_the_job_and_every_sheet(read, first_page):
    assert read(first_page) == {ADDRESS} | SHEETS


def test_the_quiet_zone_of_every_code_is_empty(first_page):
    found = boxes(first_page)
    assert set(found) == {ADDRESS} | SHEETS
    for text, box in found.items():
        assert quiet_zone_is_empty(first_page, box, modules=MODULES), text


def test_a_speck_in_the_quiet_zone_is_seen(first_page):
    left, top, right, _ = boxes(first_page)[ADDRESS]
    specked = first_page.copy()
    quiet = round(4 * (right - left) / MODULES)
    specked[top + 20, left - quiet + 2] = 0
    assert not quiet_zone_is_empty(specked, boxes(first_page)[ADDRESS], modules=MODULES)


def test_a_module_is_large_enough_for_an_office_printer(first_page):
    # At least four printer dots a module: 0.33 mm at 300 dpi (common advice of the QR code's makers, taken over).
    for text, (left, _, right, _) in boxes(first_page).items():
        assert 26 < len(text) <= 42
        assert (right - left) / DPI * 25.4 / MODULES >= 0.33


@pytest.mark.parametrize("name", ["labels", "chart-note", "out-of-use", "shipping-note", "inspection", "proof-sheet"])
def test_the_codes_of_other_papers_are_read_back_too(name):
    pixels = image(pdf_bytes(every_paper("A4")[name], PICTURES), dpi=DPI)
    wanted = {f"{ADDRESS}/{number}" for number in range(1, 23)} if name == "labels" else {ADDRESS}
    assert read_with_zxing(pixels) == wanted
    for text, box in boxes(pixels).items():
        assert quiet_zone_is_empty(pixels, box, modules=MODULES), text


def test_a_code_carries_its_label_in_words_and_no_style():
    drawing = str(qr("http://a.example/x", "Opens <job>"))
    assert "<title>Opens &lt;job&gt;</title>" in drawing
    assert "style=" not in drawing


def test_a_code_is_black_on_white_whatever_the_theme(first_page):
    left, top, right, bottom = boxes(first_page)[ADDRESS]
    inside = first_page[top + 2:bottom - 2, left + 2:right - 2]
    assert {0, 255} <= set(np.unique(inside).tolist())
