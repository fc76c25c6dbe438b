"""The proof's page: views, size, flip, quantity, code and answer on one page, however many pictures there are."""

from io import BytesIO

import pytest
from PIL import Image

from logbook.paper.forms import ProofSheet, proof_sheet_html
from logbook.paper.pdf import pdf_bytes
from logbook.paper.views import Imprint, Thumbnail
from support.pdf_reading import texts


def _jpeg(size):
    out = BytesIO()
    Image.new("RGB", size, "teal").save(out, "JPEG")
    return out.getvalue()


@pytest.mark.parametrize("page", ["A4", "Letter"])
@pytest.mark.parametrize("pictures", [2, 4, 12, 30, 60])
def test_everything_for_an_answer_stands_on_one_page(pictures, page):
    numbers = range(1, pictures + 1)
    sheet = ProofSheet(
        imprint=Imprint(shop="Ridge & Co", printed_at="2026-03-02 09:00", printed_by="Olga", revision="1"),
        job="26-0001-A",
        title="Two Gulls",
        address="http://127.0.0.1/go/K7QMZ3TD",
        pictures=tuple(Thumbnail(number, f"view-{number}") for number in numbers),
        flip="up-down",
        customer="Pellworm Kites",
        finished_size="80mm × 100mm",
        viewing_distance="0.6m",
        quantity="5",
        files=" ".join(f"{number:08x}" for number in numbers),
    )
    view = _jpeg((640, 800))
    made = texts(pdf_bytes(proof_sheet_html(sheet, page=page), {f"view-{number}": view for number in numbers}))
    assert len(made) == 1
    for words in ("80mm × 100mm", "0.6m", "up–down", "Approved as shown", "Day", f"{pictures:08x}"):
        assert words in made[0], words
