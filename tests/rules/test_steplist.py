"""The step list: what a bench may never be handed."""

import copy
from decimal import Decimal

import pytest

from logbook.refusals import Refused
from logbook.rules.steplist import StepList, read_step_list

ROLLERS = {
    "revision": "7",
    "title": "Two stages",
    "stage": [
        {
            "key": "bond", "code": "A", "title": "Bond", "on": "sheet", "machine": "laminator", "cards": ["C01"],
            "fails": ["Crease: lay it flat."],
            "step": [
                {"key": "check", "text": "Confirm the check.", "record": "tick", "safety": True, "required": True,
                 "hold": "H7", "guards": ["C01"]},
                {"key": "off", "text": "Take gloves off.", "gloves": "off"},
                {"key": "go", "text": "Roll.", "moment": "rollers", "marker": "rollers-start", "guards": ["C01"],
                 "text_alone": "Roll a little.", "text_two": "On the word, roll."},
                {"key": "halt", "text": "Stop.", "moment": "rollers", "marker": "rollers-stopped"},
                {"key": "signed", "text": "Sign.", "record": "sign", "moment": "after", "required": True},
            ],
        },
        {
            "key": "look", "code": "B", "title": "Look", "on": "piece", "undo": True,
            "step": [
                {"key": "bow", "text": "Measure the bow.", "record": "number", "unit": "mm", "low": 0, "high": 1.5},
                {"key": "verdict", "text": "Choose.", "record": "choice", "choices": ["passed", "failed"]},
                {"key": "seen", "text": "Sign.", "record": "sign", "required": True},
            ],
        },
    ],
}


def _changed(stage: int, place: int | None, /, **entries) -> dict:
    mapping = copy.deepcopy(ROLLERS)
    target = mapping["stage"][stage] if place is None else mapping["stage"][stage]["step"][place]
    target.update(entries)
    return mapping


def test_a_list_reads_into_frozen_stages_and_steps():
    steps = read_step_list(ROLLERS)
    assert steps.revision == "7"
    assert [stage.key for stage in steps.stages] == ["bond", "look"]
    assert steps.step("bow").high == Decimal("1.5")
    with pytest.raises(AttributeError):
        steps.stages[0].title = "Other"


def test_the_next_stage_follows_and_the_last_has_none():
    steps = read_step_list(ROLLERS)
    assert steps.next_stage("bond") is steps.stage("look")
    assert steps.next_stage("look") is None


def test_an_unknown_stage_or_step_is_refused_by_name():
    steps = read_step_list(ROLLERS)
    for ask in (steps.stage, steps.next_stage, steps.step):
        with pytest.raises(Refused, match="'paint'"):
            ask("paint")


@pytest.mark.parametrize(("people", "words"), [(0, "Roll."), (1, "Roll a little."), (2, "On the word, roll.")])
def test_a_step_has_a_wording_for_the_people_at_hand(people, words):
    assert read_step_list(ROLLERS).step("go").wording(people) == words


def test_a_step_without_other_wordings_keeps_its_own():
    assert [read_step_list(ROLLERS).step("halt").wording(people) for people in (0, 1, 2, 3)] == ["Stop."] * 4


def test_a_stage_tells_its_signature_holds_and_roller_steps():
    stage = read_step_list(ROLLERS).stage("bond")
    assert stage.sign.key == "signed"
    assert stage.holds == ("H7",)
    assert stage.has_rollers
    assert [step.key for step in stage.moment("rollers")] == ["go", "halt"]
    assert not read_step_list(ROLLERS).stage("look").has_rollers


def test_a_caution_stands_before_the_first_step_it_guards_only():
    stage = read_step_list(ROLLERS).stage("bond")
    assert stage.cards_before("check") == ("C01",)
    assert stage.cards_before("go") == ()


