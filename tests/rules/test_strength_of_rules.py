"""Note, ask, stop: what a reason can do, and what it can never do."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.refusals import Refused
from logbook.rules import gates, rollers, secondlook, stages, validity, waits
from logbook.rules.findings import ADJUSTABLE, Finding, Strength, ask, note, settle, stop, strongest, weighed

TODAY = date(2026, 5, 4)
NOW = datetime(2026, 5, 4, 10, 0, tzinfo=UTC)
LAMINATOR = rollers.MachineFacts(
    "Rosa",
    "laminator",
    "powered",
    manual="m",
    freeing_procedure="f",
    stop_position="s",
    isolator="i",
    competent_role="c",
    last_inspection="l",
    check_passed=True,
)
WORKER = rollers.WorkerFacts("Olga", TODAY + timedelta(days=300))
PITCH = validity.PitchFacts("test", "lens", "mode", "paper", "S-1", "across", NOW - timedelta(days=20))
JOB = validity.JobNeeds("lens", "mode", "paper", "S-1", "across", NOW, climate_strips=0.0, doubt_lenticules=0.02)

findings = st.lists(
    st.builds(
        Finding,
        st.sampled_from(Strength),
        st.sampled_from([*ADJUSTABLE, "other"]),
        st.just("A sentence."),
        st.booleans(),
    )
)


@given(
    findings,
    st.text(max_size=20),
    st.dictionaries(st.sampled_from([*ADJUSTABLE, "other"]), st.sampled_from(["note", "ask"])),
)
def test_no_reason_and_no_choice_gets_past_a_stop(found, reason, choices):
    if strongest(found) is Strength.STOP:
        with pytest.raises(Refused):
            settle(weighed(found, choices), reason=reason)


@given(findings, st.text(min_size=1, max_size=20).map(lambda words: f"hot{words}"))
def test_an_ask_passes_with_a_reason_and_keeps_it(found, reason):
    if strongest(found) is Strength.ASK:
        with pytest.raises(Refused):
            settle(found, reason="  ")
        assert settle(found, reason=reason) == reason.strip()
    elif strongest(found) is not Strength.STOP:
        assert settle(found, reason=reason) == ""


def test_the_owner_weighs_a_family_of_rules_by_the_word_before_the_colon():
    assert weighed([ask("wait: drying", "x")], {"wait": "note"})[0].strength is Strength.NOTE
    assert weighed([note("age", "x")], {"age": "ask"})[0].strength is Strength.ASK
    assert weighed([stop("wait: drying", "x")], {"wait": "note"})[0].strength is Strength.STOP


# --- rollers: minors after 29 CFR 570.63 and MHSWR 1999 reg 19 (taken over, not re-read); the rest is common practice


@pytest.mark.parametrize(
    "name", ["manual", "freeing_procedure", "stop_position", "isolator", "competent_role", "last_inspection"]
)
def test_a_blank_mandatory_fact_stops_a_powered_laminator(name):
    found = rollers.may_run(replace(LAMINATOR, **{name: " "}), [WORKER], today=TODAY, local_day=TODAY)
    assert [(one.strength, one.safety) for one in found] == [(Strength.STOP, True)]
    assert "NOT SET, do not run" in found[0].sentence


@pytest.mark.parametrize("name", ["stop_position", "isolator"])
def test_a_hand_driven_laminator_needs_no_stop_and_no_isolator(name):
    machine = replace(LAMINATOR, drive="hand", **{name: ""})
    assert rollers.may_run(machine, [WORKER], today=TODAY, local_day=TODAY) == []


def test_everything_in_place_is_no_finding():
    assert rollers.may_run(LAMINATOR, [WORKER], today=TODAY, local_day=TODAY) == []


@pytest.mark.parametrize(
    ("machine", "worker", "day", "rule"),
    [
        (replace(LAMINATOR, out_of_use="stop failed"), WORKER, TODAY, "out of use"),
        (LAMINATOR, WORKER, None, "daily check"),
        (LAMINATOR, WORKER, TODAY - timedelta(days=1), "daily check"),
        (replace(LAMINATOR, check_passed=False), WORKER, TODAY, "daily check"),
        (LAMINATOR, replace(WORKER, authorised_until=None), TODAY, "authorisation"),
        (LAMINATOR, replace(WORKER, authorised_until=TODAY - timedelta(days=1)), TODAY, "authorisation"),
        (LAMINATOR, replace(WORKER, under_18=True), TODAY, "under 18"),
        (LAMINATOR, replace(WORKER, under_18=True, minor_document="paper"), TODAY, "under 18"),
        (replace(LAMINATOR, drive="hand"), replace(WORKER, under_18=True), TODAY, "under 18"),
        (
            rollers.MachineFacts("G", "trimmer", "hand", cutting="guillotine", check_passed=True),
            replace(WORKER, under_18=True),
            TODAY,
            "under 18",
        ),
        (rollers.MachineFacts("L", "trimmer", "hand", cutting="lever"), WORKER, TODAY, "daily check"),
    ],
)
def test_these_are_stops_that_nobody_lifts_on_the_spot(machine, worker, day, rule):
    found = [
        one for one in rollers.may_run(machine, [worker], today=TODAY, local_day=day) if one.strength is Strength.STOP
    ]
    assert [(one.rule, one.safety) for one in found] == [(rule, True)]


def test_a_helper_is_judged_like_the_one_who_signs():
    found = rollers.may_run(
        LAMINATOR, [WORKER, replace(WORKER, name="Jon", authorised_until=None)], today=TODAY, local_day=TODAY
    )
    assert "Jon is not authorised" in found[0].sentence


def test_a_document_lets_a_minor_work_and_the_record_is_no_permission():
    worker = replace(
        WORKER, under_18=True, minor_document="apprentice contract", minor_issuer="the chamber", minor_adult="Olga"
    )
    found = rollers.may_run(LAMINATOR, [worker], today=TODAY, local_day=TODAY)
    assert [one.strength for one in found] == [Strength.NOTE]
    assert "no permission; check the law of this place" in found[0].sentence


def test_an_authorisation_that_ends_soon_or_was_given_by_oneself_is_a_note():
    worker = replace(WORKER, authorised_until=TODAY + timedelta(days=30), authorised_by_nobody_else=True)
    found = rollers.may_run(LAMINATOR, [worker], today=TODAY, local_day=TODAY)
    assert [one.strength for one in found] == [Strength.NOTE, Strength.NOTE]


# --- pitch on record


@pytest.mark.parametrize("name", ["lens_lot", "mode", "paper", "axis"])
def test_a_pitch_answers_for_its_own_lens_lot_mode_paper_and_axis_only(name):
    assert strongest(validity.may_serve(PITCH, replace(JOB, **{name: "another"}))) is Strength.STOP


@pytest.mark.parametrize(
    ("pitch", "job", "strength"),
    [
        (PITCH, JOB, None),
        (replace(PITCH, withdrawn="wrong paper"), JOB, Strength.STOP),
        (replace(PITCH, origin="carried over"), JOB, Strength.ASK),
        (replace(PITCH, origin="nominal"), JOB, Strength.ASK),
        (replace(PITCH, origin="forecast"), JOB, Strength.ASK),
        (replace(PITCH, scale_ended="head change"), JOB, Strength.ASK),
        (PITCH, replace(JOB, paper_lot="S-2"), Strength.NOTE),
        (PITCH, replace(JOB, now=NOW + timedelta(days=400)), Strength.NOTE),
        (PITCH, replace(JOB, climate_strips=0.09), None),
        (PITCH, replace(JOB, climate_strips=0.1), Strength.NOTE),
        (PITCH, replace(JOB, climate_strips=0.26), Strength.ASK),
        (PITCH, replace(JOB, doubt_lenticules=0.11), Strength.ASK),
        (PITCH, replace(JOB, distance_known=False), Strength.NOTE),
        (PITCH, replace(JOB, unconverted_lenticules=0.05), Strength.NOTE),
        (PITCH, replace(JOB, unconverted_lenticules=0.3), Strength.ASK),
    ],
)
def test_each_reason_has_its_strength(pitch, job, strength):
    assert strongest(validity.may_serve(pitch, job)) is strength


# --- gates, waits, stages, second looks


@pytest.mark.parametrize(
    ("gate", "sample", "strength"),
    [
        (gates.Gates(2, "approved", True, True, True), False, None),
        (gates.Gates(1, "approved", True, True, True), False, Strength.STOP),
        (gates.Gates(2, "approved", True, False, True), False, Strength.STOP),
        (gates.Gates(2, "approved", True, True, False), False, Strength.STOP),
        (gates.Gates(2, "approved", False, True, True), False, Strength.ASK),
        (gates.Gates(2, "change", True, True, True), False, Strength.ASK),
        (gates.Gates(2, "none", True, True, True), False, Strength.ASK),
        (gates.Gates(2, "waiting", True, True, True), True, None),
        (gates.Gates(2, "none", True, True, True, for_shop=True), False, None),
    ],
)
def test_the_three_gates(gate, sample, strength):
    assert strongest(gates.may_interlace(gate, sample=sample)) is strength


def test_a_wait_is_derived_from_when_it_began():
    wait = waits.Wait("Drying", NOW, Decimal(24))
    assert strongest(wait.findings(NOW + timedelta(hours=23, minutes=59))) is Strength.ASK
    assert wait.findings(NOW + timedelta(hours=24)) == []
    assert waits.Wait("Drying", None, Decimal(24)).findings(NOW) == []
    assert "23 h 30 min left of 24 h" in wait.findings(NOW + timedelta(minutes=30))[0].sentence


def test_the_way_goes_forward_only_and_ends():
    way = ["print"]
    while way[-1] != "parted":
        way.append(stages.next_stage(way[-1]))
    assert way == ["print", "dry", "adhesive", "laminate", "dwell", "parted"]
    for end in ("parted", "gone", "scrapped"):
        with pytest.raises(Refused):
            stages.next_stage(end)
    assert stages.stages_before("trim") == ("print", "dry", "adhesive", "laminate", "dwell")


def test_one_reader_is_a_note_and_two_who_differ_are_an_ask():
    assert strongest(secondlook.readers(["Olga"], apart_lpi=None, agree=True)) is Strength.NOTE
    assert strongest(secondlook.readers(["Olga", "Otto"], apart_lpi=Decimal("0.01"), agree=True)) is None
    assert strongest(secondlook.readers(["Olga", "Otto"], apart_lpi=Decimal("0.09"), agree=False)) is Strength.ASK


@pytest.mark.parametrize(
    ("warmth", "wet", "count"), [("23", "50", 0), ("20.9", "50", 1), ("23", "56", 1), ("30", "30", 2)]
)
def test_a_room_outside_its_band_is_noted(warmth, wet, count):
    assert len(list(secondlook.room(Decimal(warmth), Decimal(wet)))) == count
