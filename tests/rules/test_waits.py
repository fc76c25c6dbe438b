"""Waiting times: an ask while time is left, nothing afterwards. Hours are shop defaults without a source."""

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.rules import waits
from logbook.rules.findings import Strength
from logbook.rules.waits import Wait, describe

BEGAN = datetime(2026, 5, 4, 10, 0, tzinfo=UTC)


def test_the_shops_own_hours_are_these():
    """24 h before lamination and before trimming, 72 h before shipping: shop defaults, no source."""
    assert [waits.DRY_HOURS, waits.TRIM_HOURS, waits.SHIP_HOURS] == [24, 24, 72]


@pytest.mark.parametrize(
    ("span", "words"),
    [
        (timedelta(milliseconds=1), "1 min"),
        (timedelta(seconds=59), "1 min"),
        (timedelta(minutes=1), "1 min"),
        (timedelta(minutes=59), "59 min"),
        (timedelta(minutes=59, seconds=1), "1 h 00 min"),
        (timedelta(minutes=60), "1 h 00 min"),
        (timedelta(hours=71, minutes=4, seconds=30), "71 h 05 min"),
    ],
)
def test_a_span_is_said_in_hours_and_begun_minutes(span, words):
    assert describe(span) == words


@given(st.decimals(0, 200, places=2), st.timedeltas(timedelta(days=-1), timedelta(days=12)))
def test_a_wait_asks_exactly_while_time_is_left_and_never_says_that_none_is(hours, passed):
    wait, now = Wait("Dwell", BEGAN, hours), BEGAN + passed
    whole = timedelta(seconds=float(hours * 3600))
    found = wait.findings(now)
    assert bool(found) is (passed < whole)
    assert {one.strength for one in found} <= {Strength.ASK}
    assert not any(": 0 min left" in one.sentence for one in found)
    assert wait.left(now) == max(timedelta(0), whole - passed)


def test_a_wait_runs_in_real_hours_whatever_the_zone_says():
    """Clocks that were put forward in the night: 24 h are over an hour later by the wall clock."""
    winter, summer = timezone(timedelta(hours=1)), timezone(timedelta(hours=2))
    wait = Wait("Drying", datetime(2026, 3, 28, 12, 0, tzinfo=winter), Decimal(24))
    assert wait.findings(datetime(2026, 3, 29, 12, 59, tzinfo=summer))
    assert wait.findings(datetime(2026, 3, 29, 13, 0, tzinfo=summer)) == []


def test_a_wait_guards_its_stage_with_the_makers_hours_or_the_shops():
    signed = {"print": BEGAN, "laminate": BEGAN + timedelta(hours=3)}.get
    told = {"dry": Decimal(6), "dwell": None, "pack": Decimal(0)}
    dry, dwell, pack = (waits.guarding(stage, told, signed) for stage in ("dry", "dwell", "pack"))
    assert (dry.hours, dry.since) == (6, BEGAN)
    assert (dwell.hours, dwell.since) == (waits.TRIM_HOURS, BEGAN + timedelta(hours=3))
    assert pack.hours == 0  # the maker's word that nothing waits
    assert waits.guarding("trim", told, signed) is None


def test_what_never_began_and_what_takes_no_time_ask_nothing():
    assert Wait("Drying", None, Decimal(24)).until is None
    assert Wait("Drying", None, Decimal(24)).findings(BEGAN) == []
    assert Wait("Drying", BEGAN, Decimal(0)).findings(BEGAN) == []


@pytest.mark.parametrize(
    ("hours", "said"), [("24", "of 24 h."), ("24.0", "of 24 h."), ("1.50", "of 1.5 h."), ("100", "of 100 h.")]
)
def test_the_whole_time_is_said_without_needless_digits(hours, said):
    found = Wait("Drying", BEGAN, Decimal(hours)).findings(BEGAN)
    assert found[0].rule == "wait: Drying"
    assert found[0].sentence.endswith(said)
