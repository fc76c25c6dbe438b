"""Papers as people name them."""

from fractions import Fraction

import pytest

from logbook.engine.paper_sizes import millimetres, parse_paper
from logbook.lengths import parse_length
from logbook.refusals import Refused


@pytest.mark.parametrize(("words", "width_mm", "height_mm"), [
    ("a4", 210, 297), ("A3", 297, 420), ("a2", 420, 594),  # ISO 216
    ("letter", Fraction(2159, 10), Fraction(2794, 10)), ("tabloid", Fraction(2794, 10), Fraction(4318, 10)),
    ("300mm x 400mm", 300, 400), ("12in×18in", Fraction(3048, 10), Fraction(4572, 10)), ("30cm x 40cm", 300, 400),
    ("roll 24in", Fraction(6096, 10), None), ("roll-610mm", 610, None)])
def test_a_paper_is_read_by_name_roll_or_size(words, width_mm, height_mm):
    paper = parse_paper(words)
    assert paper.width.mm == width_mm
    assert (paper.height.mm if paper.height else None) == height_mm


def test_what_is_printable_lies_between_the_margins():
    paper = parse_paper("a4", margin=parse_length("10mm"))
    assert paper.printable_width_in * Fraction(254, 10) == 190
    assert paper.printable_height_in * Fraction(254, 10) == 277
    assert parse_paper("roll 24in").printable_height_in is None


def test_a_length_in_hundredths_of_a_millimetre_is_never_longer():
    assert str(millimetres(Fraction(1, 3))) == "8.46mm"  # 25.4/3 = 8.4666…


@pytest.mark.parametrize("words", ["a9", "", "roll", "roll 24", "210 x 297", "210mm", "210mm x", "0mm x 10mm"])
def test_what_is_no_paper_is_refused(words):
    with pytest.raises(Refused) as refusal:
        parse_paper(words)
    assert refusal.value.field == "paper"


def test_a_negative_margin_is_refused():
    with pytest.raises(Refused) as refusal:
        parse_paper("a4", margin=parse_length("-5mm", positive=False))
    assert refusal.value.field == "margin"


@pytest.mark.parametrize("words", ["a4", "300mm x 200mm", "roll 8in"])
def test_margins_that_leave_nothing_are_refused(words):
    with pytest.raises(Refused, match="leave nothing"):
        parse_paper(words, margin=parse_length("110mm"))
