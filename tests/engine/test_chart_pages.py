"""Charts on pages: margins honoured, bands numbered through, nothing lost."""

from decimal import Decimal
from fractions import Fraction

import pytest

from logbook.engine.chart import draw_chart
from logbook.engine.chart_pages import charts_on_paper, page_sidecar
from logbook.engine.paper_sizes import parse_paper
from logbook.engine.resolution import parse_dpi
from logbook.lengths import parse_length
from logbook.refusals import Refused

PAPERS = ["a4", "letter", "roll 17in", "330mm x 483mm"]


def laid(paper="a4", *, margin="5mm", bands=11, flip="left-right", dpi="300", **asked):
    return charts_on_paper(parse_paper(paper, margin=parse_length(margin)), lpi=Decimal("19.9"), step=Decimal("0.1"),
                           bands=bands, dpi=parse_dpi(dpi), flip=flip, **asked)


def ink_box_in(page):
    """Where the page's chart lies, in inches: left, top, right, bottom."""
    width, height = page.plan.size_dots[0] / page.plan.dpi[0], page.plan.size_dots[1] / page.plan.dpi[1]
    return page.left_in, page.top_in, page.left_in + width, page.top_in + height


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("flip", ["left-right", "up-down"])
@pytest.mark.parametrize("bands", [11, 21, 40])
def test_every_page_stays_within_its_margins_and_no_band_is_lost(paper, flip, bands):
    pages = laid(paper, flip=flip, bands=bands)
    margin, dot = parse_length("5mm").inches, Fraction(1, 300)
    for page in pages:
        left, top, right, bottom = ink_box_in(page)
        assert left >= margin - dot
        assert top >= margin
        assert right <= page.width_in - margin + dot
        assert bottom <= page.height_in - margin + dot
    numbers = [band.number for page in pages for band in page.plan.bands]
    assert numbers == list(range(1, bands + 1))
    pitches = [band.lpi for page in pages for band in page.plan.bands]
    assert pitches == [Decimal("19.9") + Decimal("0.1") * (2 * b - bands - 1) / 2 for b in range(1, bands + 1)]
    assert len({page.plan.length for page in pages}) == 1  # readings of one chart share one length


def test_a_coarse_chart_fits_one_page_of_either_size_as_long_as_the_margins_leave():
    # ISO 216: A4 is 210 mm wide; Letter is 8.5 in.
    assert [(len(laid(paper)), str(laid(paper)[0].plan.length)) for paper in ("a4", "letter")] == [
        (1, "200mm"), (1, "205.9mm")]


def test_a_fine_chart_that_one_page_cannot_hold_takes_two():
    pages = laid("a4", bands=21)
    assert [len(page.plan.bands) for page in pages] == [11, 10]
    assert {(page.width_in, page.height_in) for page in pages} == {(Fraction(2100, 254), Fraction(2970, 254))}


def test_a_roll_is_cut_as_long_as_the_chart():
    page = laid("roll 24in", bands=21)[0]
    assert page.height_in == page.plan.size_dots[1] / Fraction(300) + 2 * parse_length("5mm").inches


def test_the_asked_length_is_kept():
    assert laid("a4", length=parse_length("6in"))[0].plan.length == parse_length("6in")


def test_pages_of_one_chart_share_its_code():
    assert {page.plan.code for page in laid("a4", bands=21, code="7KQ2M")} == {"7KQ2M"}


def test_a_later_page_draws_its_own_bands_from_its_own_first_dot():
    page = laid("a4", bands=21, dpi="300")[1]
    band = page.plan.bands[0]
    left, top, right, _bottom = band.box_dots
    exact = [0 if ((i + Fraction(1, 2)) * Fraction(band.lpi) / 300) % 1 < Fraction(1, 2) else 255
             for i in range(right - left)]
    assert draw_chart(page.plan)[top, left:right].tolist() == exact


def test_a_pages_description_holds_its_size_in_inches():
    assert page_sidecar(laid("letter")[0])["width_in"] == "8.5"


@pytest.mark.parametrize(("paper", "asked"), [
    ("a4", {"length": "300mm"}), ("60mm x 297mm", {}), ("a4", {"band_height": "200mm"}), ("300mm x 60mm", {}),
    ("210mm x 60mm", {"flip": "up-down"})])
def test_a_page_that_holds_not_even_two_bands_is_refused(paper, asked):
    asked = {name: value if name == "flip" else parse_length(value) for name, value in asked.items()}
    with pytest.raises(Refused) as refusal:
        laid(paper, **asked)
    assert refusal.value.field == "paper"
