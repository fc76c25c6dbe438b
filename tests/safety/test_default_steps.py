"""The default step list: a walk through every step that hangs on the bench."""

import pytest

from logbook.paper.shelf import read_shelf

SHELF = read_shelf()
STAGES = SHELF.steps.stages
ROLLER_STAGES = [stage for stage in STAGES if stage.has_rollers]
STEPS = [step for stage in STAGES for step in stage.steps]

ORDER = {
    "order": "job", "pictures": "job", "materials": "job", "pitch": "job", "interlace": "job",
    "print": "sheet", "dry": "sheet", "adhesive": "sheet", "laminate": "sheet", "dwell": "sheet",
    "trim": "piece", "inspect": "piece", "pack": "piece",
}


def test_work_goes_from_the_order_to_the_door():
    assert {stage.key: stage.on for stage in STAGES} == ORDER


def test_every_hold_point_stands_in_its_stage():
    holds = {stage.key: set(stage.holds) for stage in STAGES if stage.holds}
    assert holds == {
        "order": {"H1"}, "pictures": {"H2"}, "materials": {"H3"}, "pitch": {"H4"}, "interlace": {"H5"}, "dry": {"H6"},
        "adhesive": {"H7"}, "laminate": {"H7", "H8"}, "dwell": {"H9"}, "inspect": {"H10"}, "pack": {"H11"},
    }


def test_nothing_can_be_taken_back_from_the_adhesive_to_the_trimmed_piece():
    # Common practice, no source: what is bonded or cut stays so.
    assert [stage.key for stage in STAGES if not stage.undo] == ["adhesive", "laminate", "dwell", "trim"]


def test_both_roller_stages_are_there():
    assert [stage.key for stage in ROLLER_STAGES] == ["adhesive", "laminate"]


@pytest.mark.parametrize("stage", ROLLER_STAGES, ids=lambda stage: stage.key)
def test_nothing_is_recorded_between_rollers_start_and_rollers_stopped(stage):
    markers = [step.marker for step in stage.steps]
    start, stop = markers.index("rollers-start"), markers.index("rollers-stopped")
    assert stop - start >= 2
    assert {step.record for step in stage.steps[start:stop + 1]} == {"none"}


@pytest.mark.parametrize("stage", ROLLER_STAGES, ids=lambda stage: stage.key)
def test_gloves_are_off_when_the_rollers_start(stage):
    # ISO 7010 P028 and an article of the converting industry (taken over, not re-read): gloves are drawn into a nip.
    before = [step.gloves for step in stage.moment("before") if step.gloves]
    assert before[-1] == "off"


@pytest.mark.parametrize("stage", ROLLER_STAGES, ids=lambda stage: stage.key)
def test_roller_steps_have_a_wording_for_one_and_for_two_people(stage):
    forward = next(step for step in stage.steps if step.marker == "rollers-start")
    assert forward.text_alone
    assert forward.text_two
    assert forward.text_alone != forward.text_two


def test_the_cut_glove_goes_on_before_the_cut_and_off_after_it():
    # 29 CFR 1910.138(a), (b) and ISO 7010 M009 (taken over, not re-read): a cut glove on the holding hand.
    keys = [step.key for step in SHELF.steps.stage("trim").steps]
    assert keys.index("trim-glove-on") < keys.index("trim-cut") < keys.index("trim-glove-off")


def test_every_caution_of_a_stage_has_a_card():
    assert {card for stage in STAGES for card in stage.cards} <= set(SHELF.cards)


def test_every_card_hangs_at_a_stage_or_in_the_daily_check():
    checked = {card for item in SHELF.machine_check.items for card in item.cards}
    assert {card for stage in STAGES for card in stage.cards} | checked == set(SHELF.cards)


def test_safety_ticks_are_few_and_only_at_the_rollers():
    assert {step.key.split("-")[0] for step in STEPS if step.safety} == {"adhesive", "laminate"}
    assert all(sum(step.safety for step in stage.steps) == 3 for stage in ROLLER_STAGES)


def test_a_sheet_without_trouble_asks_for_at_most_twelve_records_from_printing_to_inspection():
    # A goal of the project: at most twelve touches; ticks of a roller session are asked once, not once per stage.
    way = [SHELF.steps.stage(key) for key in ("print", "dry", "adhesive", "laminate", "dwell", "trim", "inspect")]
    required = [step for stage in way for step in stage.steps if step.required and not (
        step.safety and stage.key == "laminate")]
    assert len(required) <= 12


def test_climate_numbers_are_asked_for_where_the_rule_needs_them():
    needed = [step.key for step in STEPS if step.record == "number" and step.required]
    assert needed == ["materials-temperature", "materials-humidity"]
