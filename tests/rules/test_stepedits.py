"""Editing the step list by rows: what may change, what needs a reason, what never goes."""

import copy
import tomllib

import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st

from logbook import resources
from logbook.refusals import Refused
from logbook.rules.stepedits import Row, Signed, edited
from logbook.rules.steplist import read_step_list

SHIPPED = tomllib.loads((resources.folder("safety") / "steps.toml").read_text(encoding="utf-8"))
OWNER = Signed("Olga", "2026-03-02")
WHY = Signed("Olga", "2026-03-02", "the press has a fixed guard")


def _rows(stage, mapping=SHIPPED):
    steps = read_step_list(mapping).stage(stage).steps
    return {
        step.key: Row(
            key=step.key,
            place=10 * number,
            text=step.text,
            text_alone=step.text_alone,
            text_two=step.text_two,
            record=step.record,
            unit=step.unit,
            low="" if step.low is None else str(step.low),
            high="" if step.high is None else str(step.high),
            choices=step.choices,
            required=step.required,
        )
        for number, step in enumerate(steps)
    }


def _with(row, **changes):
    return Row(**{**{name: getattr(row, name) for name in Row.__slots__}, **changes})


def _changed(stage, key, signed=OWNER, mapping=SHIPPED, **changes):
    rows = _rows(stage, mapping)
    rows[key] = _with(rows[key], **changes)
    return edited(mapping, stage, list(rows.values()), signed)


@pytest.mark.parametrize("stage", [stage["key"] for stage in SHIPPED["stage"]])
def test_rows_that_nobody_changed_change_nothing(stage):
    with pytest.raises(Refused, match="Nothing was changed"):
        edited(SHIPPED, stage, list(_rows(stage).values()), OWNER)


def test_a_plain_step_is_said_otherwise_and_only_it():
    made = _changed("print", "print-scale", text="Measure the scale bar with the long rule.")
    assert made.steps.revision == str(int(SHIPPED["revision"]) + 1)
    assert made.steps.step("print-scale").text == "Measure the scale bar with the long rule."
    assert made.steps.altered == ()
    same = copy.deepcopy(made.mapping)
    same["revision"] = SHIPPED["revision"]
    for stage in same["stage"]:
        for step in stage["step"]:
            if step["key"] == "print-scale":
                step["text"] = read_step_list(SHIPPED).step("print-scale").text
    assert same == SHIPPED


def test_a_new_step_stands_where_its_place_says_and_its_key_never_returns():
    rows = [*_rows("trim").values(), Row("", 5, "Photograph the back.", record="photo")]
    once = edited(SHIPPED, "trim", rows, OWNER)
    assert once.steps.stage("trim").steps[1].text == "Photograph the back."
    key = once.steps.stage("trim").steps[1].key
    gone = _changed("trim", key, mapping=once.mapping, gone=True)
    again = edited(
        gone.mapping, "trim", [*_rows("trim", gone.mapping).values(), Row("", 5, "Count the blades.")], OWNER
    )
    assert again.steps.stage("trim").steps[1].key != key


def test_a_new_step_may_wait_until_the_rollers_have_stopped():
    stage = next(one["key"] for one in SHIPPED["stage"] if any(step.get("moment") == "rollers" for step in one["step"]))
    rows = [*_rows(stage).values(), Row("", 10 * len(_rows(stage)) - 15, "Wipe the feed table.", after=True)]
    made = edited(SHIPPED, stage, rows, OWNER).steps.stage(stage).steps[-2]  # the signature stays the last
    assert (made.text, made.moment) == ("Wipe the feed table.", "after")


def _protecting():
    return [
        (stage.key, step.key)
        for stage in read_step_list(SHIPPED).stages
        for step in stage.steps
        if (step.safety or step.hold or step.gloves or step.guards) and step.moment == "before"
    ]


@pytest.mark.parametrize(("stage", "key"), _protecting())
def test_a_step_that_protects_somebody_is_changed_with_a_reason_only_and_the_reason_prints(stage, key):
    with pytest.raises(Refused, match="protects somebody") as refusal:
        _changed(stage, key, text="Something else is said.")
    assert refusal.value.field == "reason"
    made = _changed(stage, key, WHY, text="Something else is said.")
    assert len(made.steps.altered) == 1
    assert WHY.reason in made.steps.altered[0].sentence
    assert "Olga" in made.steps.altered[0].sentence


@pytest.mark.parametrize(("stage", "key"), _protecting())
def test_its_cautions_stay_in_the_stage_when_a_step_goes(stage, key):
    was = read_step_list(SHIPPED).stage(stage)
    try:
        made = _changed(stage, key, WHY, gone=True)
    except Refused as refusal:
        assert any(words in refusal.sentence for words in ("ends the stage", "stays", "needs", "come off", "safety"))
        return
    now = made.steps.stage(stage)
    assert now.cards == was.cards
    guarded = {card for step in now.steps for card in step.guards}
    assert guarded == {card for step in was.steps for card in step.guards}
    assert "taken out" in made.steps.altered[0].sentence


