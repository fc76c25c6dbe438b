"""Where sheets and prints stand: one way forward, no way back. The order of the bench: common practice, no source."""

import pytest

from logbook.refusals import Refused
from logbook.rules import stages


@pytest.mark.parametrize(
    ("stage", "following"),
    [
        ("print", "dry"),
        ("dry", "adhesive"),
        ("adhesive", "laminate"),
        ("laminate", "dwell"),
        ("dwell", "parted"),
        ("on sheet", "trim"),
        ("trim", "inspect"),
        ("inspect", "pack"),
        ("pack", "gone"),
    ],
)
def test_each_stage_has_one_after_it(stage, following):
    assert stages.next_stage(stage) == following


@pytest.mark.parametrize("stage", ["parted", "gone", "scrapped", "", "Print", "order"])
def test_nothing_comes_after_an_end_or_after_what_is_no_stage(stage):
    with pytest.raises(Refused, match="Nothing comes after"):
        stages.next_stage(stage)


def test_what_is_taken_back_goes_to_the_stage_of_its_newest_signature_only():
    assert stages.step_back("dry", "print") == "print"
    assert stages.step_back("inspect", "inspect") == "inspect"  # one that failed did not move on
    for stage, signed in (("laminate", "print"), ("print", "dry"), ("on sheet", "dwell")):
        with pytest.raises(Refused, match="cannot go back"):
            stages.step_back(stage, signed)


def test_the_ends_are_where_the_ways_end_and_scrap():
    assert set(stages.ENDED) == {stages.SHEET_WAY[-1], stages.PRINT_WAY[-1], "scrapped"}


def test_work_that_is_only_mounted_starts_where_the_rollers_start():
    """A print that the customer brings is neither printed nor dried here."""
    assert stages.MOUNT_ONLY_START == stages.ROLLER_STAGES[0] == "adhesive"
    assert stages.stages_before(stages.MOUNT_ONLY_START) == ("print", "dry")


def test_rollers_turn_before_bonding_is_over_and_at_no_other_stage():
    assert stages.ROLLER_STAGES == ("adhesive", "laminate")
    assert not set(stages.ROLLER_STAGES) & set(stages.BONDED)


def test_a_stage_lies_after_all_that_lie_before_it():
    bench = (*stages.stages_before("pack"), "pack")
    for stage in bench:
        before = stages.stages_before(stage)
        assert stage not in before
        assert all(set(stages.stages_before(earlier)) < set(before) for earlier in before)


@pytest.mark.parametrize(("stage", "words"), [
    ("print", "can be taken back within a minute."),
    ("adhesive", "what is bonded"),
    ("laminate", "what is bonded"),
    ("trim", "The bond cannot"),
    ("pack", "what has left has left"),
])
def test_each_stage_says_whether_it_can_be_undone(stage, words):
    """Bonding and leaving are final; a wrong tap elsewhere is not (common practice, no source)."""
    told = stages.undoing(stage)
    assert words in told
    assert told.startswith("This cannot") is (stage in ("adhesive", "laminate", "pack"))
