"""What may stand on a stage's page: values, ticks, limits. Limits are shop defaults without a source."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.refusals import Refused
from logbook.rules import signing
from logbook.rules.findings import Strength
from logbook.rules.steplist import Stage, Step

SIZE = Step("size", "Measure the width.", record="number", unit="mm", low=Decimal("-1.0"), high=Decimal("1.0"))
BOW = Step("bow", "Measure the bow.", record="number", unit="mm", high=Decimal(1), required=True)
WARMTH = Step("warmth", "Read the thermometer.", record="number", unit="°C", low=Decimal(10))
CLEAN = Step("clean", "Clean both faces.", record="tick", required=True)
RESULT = Step("result", "Choose the result.", record="choice", choices=("passed", "failed"), required=True)
REMARK = Step("remark", "Say what you saw.", record="text")
LOOK = Step("look", "Look through the lens.")
SIGN = Step("inspect-sign", "Sign.", record="sign", required=True)
STAGE = Stage("inspect", "S11", "Inspect", "piece", (LOOK, SIZE, BOW, WARMTH, CLEAN, RESULT, REMARK, SIGN))
FILLED = {"bow": "0.5", "clean": "on", "result": "passed"}


def test_what_was_filled_in_is_recorded_in_step_order_with_its_unit():
    assert signing.checked_values(STAGE, {**FILLED, "size": " 0,4 ", "remark": "fine", "csrf_token": "secret"}) == [
        ("size", "0.4", "mm"),
        ("bow", "0.5", "mm"),
        ("clean", "ticked", ""),
        ("result", "passed", ""),
        ("remark", "fine", ""),
    ]


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({**FILLED, "clean": ""}, "clean"),
        ({**FILLED, "bow": "  "}, "bow"),
        ({**FILLED, "result": "perhaps"}, "result"),
        ({**FILLED, "size": "half a millimetre"}, "size"),
        ({**FILLED, "size": "NaN"}, "size"),
        ({**FILLED, "size": "inf"}, "size"),
        ({**FILLED, "size": "1,000.5"}, "size"),
        ({**FILLED, "size": "0_5"}, "size"),
        ({**FILLED, "size": "1e-1"}, "size"),
        ({**FILLED, "size": "0x1"}, "size"),
        ({**FILLED, "size": ","}, "size"),
        ({**FILLED, "size": "٣"}, "size"),
    ],
)
def test_what_is_missing_or_unreadable_is_refused_beside_its_field(values, field):
    with pytest.raises(Refused) as refused:
        signing.checked_values(STAGE, values)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("typed", "recorded"),
    [("0,4", "0.4"), ("-0,4", "-0.4"), ("+.5", "+.5"), (" ,5 ", ".5"), ("1.", "1."), ("0.400", "0.400")],
)
def test_a_number_is_recorded_as_it_was_typed_with_a_point(typed, recorded):
    kept = {key: value for key, value, _ in signing.checked_values(STAGE, {**FILLED, "size": typed})}
    assert kept["size"] == recorded
    assert signing.read_number(SIZE, typed) == Decimal(recorded)


@pytest.mark.parametrize(("typed", "mark", "recorded"), [("1,234", ",", "1.234"), ("1.234", ".", "1.234")])
def test_a_mark_of_the_writer_s_own_is_never_between_thousands(typed, mark, recorded):
    kept = signing.checked_values(STAGE, {**FILLED, "size": typed, signing.MARK: mark})
    assert {key: value for key, value, _ in kept}["size"] == recorded


@pytest.mark.parametrize(
    ("typed", "told"), [("1,234", {}), ("1,234", {signing.MARK: "."}), ("1.234", {signing.MARK: ","})]
)
def test_what_may_be_a_thousand_is_asked_about(typed, told):
    with pytest.raises(Refused, match=r"two ways; write 1[.,]234 or 1234") as refused:
        signing.checked_values(STAGE, {**FILLED, "size": typed, **told})
    assert refused.value.field == "size"
    assert not signing.outside_limits(STAGE, {**FILLED, "size": typed, **told})


def test_only_the_steps_of_one_moment_are_asked_for():
    rolls = Stage(
        "adhesive",
        "S7",
        "Adhesive",
        "sheet",
        (
            Step("gap", "Set the gap.", record="number", unit="mm", required=True),
            Step("go", "Roll.", moment="rollers", marker="rollers-start"),
            Step("bubbles", "Look for bubbles.", record="text", moment="after"),
            Step("adhesive-sign", "Sign.", record="sign", required=True, moment="after"),
        ),
    )
    assert signing.checked_values(rolls, {"bubbles": "none", "gap": "2"}, moment="after") == [("bubbles", "none", "")]
    with pytest.raises(Refused, match="Not recorded yet: Set the gap"):
        signing.checked_values(rolls, {"bubbles": "none"})


@pytest.mark.parametrize(
    ("values", "outside"),
    [
        ({"size": "1.0", "bow": "1"}, []),
        ({"size": "1.01"}, ["limit: size"]),
        ({"size": "-1,01"}, ["limit: size"]),
        ({"bow": "1.0001", "warmth": "9.9"}, ["limit: bow", "limit: warmth"]),
        ({"bow": "-5"}, []),
        ({"size": "abc", "bow": ""}, []),
    ],
)
def test_a_number_outside_its_limits_asks(values, outside):
    found = signing.outside_limits(STAGE, values)
    assert [one.rule for one in found] == outside
    assert {one.strength for one in found} <= {Strength.ASK}


def test_a_number_with_limits_that_stays_empty_is_kept_as_not_measured():
    assert not list(signing.unmeasured(STAGE, {signing.MARK: "."}))  # the page as it is first shown
    found = list(signing.unmeasured(STAGE, {**FILLED, SIZE.key: " ", WARMTH.key: "20"}))
    assert [(one.strength, one.sentence) for one in found] == [(Strength.NOTE, f"Not measured: {SIZE.text}")]


def test_a_number_asked_for_in_inches_is_kept_so_and_judged_by_the_limits_as_they_are_shown_there():
    # 1.0 mm by the international inch of 25.4 mm is 0.03937 in, shown as 0.039; 1 mm on 300 mm is 0.04 in on 12 in
    bow = Step("bow", "Measure the bow.", record="number", unit="mm per 300 mm", high=Decimal(1), required=True)
    stage = Stage("inspect", "S11", "Inspect", "piece", (SIZE, bow, SIGN))
    asked = {"size-unit": "in", "bow-unit": "in per 12 in"}
    kept = signing.checked_values(stage, {**asked, "size": "0,039", "bow": "0.04"})
    assert kept == [("size", "0.039", "in"), ("bow", "0.04", "in per 12 in")]
    assert not signing.outside_limits(stage, {**asked, "size": "0,039", "bow": "0.04"})
    (found,) = signing.outside_limits(stage, {**asked, "size": "0.04", "bow": "0.04"})
    assert found.sentence == "Measure the width. Written: 0.04 in, outside -0.039 to 0.039 in."
    with pytest.raises(Refused) as refused:
        signing.checked_values(stage, {"size": "1", "size-unit": "kg", "bow": "0"})
    assert refused.value.field == "size"


@given(st.decimals(min_value=-1000, max_value=1000, places=3))
def test_a_number_is_inside_its_limits_or_asks_and_keeps_every_digit(number):
    values = {**FILLED, "size": str(number)}
    assert bool(signing.outside_limits(STAGE, values)) is not (Decimal(-1) <= number <= 1)
    recorded = {key: value for key, value, _ in signing.checked_values(STAGE, values)}["size"]
    assert Decimal(recorded) == number


@pytest.mark.parametrize(
    ("step", "words"),
    [(SIZE, "-1.0 to 1.0 mm"), (BOW, "at most 1 mm"), (WARMTH, "at least 10 °C"), (REMARK, "")],
)
def test_limits_read_as_people_say_them(step, words):
    assert signing.limits(step) == words


SET_UP = Stage(
    "adhesive",
    "S7",
    "Adhesive",
    "sheet",
    (
        Step("rings", "Take off rings.", record="tick", safety=True, required=True),
        Step("words", "Agree on turn and stop.", record="tick", safety=True, required=True),
        Step("dust", "Dust the print.", record="tick", required=True),
        Step("lamp", "Switch on the lamp.", record="tick"),
        SIGN,
    ),
)


@pytest.mark.parametrize(
    ("ticks", "covered", "missing"),
    [
        ({"rings", "words", "dust"}, False, None),
        ({"rings", "dust"}, False, "words"),
        ({"rings", "words"}, False, "dust"),
        ({"dust"}, True, None),
        ({"rings", "words"}, True, "dust"),
        (set(), True, "dust"),
    ],
)
def test_every_required_tick_is_there_and_a_session_covers_only_safety(ticks, covered, missing):
    if missing is None:
        signing.check_ticks(SET_UP, ticks, safety_covered=covered)
        return
    with pytest.raises(Refused) as refused:
        signing.check_ticks(SET_UP, ticks, safety_covered=covered)
    assert refused.value.field == missing


def test_everything_that_is_missing_is_named_at_once_each_at_its_own_field():
    with pytest.raises(Refused) as ticks:
        signing.check_ticks(SET_UP, (), safety_covered=False)
    with pytest.raises(Refused) as values:
        signing.checked_values(STAGE, {})
    for refused, steps in ((ticks.value, SET_UP.steps), (values.value, STAGE.steps[:-1])):
        named = [refused.field, *(field for field, _ in refused.others)]
        assert named == [step.key for step in steps if step.required and step.record not in ("none", "sign")]
        assert all(sentence.startswith("Not ") for _, sentence in refused.others)


def test_doubt_and_an_undecided_failure_are_stops_and_the_makers_own_look_is_a_note():
    strengths = [
        signing.set_aside("26-0001-A1", "damp").strength,
        signing.undecided("26-0001-A1").strength,
        signing.inspected_by_maker("Olga").strength,
    ]
    assert strengths == [Strength.STOP, Strength.STOP, Strength.NOTE]


@pytest.mark.parametrize(("in_doubt", "ends", "told"), [
    (None, None, []),
    (None, date(2026, 3, 1), []),
    (None, date(2026, 2, 28), [("expiry", Strength.ASK)]),
    ("it peels", date(2026, 2, 28), [("lot", Strength.STOP), ("expiry", Strength.ASK)]),
])
def test_a_lot_in_doubt_stops_and_one_past_its_last_day_asks(in_doubt, ends, told):
    found = list(signing.lot_now("G-7", in_doubt, ends, today=date(2026, 3, 1)))
    assert [(one.rule, one.strength) for one in found] == told
    assert all("G-7" in one.sentence for one in found)