REFUSALS = {
    "a record between the roller marks": (_changed(0, 2, record="tick"), "nothing is recorded"),
    "a required step between the roller marks": (_changed(0, 2, required=True), "nothing is recorded"),
    "a number between the roller marks": (_changed(0, 3, record="number", unit="mm"), "nothing is recorded"),
    "a roller mark away from the rollers": (_changed(0, 1, marker="rollers-start"), "belong to steps at the rollers"),
    "rollers that never stop": (_changed(0, 3, marker=""), "start once and stop once"),
    "rollers that stop before they start": (
        _changed(0, None, step=[*ROLLERS["stage"][0]["step"][:2],
                                {"key": "a", "text": "Roll.", "moment": "rollers", "marker": "rollers-stopped"},
                                {"key": "b", "text": "Roll.", "moment": "rollers", "marker": "rollers-start"},
                                ROLLERS["stage"][0]["step"][4]]), "start once and stop once"),
    "a roller step before the start mark": (
        _changed(0, None, step=[*ROLLERS["stage"][0]["step"][:2],
                                {"key": "early", "text": "Roll.", "moment": "rollers"},
                                *ROLLERS["stage"][0]["step"][2:]]), "first and the last"),
    "a step before the rollers that comes after them": (_changed(0, 4, moment="before"), "before, rollers, after"),
    "rollers without a laminator": (_changed(0, None, machine="printer"), "names the laminator"),
    "rollers without a safety tick": (_changed(0, 0, safety=False), "needs a safety tick"),
    "rollers without gloves off": (_changed(0, 1, gloves=""), "gloves come off"),
    "rollers with gloves on": (_changed(0, 1, gloves="on", text="Put gloves on."), "gloves come off"),
    "a glove change at moving rollers": (_changed(0, 2, gloves="off"), "no glove change"),
    "gloves on and off in one step": (_changed(0, 1, text="Gloves on, then gloves off."), "never stand in one step"),
    "a safety step that is no tick": (_changed(0, 0, record="photo", hold=""), "required tick before"),
    "a safety step that may be left out": (_changed(0, 0, required=False, hold=""), "required tick before"),
    "a safety step after the rollers": (_changed(0, 4, record="tick", safety=True), "required tick before"),
    "a hold that records nothing": (_changed(1, 0, hold="H9"), "required tick or signature"),
    "thirteen words": (_changed(1, 0, text="one " * 13), "more than 12 words"),
    "thirteen words for one person": (_changed(0, 2, text_alone="one " * 13), "more than 12 words"),
    "a number without a unit": (_changed(1, 0, unit=""), "needs its unit"),
    "limits on a tick": (_changed(0, 0, low=1), "belong to a number"),
    "limits the wrong way round": (_changed(1, 0, low=3), "above the upper"),
    "a limit that is no number": (_changed(1, 0, low="much"), "low must be a number"),
    "a limit without end": (_changed(1, 0, high="Infinity"), "high must be a number"),
    "one choice only": (_changed(1, 1, choices=["passed"]), "at least two"),
    "the same choice twice": (_changed(1, 1, choices=["passed", "passed"]), "at least two"),
    "choices on a signature": (_changed(1, 2, choices=["a", "b"]), "belong to a choice"),
    "no signature at the end": (_changed(1, 2, record="tick"), "exactly one required signature"),
    "a signature that may be left out": (_changed(1, 2, required=False), "exactly one required signature"),
    "a caution that is not the stage's": (_changed(0, 0, guards=["C01", "C09"]), "C09 stands at a step"),
    "a caution that guards nothing": (_changed(0, None, cards=["C01", "C05"]), "C05 guards no step"),
    "a caution first met at moving rollers": (_changed(0, 0, guards=[]), "read before the rollers start"),
    "a promise": (_changed(1, 0, text="Now it is safe."), "says 'safe'"),
    "another promise": (_changed(1, 0, text="Machine ready."), "says 'ready'"),
    "a third promise": (_changed(1, 1, choices=["OK", "bad"]), "says 'OK'"),
    "an entry nobody reads": (_changed(1, 0, colour="red"), "'colour' is not known"),
    "an unknown record": (_changed(1, 0, record="scan"), "record is 'scan'"),
    "an unknown machine": (_changed(0, None, machine="oven"), "machine is 'oven'"),
    "a place that is none of the three": (_changed(0, None, on="shelf"), "on is 'shelf'"),
    "a flag that is a word": (_changed(0, None, undo="yes"), "true or false"),
    "a text that is a number": (_changed(0, None, title=7), "must be a text"),
    "an empty text": (_changed(1, 0, text=" "), "text is missing"),
    "cards that are no list": (_changed(0, None, cards="C01"), "must be a list"),
    "two stages of one key": (_changed(1, None, key="bond"), "'bond' stands there twice"),
    "two steps of one key": (_changed(1, 0, key="go"), "'go' stands there twice"),
    "no stage at all": ({"revision": "1", "title": "Empty"}, "no stage"),
}


@pytest.mark.parametrize("case", REFUSALS)
def test_a_bad_list_is_refused_in_one_sentence(case):
    mapping, words = REFUSALS[case]
    with pytest.raises(Refused, match=words) as refusal:
        read_step_list(mapping)
    assert refusal.value.sentence.endswith(".")


def test_a_stage_that_does_not_say_what_it_is_recorded_on_is_refused():
    mapping = copy.deepcopy(ROLLERS)
    del mapping["stage"][0]["on"]
    with pytest.raises(Refused, match="on is missing"):
        read_step_list(mapping)


def test_two_signatures_in_one_stage_are_refused():
    mapping = copy.deepcopy(ROLLERS)
    mapping["stage"][1]["step"].insert(0, {"key": "first", "text": "Sign.", "record": "sign", "required": True})
    with pytest.raises(Refused, match="exactly one"):
        read_step_list(mapping)


def test_a_list_of_one_signature_is_enough():
    stage = {"key": "only", "code": "A", "title": "Only", "on": "job",
             "step": [{"key": "sign", "text": "Sign.", "record": "sign", "required": True}]}
    assert isinstance(read_step_list({"revision": "1", "title": "Short", "stage": [stage]}), StepList)
