"""Numbers that depend on what is made. Tolerances are shop defaults and common practice, without a source."""

from decimal import Decimal
from fractions import Fraction

import pytest

from logbook.refusals import Refused
from logbook.rules import targets
from logbook.rules.findings import ask, note, settle_each, stop
from logbook.rules.signing import outside_limits
from logbook.rules.steplist import Stage, Step, read_step_list

WIDTH = Step("trim-width", "Measure the width.", record="number", unit="mm")
OWN = Step("trim-height", "Measure the height.", record="number", unit="mm", high=Decimal(90))
SIGN = Step("trim-sign", "Sign.", record="sign", required=True)
TRIM = Stage("trim", "S10", "Trim", "piece", (WIDTH, OWN, SIGN))
FOUR_INCHES = Fraction(4) * Fraction(254, 10)  # 1 inch = 25.4 mm exactly: international yard and pound agreement


@pytest.mark.parametrize(
    ("measured", "asks"), [("100.6", 0), ("102,6", 0), ("101.6", 0), ("100.5", 1), ("102.7", 1), ("4", 1)]
)
def test_a_side_off_by_more_than_a_millimetre_asks_why(measured, asks):
    aimed = targets.aimed(TRIM, {"trim-width": targets.finished(FOUR_INCHES)})
    found = outside_limits(aimed, {"trim-width": measured})
    assert len(found) == asks
    assert all("outside 100.6 to 102.6 mm" in one.sentence for one in found)


def test_the_step_says_what_is_ordered_and_a_shops_own_limits_stay():
    aim = targets.finished(FOUR_INCHES)
    width, height, _ = targets.aimed(TRIM, {"trim-width": aim, "trim-height": aim}).steps
    assert width.aim == "101.6 mm ordered, ± 1.0 mm"
    assert height == OWN


def test_a_bar_may_be_off_by_what_a_rule_can_tell_or_by_what_the_print_forgives():
    assert targets.scale_bar(100, quarter_strip_mm=0.08).tolerance == Decimal("0.5")
    assert targets.scale_bar(100, quarter_strip_mm=1.26).tolerance == Decimal("1.2")
    # 60 lines per inch over 8 inches, two pictures: a quarter strip is 1/8 of 480 lenticules, on 100 mm 0.03 mm
    fine = targets.scale_bar(100, quarter_strip_mm=100 / 8 / 480)
    assert fine.tolerance == Decimal("0.5")
    assert fine.beyond.startswith("the flip suffers from 0.03 mm on, which no rule tells")
    assert not targets.scale_bar(100, quarter_strip_mm=1.26).beyond
    # a page that is fitted into margins of 5 mm is printed at about 95 %: common practice, no source
    printing = Stage(
        "print", "S6a", "Print", "sheet", (Step("print-scale", "Measure.", record="number", unit="mm"), SIGN)
    )
    aimed = targets.aimed(printing, {"print-scale": targets.scale_bar(100, quarter_strip_mm=0.08)})
    assert outside_limits(aimed, {"print-scale": "95.2"})
    assert not outside_limits(aimed, {"print-scale": "100.2"})


def test_a_step_list_never_says_itself_what_is_made():
    step = {"key": "trim-width", "text": "Measure.", "record": "number", "unit": "mm", "aim": "80 mm"}
    stage = {"key": "trim", "code": "S10", "title": "Trim", "on": "piece", "step": [step]}
    with pytest.raises(Refused, match="aim"):
        read_step_list({"revision": "1", "title": "x", "stage": [stage]})


WAIT = ask("wait: Rest before trimming", "20 h left.", about="Rest before trimming")
BOW = ask("limit: dwell-bow", "Bow: 9 is outside 0 to 1.", about="Measure the bow")


def test_one_reason_never_serves_two_asks():
    with pytest.raises(Refused, match=r"20 h left\. Bow: 9 .* Give a reason for each") as refused:
        settle_each([WAIT, BOW], reason="the customer waits")
    assert refused.value.field == WAIT.field
    with pytest.raises(Refused, match=r"^Bow: 9 .* Give a reason for this, too,") as refused:
        settle_each([WAIT, BOW], reasons={WAIT.field: "the customer waits", BOW.field: " "})
    assert refused.value.field == BOW.field == "reason-limit-dwell-bow"
    told = settle_each([WAIT, note("x", "Note."), BOW], reasons={WAIT.field: "the customer waits", BOW.field: "board"})
    assert told == "Rest before trimming: the customer waits; Measure the bow: board"


def test_a_single_ask_keeps_its_reason_as_it_was_given_and_a_stop_takes_none():
    assert settle_each([WAIT], reason=" hurry ") == settle_each([WAIT], reasons={WAIT.field: "hurry"}) == "hurry"
    assert settle_each([note("x", "Note.")], reason="for nothing") == ""
    with pytest.raises(Refused, match=r"^No further"):
        settle_each([WAIT, stop("s", "No further.")], reason="hurry")
    with pytest.raises(Refused, match="Give a reason"):
        settle_each([WAIT], reasons={BOW.field: "board"})
