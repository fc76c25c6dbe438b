"""One request at a time computes, and nobody who waits for another process, or for ever, keeps the others."""

import threading

import pytest

from logbook.web import turns

LONG = 20
"""Seconds after which a test gives up; none of them waits that long unless it fails."""


def _side_by_side(app, *paths):
    """Ask each path in a thread of its own, one after the other has begun; gives what each was answered."""
    answers = {}
    asked = [threading.Thread(target=lambda path=path: answers.update({path: app({"path": path}, None)}))
             for path in paths]  # fmt: skip
    for thread in asked:
        thread.start()
    for thread in asked:
        thread.join(2 * LONG)
    return answers


@pytest.mark.parametrize("first_waits", ["aside", "with the turn"])
def test_a_second_request_goes_on_while_the_first_waits(monkeypatch, first_waits):
    # without stepping aside only patience lets the second on: it must be short enough not to be noticed
    monkeypatch.setattr(turns, "LONGEST_WAIT_SECONDS", 2 * LONG if first_waits == "aside" else 0.01)
    inside, second_was_here = threading.Event(), threading.Event()

    def first():
        inside.set()
        return second_was_here.wait(LONG)

    def inner(environ, _start):
        if environ["path"] == "first":
            return turns.waiting(first)() if first_waits == "aside" else first()
        inside.wait(LONG)
        second_was_here.set()
        return "second"

    assert _side_by_side(turns.Turns(inner), "first", "second") == {"first": True, "second": "second"}


def test_two_never_compute_at_once_and_a_fault_gives_the_turn_back():
    at_work, most = [], []

    def inner(environ, _start):
        at_work.append(environ["path"])
        most.append(len(at_work))
        for _ in range(20_000):  # long enough for a thread to lose Python's lock
            pass
        at_work.remove(environ["path"])
        if environ["path"] == "2":
            raise ZeroDivisionError
        return environ["path"]

    app = turns.Turns(inner)
    with pytest.raises(ZeroDivisionError):
        app({"path": "2"}, None)
    assert len(_side_by_side(app, *"013456789")) == 9
    assert max(most) == 1


def test_stepping_aside_without_a_turn_changes_nothing():
    with turns.aside():
        assert turns.waiting(lambda word: word)("said") == "said"
