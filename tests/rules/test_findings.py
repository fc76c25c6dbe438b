"""Every rule that an owner weighs is one that something answers with, and what it says is a sentence for the bench."""

import ast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.refusals import Refused
from logbook.rules.findings import (
    ADJUSTABLE,
    Finding,
    Strength,
    ask,
    note,
    settle,
    settle_each,
    stop,
    strongest,
    weighed,
)
from logbook.rules.reasons import needed


@pytest.fixture(scope="module")
def answers(project_root):
    """(strength, rule) of every finding that the program can make."""
    found = set()
    for path in (project_root / "logbook").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name) or len(node.args) != 2:
                continue
            rule = node.args[0].values[0] if isinstance(node.args[0], ast.JoinedStr) else node.args[0]
            if node.func.id in ("note", "ask", "stop") and isinstance(rule, ast.Constant):
                found.add((node.func.id, rule.value.partition(":")[0]))
    return found


def test_an_owner_weighs_only_rules_that_answer(answers):
    assert set(ADJUSTABLE) <= {rule for strength, rule in answers if strength != "stop"}


def test_a_rule_that_stops_is_not_among_those_that_are_weighed(answers):
    assert not set(ADJUSTABLE) & {rule for strength, rule in answers if strength == "stop"}


def test_the_strengths_are_called_as_people_call_them():
    assert [strength.word for strength in sorted(Strength)] == ["note", "ask", "stop"]


FINDINGS = st.lists(
    st.builds(
        Finding, st.sampled_from(Strength), st.sampled_from([*ADJUSTABLE, "wait: dry", "x"]), st.text(), st.booleans()
    )
)
CHOICES = st.dictionaries(st.sampled_from([*ADJUSTABLE, "x"]), st.sampled_from(["note", "ask"]))


@given(FINDINGS, CHOICES)
def test_weighing_touches_no_stop_and_of_all_others_only_the_strength(found, choices):
    after = weighed(found, choices)
    assert [(one.rule, one.sentence, one.safety) for one in after] == [
        (one.rule, one.sentence, one.safety) for one in found
    ]
    for before, now in zip(found, after, strict=True):
        choice = choices.get(before.rule.partition(":")[0])
        if before.strength is Strength.STOP or choice is None:
            assert now == before
        else:
            assert now.strength.word == choice
    assert weighed(after, choices) == after


def test_a_refusal_says_every_stop_and_nothing_that_a_reason_would_have_settled():
    found = [note("a", "Note."), stop("b", "First stop."), ask("c", "Ask."), stop("d", "Second stop.", safety=True)]
    with pytest.raises(Refused) as refused:
        settle(found, reason="because")
    assert str(refused.value) == "First stop. Second stop."


def test_what_asks_for_a_reason_asks_beside_the_field_for_it():
    found = [note("a", "Note."), ask("b", "First."), ask("c", "Second.")]
    for reason in (None, "", " \n"):
        with pytest.raises(Refused, match=r"^First\. Second\. Give a reason") as refused:
            settle(found, reason=reason, field="why")
        assert refused.value.field == "why"
    assert settle(found, reason=" a rush ") == "a rush"


def test_nothing_found_is_no_strength_and_needs_no_reason():
    assert strongest([]) is None
    assert settle([], reason=None) == ""
    assert settle(iter([note("a", "Note.")]), reason="kept for nothing") == ""


@pytest.mark.parametrize("typed", ["x", "ok", " . ", "--", "a !"])
def test_a_letter_or_two_are_no_reason(typed: str) -> None:
    """A reason is read by somebody else, a year later; the least of three letters is a shop default, no source."""
    asked = [ask("climate", "The room is dry."), ask("age", "It is old.")]
    with pytest.raises(Refused, match="A letter or two tell nobody"):
        settle(asked[:1], reason=typed)
    with pytest.raises(Refused, match="A letter or two tell nobody"):
        settle_each(asked, reasons={asked[0].field: "only a trial", asked[1].field: typed})
    with pytest.raises(Refused, match=r"Say what is wrong\. A letter or two"):
        needed(typed, "Say what is wrong.")
    assert settle(asked[:1], reason=" hot ") == needed("hot", "Why?") == "hot"
