"""What a quote's line costs: plain arithmetic, worked out by hand beside each check."""

from decimal import Decimal

import pytest

from logbook.rules.reckoning import reckon, sheets_needed

PRICES = {"lens": Decimal("6.80"), "paper": Decimal("0.70"), "adhesive": Decimal("0.45")}


def _reckon(**changes):
    known = {
        "quantity": 12,
        "waste_percent": Decimal(10),
        "minutes": Decimal(240),
        "hourly_rate": Decimal(42),
        "sheet_prices": PRICES,
    }
    return reckon(**{**known, **changes})


@pytest.mark.parametrize(
    ("pieces", "percent", "sheets"), [(1, "0", 1), (1, "10", 2), (10, "10", 11), (11, "10", 13), (12, "0.1", 13)]
)
def test_waste_is_rounded_up_to_whole_sheets(pieces, percent, sheets):
    assert sheets_needed(pieces, waste_percent=Decimal(percent)) == sheets


def test_sheets_material_and_work_add_up():
    made = _reckon()
    assert made.sheets == 14  # 12 and 1.2 rounded up
    assert made.material == Decimal("111.30")  # 14 x (6.80 + 0.70 + 0.45)
    assert made.labour == Decimal("168.00")  # 4 hours at 42
    assert made.whole == Decimal("279.30")
    assert made.each(12) == Decimal("23.28")  # 23.275: up, so that the whole is covered
    assert made.unpriced == ()


def test_what_has_no_price_counts_as_nothing_and_is_named():
    made = _reckon(hourly_rate=None, sheet_prices={**PRICES, "paper": None})
    assert made.material == Decimal("101.50")  # 14 x 7.25
    assert made.labour == 0
    assert made.unpriced == ("paper", "an hour's work")


def test_no_minutes_need_no_rate():
    assert _reckon(minutes=Decimal(0), hourly_rate=None).unpriced == ()
