"""The example traveller as PDF, written once for all tests of paper."""

import pytest

from logbook.paper.pdf import pdf_bytes
from logbook.paper.traveller import traveller_html
from support.example_papers import PICTURES, traveller


@pytest.fixture(scope="session")
def write():
    """A function that writes the example traveller, changed as asked."""
    def _write(page: str = "A4", **changes) -> bytes:
        return pdf_bytes(traveller_html(traveller(**changes), page=page), PICTURES)

    return _write


@pytest.fixture(scope="session")
def a4(write):
    """The example traveller on A4."""
    return write()


@pytest.fixture(scope="session")
def letter(write):
    """The example traveller on Letter."""
    return write("Letter")
