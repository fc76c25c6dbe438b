"""Every rule that an owner weighs is one that something answers with, and what it says is a sentence for the bench."""

import ast

import pytest

from logbook.rules.findings import ADJUSTABLE, Strength


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
