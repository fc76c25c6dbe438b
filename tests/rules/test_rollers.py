"""How long a setting up at the rollers holds, and whom a machine can hurt."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.refusals import Refused
from logbook.rules import rollers
from logbook.rules.findings import Strength, settle

NOW = datetime(2026, 5, 4, 10, 0, tzinfo=UTC)
TODAY = date(2026, 5, 4)


@pytest.mark.parametrize(
    ("away", "last_day", "covers"),
    [
        (timedelta(0), TODAY, True),
        (timedelta(minutes=30), TODAY, True),
        (timedelta(minutes=30, seconds=1), TODAY, False),
        (timedelta(minutes=5), TODAY - timedelta(days=1), False),
    ],
)
def test_half_an_hour_away_or_a_new_day_asks_everything_again(away, last_day, covers):
    """Asked again after half an hour away and on a new day: common practice, no source."""
    assert rollers.still_covers(last_used_at=NOW - away, last_day=last_day, now=NOW, today=TODAY) is covers


@pytest.mark.parametrize(
    ("kind", "drive", "cutting", "hurts", "bars"),
    # 29 CFR 570.63(a)(1)(i): power-driven guillotine cutters, laminating machines; MHSWR 1999 reg 19 (taken over,
    # not re-read); a lever trimmer is barred as a shop default
    [
        ("printer", "powered", "", False, False),
        ("laminator", "powered", "", True, True),
        ("laminator", "hand", "", True, False),
        ("trimmer", "powered", "guillotine", True, True),
        ("trimmer", "hand", "lever", True, True),
        ("trimmer", "hand", "rotary", True, False),
        ("trimmer", "hand", "knife", True, False),
    ],
)
def test_rollers_and_blades_can_hurt_and_some_bar_minors(kind, drive, cutting, hurts, bars):
    machine = rollers.MachineFacts("M", kind, drive, cutting=cutting)
    assert (machine.can_hurt, machine.bars_minors, machine.needs_daily_check) == (hurts, bars, hurts)


machines = st.builds(
    rollers.MachineFacts,
    st.just("M"),
    st.sampled_from(["printer", "laminator", "trimmer"]),
    st.sampled_from(["powered", "hand"]),
    cutting=st.sampled_from(["", "knife", "rotary", "guillotine", "lever"]),
    manual=st.sampled_from(["", " ", "drawer A"]),
    freeing_procedure=st.sampled_from(["", "raise the roller"]),
    stop_position=st.sampled_from(["", "both sides"]),
    isolator=st.sampled_from(["", "plug"]),
    competent_role=st.sampled_from(["", "owner"]),
    last_inspection=st.sampled_from(["", "May"]),
    out_of_use=st.sampled_from([None, "stop sticks"]),
    check_passed=st.booleans(),
)
workers = st.builds(
    rollers.WorkerFacts,
    st.just("Olga"),
    st.sampled_from([None, TODAY - timedelta(days=1), TODAY, TODAY + timedelta(days=400)]),
    st.booleans(),
    st.booleans(),
    st.sampled_from(["", "contract"]),
    st.sampled_from(["", "chamber"]),
    st.sampled_from(["", "Otto"]),
)


@given(machines, st.lists(workers, min_size=1, max_size=2), st.sampled_from([None, TODAY, TODAY - timedelta(days=1)]))
def test_whoever_may_run_a_machine_is_named_for_it_and_everything_about_it_is_known(machine, people, checked):
    found = rollers.may_run(machine, people, today=TODAY, local_day=checked)
    assert all(one.safety is (one.strength is Strength.STOP) for one in found), "every stop here is one of safety"
    if any(one.strength is Strength.STOP for one in found):
        with pytest.raises(Refused):
            settle(found, reason="the customer waits")
        return
    assert machine.out_of_use is None
    if machine.kind == "laminator" or (machine.kind, machine.drive) == ("trimmer", "powered"):
        assert machine.manual.strip()
        assert machine.freeing_procedure
        assert machine.competent_role
        assert machine.last_inspection
        assert machine.drive == "hand" or (machine.stop_position and machine.isolator)
    if machine.kind != "printer":
        assert machine.check_passed
        assert checked == TODAY
        for one in people:
            assert one.authorised_until >= TODAY
            assert not one.under_18 or one.minor_document
            assert not (one.under_18 and machine.bars_minors) or (one.minor_issuer and one.minor_adult)


def test_a_signature_that_came_late_is_a_note_with_the_time():
    found = rollers.signed_late("45 min")
    assert found.strength is Strength.NOTE
    assert "45 min before this signature" in found.sentence
