"""What happens to a machine, and what it ends; the groups are the trade's (common practice, no source)."""

import pytest

from logbook.refusals import Refused
from logbook.rules.history import (
    EFFECTS,
    ENDS,
    EVENTS,
    NEW_SCALE,
    NOTHING,
    effect_on_pitches,
    ends_check,
    proofs_missing,
)


@pytest.mark.parametrize(("kind", "what", "said", "effect"), [
    ("printer", "note", ENDS, NOTHING),
    ("laminator", "roller change", "", NOTHING),
    ("printer", "head change", "", NEW_SCALE),
    ("printer", "head change", ENDS, ENDS),
    ("printer", "repair", NOTHING, NOTHING),
    ("printer", "service", NEW_SCALE, NEW_SCALE),
])
def test_an_event_means_for_earlier_pitches_what_was_said_or_what_alone_is_sensible(kind, what, said, effect):
    assert effect_on_pitches(kind, what, said) == effect


@pytest.mark.parametrize(("kind", "what", "said", "field"), [
    ("trimmer", "head change", "", "what"),
    ("printer", "repair", "", "effect"),
    ("printer", "repair", "perhaps", "effect"),
    ("printer", "driver change", NOTHING, "effect"),
])
def test_what_does_not_belong_or_must_be_said_is_refused_at_its_field(kind, what, said, field):
    with pytest.raises(Refused) as refused:
        effect_on_pitches(kind, what, said)
    assert refused.value.field == field


def test_everything_but_a_note_ends_the_daily_check_of_what_is_no_printer():
    ending = {kind: {what for what in events if ends_check(kind, what)} for kind, events in EVENTS.items()}
    assert ending == {"printer": set(), **{kind: set(EVENTS[kind]) - {"note"} for kind in ("laminator", "trimmer")}}
    assert set(EFFECTS) == {NOTHING, NEW_SCALE, ENDS}


@pytest.mark.parametrize("powered", [True, False])
def test_stops_are_proven_of_powered_machines_only_and_the_rest_of_all(powered):
    whole = {"powered": powered, "stops": True, "guards": True, "test_piece": True}
    assert not proofs_missing(**whole)
    assert proofs_missing(**{**whole, "stops": False}) is powered
    assert proofs_missing(**{**whole, "guards": False})
    assert proofs_missing(**{**whole, "test_piece": False})
