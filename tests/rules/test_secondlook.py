"""A second pair of eyes at the chart, and the usual room: shop defaults without a source, but for the test climate."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.rules.findings import Strength
from logbook.rules.secondlook import HUMIDITY_PERCENT, WARMTH_C, readers, room


def _room(warmth, wet):
    return [one.sentence for one in room(Decimal(warmth) if warmth else None, Decimal(wet) if wet else None)]


def test_the_test_climate_of_paper_lies_inside_the_usual_band():
    """TAPPI T 402 (standard conditioning and testing atmospheres): 23.0 ± 1.0 °C, 50 ± 2 % RH (taken over)."""
    for warmth in ("22.0", "23.0", "24.0"):
        for wet in ("48", "50", "52"):
            assert _room(warmth, wet) == []


@pytest.mark.parametrize(
    ("warmth", "wet", "said"),
    [
        ("21", "45", []),
        ("25", "55", []),
        ("25.1", None, ["The room is at 25.1 °C; 21 to 25 is usual."]),
        (None, "44.9", ["The room is at 44.9 % RH; 45 to 55 is usual."]),
        (None, None, []),
        ("-3", "0", ["The room is at -3 °C; 21 to 25 is usual.", "The room is at 0 % RH; 45 to 55 is usual."]),
    ],
)
def test_a_room_outside_the_band_is_named_with_what_is_usual(warmth, wet, said):
    assert _room(warmth, wet) == said
    assert (WARMTH_C, HUMIDITY_PERCENT) == ((21, 25), (45, 55))


@given(st.decimals(-50, 60, places=1), st.decimals(0, 100, places=1))
def test_a_room_is_never_more_than_a_note(warmth, wet):
    """What a room does to a pitch is judged by the drift over the print, not by the room."""
    assert {one.strength for one in room(warmth, wet)} <= {Strength.NOTE}


@pytest.mark.parametrize(
    ("names", "agree", "strength", "words"),
    [
        ([], True, Strength.NOTE, "Read by nobody only"),
        (["Olga"], True, Strength.NOTE, "Read by Olga only; a second, blind reading"),
        (["Olga"], False, Strength.NOTE, "Read by Olga only"),
        (["Olga", "Otto"], False, Strength.ASK, "The readers Olga and Otto differ by 0.05 lines per inch"),
        (["Olga", "Olga, again"], False, Strength.ASK, "Olga and Olga, again differ by 0.05"),
    ],
)
def test_who_read_is_named(names, agree, strength, words):
    apart = Decimal("0.05") if len(names) > 1 else None
    (found,) = readers(names, apart_lpi=apart, agree=agree)
    assert (found.strength, found.rule) == (strength, "second reading")
    assert words in found.sentence


@pytest.mark.parametrize("second", ["Otto", "Olga, again"])
def test_two_who_agree_are_enough_and_may_be_the_same_person_blind(second):
    assert list(readers(["Olga", second], apart_lpi=Decimal("0.01"), agree=True)) == []
