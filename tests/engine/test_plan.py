"""Plans at their edges: what is no size, resolution, order or share is refused at its field."""

from decimal import Decimal
from fractions import Fraction

import pytest

from logbook.engine.plan import make_plan, number_text
from logbook.lengths import Length, parse_length
from logbook.refusals import Refused


def _plan(**changes):
    wish = {"lpi": "20", "dpi": "720", "width": parse_length("3in"), "height": parse_length("4in"),
            "flip": "left-right", "fit": "stretch", "pictures": 2}
    return make_plan(**{**wish, **changes})


@pytest.mark.parametrize(("changes", "field"), [
    ({"bleed": Length(Decimal(-1), "mm")}, "bleed"),
    ({"width": Length(Decimal(0), "mm")}, "width"),
    ({"shares": (Fraction(3, 2), Fraction(-1, 2))}, "shares"),
    ({"shares": (Fraction(1),)}, "shares"),
    ({"order": (1, 1)}, "order"),
    ({"flip": "sideways"}, "flip"),
    ({"dpi": None}, "dpi"),
])
def test_what_cannot_be_planned_is_refused_at_its_field(changes, field):
    with pytest.raises(Refused) as refused:
        _plan(**changes)
    assert refused.value.field == field


def test_whole_dots_across_leave_the_resolution_down_the_sheet_to_the_printer():
    plan = _plan(dpi=None, dots_per_lenticule=18, dpi_down="300")
    assert plan.dpi == (Fraction(360), Fraction(300))


@pytest.mark.parametrize(("value", "text"), [
    (Fraction(720), "720"), (Fraction(7205, 10), "720.5"), (Fraction(1, 3), "1/3"), (Fraction(10), "10"),
])
def test_a_number_is_written_exactly(value, text):
    assert number_text(value) == text
