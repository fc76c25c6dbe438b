"""Several signed in one act: asked once where the very same is asked, and no reason ever serves another ask."""

import pytest

from logbook.refusals import Refused
from logbook.rules.findings import ask, note, settle_each, stop
from logbook.rules.together import Weighed, reasons_of, told_together

WAIT = ask("wait: drying", "Drying: 3 h left of 24 h.", about="drying")
LONGER = ask("wait: drying", "Drying: 9 h left of 24 h.", about="drying")
OLD = ask("expiry", "Lot P-1 was to be used before 2026-01-31.", about="lot P-1")


def _three():
    return [Weighed("S1", "AAA", [WAIT]), Weighed("S2", "BBB", [WAIT, OLD, OLD]), Weighed("S3", "CCC", [LONGER])]


def test_one_alone_is_asked_as_ever():
    alone = _three()[1:2]
    assert told_together(alone) == [WAIT, OLD, OLD]
    assert reasons_of(alone, {WAIT.field: "a"}) == [{WAIT.field: "a"}]


def test_what_differs_has_a_field_of_its_own_and_names_whom_it_is_about():
    told = told_together(_three())
    assert [one.sentence for one in told] == [
        f"S1, S2: {WAIT.sentence}", f"S2: {OLD.sentence}", f"S3: {LONGER.sentence}",
    ]  # fmt: skip
    assert [one.matter for one in told] == ["drying (S1, S2)", "lot P-1 (S2)", "drying (S3)"]
    assert len({one.field for one in told}) == 3


def test_what_is_the_same_of_everybody_names_nobody():
    (told,) = told_together([Weighed("S1", "AAA", [WAIT]), Weighed("S2", "BBB", [WAIT])])
    assert (told.sentence, told.matter) == (WAIT.sentence, "drying")


def test_what_differs_by_the_minute_only_is_asked_once_with_every_sentence():
    short, long = (ask("wait", f"Drying: {left} left of 24 h.", alike="Drying: 24 h") for left in ("3 h", "9 h"))
    each = [Weighed("S1", "AAA", [short]), Weighed("S2", "BBB", [long]), Weighed("S3", "CCC", [])]
    (told,) = told_together(each)
    assert told.sentence == f"S1: {short.sentence} S2: {long.sentence}"
    assert told.matter == "wait (S1, S2)"
    assert reasons_of(each, {told.field: "fan dried"}) == [{"reason-wait": "fan dried"}] * 2 + [{}]
    assert told_together(each[:2])[0].matter == "wait", "everybody needs no name"


def test_each_gets_its_own_reasons_back_and_one_never_serves_another():
    first, second, third = (one.field for one in told_together(_three()))
    given = {first: "fan dried", second: "tried on a scrap", third: "thin ink"}
    assert reasons_of(_three(), given) == [
        {WAIT.field: "fan dried"},
        {WAIT.field: "fan dried", OLD.field: "tried on a scrap"},
        {LONGER.field: "thin ink"},
    ]
    del given[third]
    with pytest.raises(Refused, match=r"^S3: Drying: 9 h left of 24 h\. Give a reason for this, too,"):
        settle_each(told_together(_three()), reasons=given)
    assert reasons_of(_three(), given)[2] == {LONGER.field: ""}


def test_a_stop_of_one_stops_all_whatever_was_given():
    each = [*_three(), Weighed("S4", "DDD", [stop("lot", "Lot P-9 was set aside."), note("inspector", "Same hands.")])]
    told = told_together(each)
    with pytest.raises(Refused, match=r"^S4: Lot P-9 was set aside\.$"):
        settle_each(told, reasons={one.field: "never mind" for one in told})
