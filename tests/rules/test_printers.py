"""Printers: what must be known of them, and what follows where it is not. Common practice of the trade, no source:
100 %, nothing fitted, nothing sharpened, and a file in the resolution that the driver takes."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from logbook.refusals import Refused
from logbook.rules import printers
from logbook.rules.findings import Strength

IDA = printers.PrinterFacts(
    "Ida", prints_with="pigment ink", native_dpi="360, 1440x720", scaling_off="second tab", dry_hours=Decimal(0),
    manual="drawer A", isolator="plug",
)  # fmt: skip


def test_a_described_printer_asks_nothing_and_ink_that_need_not_dry_is_described():
    assert list(printers.findings(IDA, (Fraction(360), Fraction(360)))) == []
    assert list(printers.findings(IDA, (Fraction(1440), Fraction(720)))) == []


@pytest.mark.parametrize(("name", "words"), printers.REQUIRED)
def test_each_missing_fact_asks_by_its_name(name, words):
    one = replace(IDA, **{name: None if name == "dry_hours" else "  "})
    found = [one for one in printers.findings(one, (Fraction(360), Fraction(360))) if one.rule == "printer facts"]
    assert [(each.strength, words in each.sentence) for each in found] == [(Strength.ASK, True)]
    assert printers.undescribed(one) == [words]


@pytest.mark.parametrize("mode", [(600, 600), (720, 1440), (1440, 1440)])
def test_a_mode_that_the_driver_makes_anew_asks_with_both_numbers(mode):
    (found,) = printers.findings(IDA, (Fraction(mode[0]), Fraction(mode[1])))
    assert found.rule == "native dots"
    assert "360, 1440 × 720" in found.sentence
    assert str(mode[0]) in found.sentence


@pytest.mark.parametrize("text", ["many", "0", "720x-1", "720/0"])
def test_what_is_no_number_of_dots_is_refused(text):
    with pytest.raises(Refused, match="no number of dots"):
        printers.read_native(text)
