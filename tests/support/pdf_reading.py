"""Reading PDFs with a library that had no part in writing them."""

import re

import numpy as np
import pypdfium2
import pypdfium2.raw

POINTS = {"A4": (210 / 25.4 * 72, 297 / 25.4 * 72), "Letter": (8.5 * 72, 11 * 72)}
"""Page sizes in points: ISO 216 and 8.5 x 11 in; a point is 1/72 in (ISO 32000, from memory)."""


def texts(pdf: bytes) -> list[str]:
    """The text of each page; spaces and line ends are one space, a word broken at its hyphen is whole again."""
    with pypdfium2.PdfDocument(pdf) as document:
        raw = [page.get_textpage().get_text_range() for page in document]
    return [re.sub(r"\s+", " ", re.sub(r"\ufffe\s*|-[\r\n]+", "-", text)) for text in raw]


def sizes(pdf: bytes) -> list[tuple[float, float]]:
    """Width and height of each page's media box in points."""
    with pypdfium2.PdfDocument(pdf) as document:
        boxes = [page.get_mediabox() for page in document]
    return [(right - left, top - bottom) for left, bottom, right, top in boxes]


def image(pdf: bytes, page: int = 0, *, dpi: int = 200) -> np.ndarray:
    """One page as grey pixels, 0 black to 255 white."""
    with pypdfium2.PdfDocument(pdf) as document:
        return document[page].render(scale=dpi / 72, grayscale=True).to_numpy().squeeze()


def font_sizes(pdf: bytes, phrase: str) -> list[float]:
    """The size in points in which a phrase stands, wherever it stands on one line.

    A browser's pixel is 1/96 in, a point 1/72 in (CSS Values and Units, W3C: from memory); the writer draws in
    pixels and scales the page, so the size that the reader gives is in pixels.
    """
    found = []
    with pypdfium2.PdfDocument(pdf) as document:
        for page in document:
            textpage = page.get_textpage()
            at = textpage.get_text_range().find(phrase)
            if at >= 0:
                found.append(pypdfium2.raw.FPDFText_GetFontSize(textpage, at) * 72 / 96)
    return found


def lines(pdf: bytes) -> list[str]:
    """Every printed line of all pages."""
    with pypdfium2.PdfDocument(pdf) as document:
        return [line for page in document for line in page.get_textpage().get_text_range().splitlines()]
