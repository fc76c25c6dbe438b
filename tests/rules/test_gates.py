"""The gates of a job and the door. Rules of the bench: common practice, no source."""

from itertools import product

import pytest

from logbook.refusals import Refused
from logbook.rules import gates, stages
from logbook.rules.findings import Strength, settle, strongest

BOOLEANS = (True, False)


def _may_leave(**changed):
    facts = {
        "serial": "26-0001-A1",
        "sample": False,
        "for_order": True,
        "set_aside": None,
        "failed": False,
        "conceded": False,
    }
    return gates.may_leave(**{**facts, **changed})


def test_a_piece_leaves_only_when_nothing_speaks_against_it_whatever_else_is_true():
    for sample, for_order, aside, failed, conceded in product(BOOLEANS, BOOLEANS, (None, "damp"), BOOLEANS, BOOLEANS):
        found = _may_leave(sample=sample, for_order=for_order, set_aside=aside, failed=failed, conceded=conceded)
        expected = set()
        if sample and for_order:
            expected.add("sample")
        if aside:
            expected.add("set aside")
        if failed and not conceded:
            expected.add("inspection")
        assert {one.rule for one in found} == expected
        assert {one.strength for one in found} <= {Strength.STOP}


@pytest.mark.parametrize("fact", [{"sample": True}, {"set_aside": "damp"}, {"failed": True}])
def test_no_reason_opens_the_door(fact):
    with pytest.raises(Refused, match="26-0001-A1"):
        settle(_may_leave(**fact), reason="the customer waits")


@pytest.mark.parametrize(("answer", "current"), list(product(("approved", "change", "waiting", "none"), BOOLEANS)))
def test_the_customers_word_is_an_ask_and_never_a_stop(answer, current):
    """A shop that has the word by other ways goes on with a reason."""
    found = gates.may_interlace(gates.Gates(2, answer, current, True, True), sample=False)
    good = answer == "approved" and current
    assert strongest(found) is (None if good else Strength.ASK)
    assert len(found) == (0 if good else 1)


@pytest.mark.parametrize("sample", BOOLEANS)
def test_what_is_needed_to_interlace_at_all_is_needed_for_a_sample_too(sample):
    found = gates.may_interlace(gates.Gates(0, "approved", True, False, False), sample=sample)
    assert [one.rule for one in found] == ["pictures", "materials", "pitch"]
    assert strongest(found) is Strength.STOP


# --- stages


@pytest.mark.parametrize("stage", ["print", "pack"])
def test_what_stands_elsewhere_is_not_signed(stage):
    stages.expect(stage, stage, who="Sheet 26-0001-A-S1")
    with pytest.raises(Refused, match="Sheet 26-0001-A-S1 is at the stage"):
        stages.expect(stage, "dry", who="Sheet 26-0001-A-S1")


def test_what_lies_before_a_stage_is_in_bench_order_and_no_waiting_place():
    assert stages.stages_before("print") == ()
    assert stages.stages_before("pack") == ("print", "dry", "adhesive", "laminate", "dwell", "trim", "inspect")
    for no_stage in ("parted", "on sheet", "gone", "scrapped", "order"):
        with pytest.raises(Refused, match="no stage of the bench"):
            stages.stages_before(no_stage)


def test_bonding_is_the_point_of_no_return():
    ways = (*stages.SHEET_WAY, *stages.PRINT_WAY[1:])
    before = ways[: ways.index("dwell")]
    assert before == ("print", "dry", "adhesive", "laminate")
    assert set(ways[ways.index("dwell") :]) == set(stages.BONDED)
