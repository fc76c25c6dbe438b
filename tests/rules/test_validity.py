"""Whether a pitch may serve: what each reason says. Climate after "note below a tenth of a strip, ask above a quarter":
shop defaults without a source."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.rules.findings import Strength, strongest
from logbook.rules.validity import JobNeeds, PitchFacts, may_serve

NOW = datetime(2026, 5, 4, 10, 0, tzinfo=UTC)
PITCH = PitchFacts("test", "lens", "mode", "paper", "S-1", "across", NOW - timedelta(days=20))
JOB = JobNeeds("lens", "mode", "paper", "S-1", "across", NOW)


def _said(pitch, job):
    return [(one.rule, one.strength) for one in may_serve(pitch, job)]


def test_what_is_not_known_is_no_finding():
    assert _said(PITCH, JOB) == []
    assert _said(replace(PITCH, paper_lot=None), replace(JOB, paper_lot="S-9")) == []


def test_a_pitch_from_before_that_a_print_confirmed_is_a_note_that_names_the_print():
    found = may_serve(replace(PITCH, origin="carried over", confirmed="the pitch strip of sheet 26-0001-A-S1"), JOB)
    assert [(one.rule, one.strength) for one in found] == [("origin", Strength.NOTE)]
    assert "26-0001-A-S1" in found[0].sentence


def test_what_happened_to_the_printer_is_asked_about_or_ends_what_was_found_before():
    for ended, strength in ((False, Strength.ASK), (True, Strength.STOP)):
        found = may_serve(replace(PITCH, scale_ended="new print head", ended=ended), JOB)
        assert [one.strength for one in found] == [strength]
        assert "new print head" in found[0].sentence


@pytest.mark.parametrize(("share", "advice"), [(0.2, "a finer reading"), (0.9, "read the chart from 2m")])
def test_doubt_says_what_would_make_it_smaller(share, advice):
    found = may_serve(PITCH, replace(JOB, doubt_lenticules=0.2, conversion_share=share, distance="2m"))
    assert [(one.rule, one.strength) for one in found] == [("uncertainty", Strength.ASK)]
    assert advice in found[0].sentence


@given(st.floats(0, 5))
def test_climate_is_a_note_from_a_tenth_of_a_strip_and_an_ask_past_a_quarter(strips):
    expected = None if strips < 0.1 else Strength.ASK if strips > 0.25 else Strength.NOTE
    assert strongest(may_serve(PITCH, replace(JOB, climate_strips=strips))) is expected


@given(
    st.sampled_from(["test", "carried over", "nominal", "forecast"]),
    st.sampled_from([None, "wrong paper"]),
    st.sets(st.sampled_from(["lens_lot", "mode", "paper", "axis"])),
)
def test_a_withdrawn_pitch_and_one_of_other_materials_stop_whatever_its_origin(origin, withdrawn, others):
    pitch = replace(PITCH, origin=origin, withdrawn=withdrawn)
    job = replace(JOB, **dict.fromkeys(others, "another"))
    stops = [one for one in may_serve(pitch, job) if one.strength is Strength.STOP]
    assert len(stops) == len(others) + (withdrawn is not None)
    assert all("another" in one.sentence or "wrong paper" in one.sentence for one in stops)


@pytest.mark.parametrize(
    ("lpi", "nominal", "stops"),
    [
        ("199.5", "20", True),  # a decimal mark in the wrong place
        ("15", "20", True),  # another lens
        ("19.81", "20", False),  # a 3 mm lens of index 1.56 seen from 200 mm alone: 20 / (1 + 1.92 / 200)
        ("20.2", "20", False),
        ("199.5", None, False),
    ],
)
def test_a_pitch_far_from_the_lens_makers_is_a_slip_or_another_lens(lpi, nominal, stops):
    pitch = replace(PITCH, lpi=Decimal(lpi), nominal_lpi=Decimal(nominal) if nominal else None)
    assert _said(pitch, JOB) == ([("nominal", Strength.STOP)] if stops else [])
