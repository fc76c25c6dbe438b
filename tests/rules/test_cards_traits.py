"""Traits and the daily check: what is not known counts as present."""

import pytest

from logbook.refusals import Refused
from logbook.rules.machinecheck import read_machine_check
from logbook.rules.traits import fits, machine_traits

CHECK = {"revision": "1", "title": "Check", "item": [
    {"key": "stops", "text": "Stops are proven.", "only_for": ["powered"], "kinds": ["laminator"]},
    {"key": "floor", "text": "Floor is clear."},
    {"key": "room", "text": "Room", "record": "number", "unit": "°C"},
]}


def test_traits_come_from_the_machine_and_the_shift():
    assert machine_traits(drive="hand", heated=False, people=2) == {"hand-driven", "unheated", "two-people"}
    assert machine_traits(drive="powered", heated=True, cutting="guillotine", people=1) == {
        "powered", "heated", "guillotine", "alone"}


def test_what_is_not_known_gives_no_trait():
    assert machine_traits() == frozenset()


def test_an_unknown_drive_is_refused():
    with pytest.raises(Refused, match="'steam'"):
        machine_traits(drive="steam")


def test_something_for_no_trait_in_particular_always_fits():
    assert fits((), {"alone"})


@pytest.mark.parametrize(("kind", "traits", "keys"), [
    ("laminator", {"powered"}, ["stops", "floor", "room"]),
    ("laminator", set(), ["stops", "floor", "room"]),
    ("laminator", {"hand-driven"}, ["floor", "room"]),
    ("printer", {"powered"}, ["floor", "room"]),
])
def test_the_check_of_a_machine_has_the_lines_that_belong_to_it(kind, traits, keys):
    assert [item.key for item in read_machine_check(CHECK).items_for(kind, traits)] == keys


@pytest.mark.parametrize(("item", "words"), [
    ({"key": "a", "text": "x", "kinds": ["oven"]}, "kinds are"),
    ({"key": "a", "text": "x", "record": "number"}, "a number has a unit"),
    ({"key": "a", "text": "x", "unit": "mm"}, "a number has a unit"),
    ({"key": "a", "text": "Machine ready."}, "says 'ready'"),
    ({"key": "a", "text": "x", "size": 1}, "'size' is not known"),
])
def test_a_wrong_line_is_refused(item, words):
    with pytest.raises(Refused, match=words):
        read_machine_check(CHECK | {"item": [item]})


@pytest.mark.parametrize("items", [[], [{"key": "a", "text": "x"}, {"key": "a", "text": "y"}]])
def test_a_check_needs_lines_with_keys_of_their_own(items):
    with pytest.raises(Refused, match="a key of its own"):
        read_machine_check(CHECK | {"item": items})