def test_what_was_changed_before_stays_on_paper_when_something_else_changes():
    once = _changed("trim", _first_guarded("trim"), WHY, text="Something else is said.")
    twice = _changed("print", "print-scale", mapping=once.mapping, text="Measure the bar.")
    assert twice.steps.altered == once.steps.altered


def _first_guarded(stage):
    return next(step.key for step in read_step_list(SHIPPED).stage(stage).steps if step.guards)


@pytest.mark.parametrize(
    ("stage", "key", "words"),
    [
        ("print", "print-sign", "ends the stage"),
        ("inspect", "inspect-result", "stays"),
        ("trim", "trim-width", "stays"),
    ],
)
def test_what_the_app_needs_does_not_go(stage, key, words):
    with pytest.raises(Refused, match=words):
        _changed(stage, key, WHY, gone=True)


def test_nothing_is_ever_recorded_while_the_rollers_move():
    rolling = next(step for step in read_step_list(SHIPPED).stage("adhesive").steps if step.moment == "rollers")
    made = _changed("adhesive", rolling.key, WHY, text="Watch the edge.", record="number", unit="mm", required=True)
    assert made.steps.step(rolling.key).record == "none"


def test_too_many_words_and_a_promise_are_refused_in_one_sentence():
    with pytest.raises(Refused, match="more than 12 words"):
        _changed("print", "print-scale", text="one two three four five six seven eight nine ten eleven twelve thirteen")
    with pytest.raises(Refused, match="promises"):
        _changed("print", "print-scale", text="Measure until it is safe.")


def test_a_list_that_somebody_changed_meanwhile_is_not_overwritten():
    made = edited(SHIPPED, "trim", [*_rows("trim").values(), Row("", 5, "Count the blades.")], OWNER)
    with pytest.raises(Refused, match="meanwhile"):
        edited(made.mapping, "trim", list(_rows("trim").values()), OWNER)
    with pytest.raises(Refused, match="no stage 'polish'"):
        edited(SHIPPED, "polish", [], OWNER)


@settings(max_examples=60, deadline=None)
@given(
    stage=st.sampled_from([stage["key"] for stage in SHIPPED["stage"]]),
    places=st.lists(st.integers(0, 200), min_size=40, max_size=40),
    gone=st.sets(st.integers(0, 30), max_size=4),
    new=st.lists(st.sampled_from(["Wipe the bench.", "Write the lot down.", "Look again."]), max_size=3),
)
def test_whatever_is_typed_the_result_is_a_list_that_may_stand_on_a_bench_or_a_sentence(stage, places, gone, new):
    rows = [
        _with(row, place=place, gone=number in gone)
        for number, (row, place) in enumerate(zip(_rows(stage).values(), places, strict=False))
    ]
    rows += [Row("", place, text) for place, text in zip(places[::-1], new, strict=False)]
    try:
        made = edited(SHIPPED, stage, rows, WHY)
    except Refused as refusal:
        assert len(refusal.sentence) > 10
        return
    again = read_step_list(tomllib.loads(tomli_w.dumps(made.mapping)))
    assert again == made.steps
    assert again.stage(stage).steps[-1].record == "sign"


def test_a_step_that_protects_is_moved_with_a_reason_only_and_that_prints():
    rows = _rows("trim")
    gloves = next(step.key for step in read_step_list(SHIPPED).stage("trim").steps if step.gloves)
    rows[gloves] = _with(rows[gloves], place=145)
    with pytest.raises(Refused, match="protects somebody"):
        edited(SHIPPED, "trim", list(rows.values()), OWNER)
    made = edited(SHIPPED, "trim", list(rows.values()), WHY)
    assert any(one.what == "moved" and one.text == rows[gloves].text for one in made.steps.altered)


def test_a_step_that_protects_is_recorded_otherwise_with_a_reason_only():
    key = next(
        step.key for step in read_step_list(SHIPPED).stage("trim").steps if step.guards and step.record == "none"
    )
    with pytest.raises(Refused, match="protects somebody"):
        _changed("trim", key, record="tick")
    assert "tick" in _changed("trim", key, WHY, record="tick").steps.altered[0].sentence


def test_another_wording_for_one_person_alone_prints_what_is_said_now():
    step = next(step for stage in read_step_list(SHIPPED).stages for step in stage.steps if step.text_alone)
    stage = next(one.key for one in read_step_list(SHIPPED).stages if step in one.steps)
    made = _changed(stage, step.key, WHY, text_alone="Stop, let go, clear it, go on.")
    assert "Stop, let go, clear it, go on." in made.steps.altered[0].sentence
