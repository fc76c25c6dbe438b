"""Safety cards: reading, levels, and the shop's own versions."""

import copy

import pytest

from logbook.refusals import Refused
from logbook.rules.cards import choose, differences, read_card, read_first_aid

CARD = {
    "id": "C50", "title": "Hot lamp", "signal": "WARNING", "hazard": "A lamp gets hot.", "consequence": "Burns.",
    "avoid": "Wait.", "controls": ["Use a cold lamp.", "Wait."], "protective": ["Heat gloves."], "signs": ["W017"],
    "version": "2", "date": "2026-11-25",
    "source": [{"text": "A rule", "mark": "memory", "country": "USA"}],
}
FIRST_AID = {
    "id": "first-aid", "title": "First aid", "preface": "The first-aider leads.", "signs": ["E003"], "version": "1",
    "date": "2026-11-25", "facts": ["Emergency number"],
    "case": [{"key": "cut", "title": "Cut", "steps": ["Press."]}],
    "source": [{"text": "A book", "mark": "memory", "country": "not tied to a country"}],
}


def _card(**entries):
    return read_card(copy.deepcopy(CARD) | entries)


def test_a_card_keeps_its_controls_in_order_and_names_its_version():
    card = _card()
    assert card.controls == ("Use a cold lamp.", "Wait.")
    assert card.label == "C50 v2 2026-11-25"
    assert card.sources[0].mark_words == "from memory"


@pytest.mark.parametrize(("entries", "words"), [
    ({"signal": "ATTENTION"}, "signal word is 'ATTENTION'"),
    ({"signal_for": {"alone": "LOUD"}}, "signal word is 'LOUD'"),
    ({"signal_for": {"tired": "DANGER"}}, "trait 'tired'"),
    ({"only_for": ["windy"]}, "trait 'windy'"),
    ({"source": []}, "what it rests on"),
    ({"source": [{"text": "x", "mark": "sure", "country": "USA"}]}, "each source has a mark"),
    ({"source": [{"text": "x", "mark": "read"}]}, "country is missing"),
    ({"controls": []}, "controls is missing"),
    ({"signs": ["hand"]}, "no sign code"),
    ({"date": "last week"}, "date must be a day"),
    ({"hazard": "It is safe."}, "says 'safe'"),
    ({"colour": "red"}, "'colour' is not known"),
    ({"change": {"by": "A. Owner"}}, "reason is missing"),
])
def test_a_card_that_says_too_little_or_too_much_is_refused(entries, words):
    with pytest.raises(Refused, match=words):
        _card(**entries)


@pytest.mark.parametrize("sentence", ["Keep 25 mm clear.", "A gap of 4mm.", "Leave 1 in.", "Set 0.2 inches."])
def test_no_number_stands_for_a_gap_at_rollers(sentence):
    # ISO 13854 is about crushing, not drawing in (its scope; taken over, not re-read): no gap protects at a nip.
    for place in ({"avoid": sentence}, {"controls": [sentence]}, {"hazard": sentence}, {"consequence": sentence}):
        with pytest.raises(Refused, match="no number stands for a gap"):
            _card(signs=["W025"], **place)


def test_a_number_of_millimetres_is_allowed_away_from_rollers():
    assert _card(avoid="Keep 25 mm clear.").avoid == "Keep 25 mm clear."
    assert _card(signs=["W025"], avoid="Keep hands clear of the rollers.").signs == ("W025",)


def test_a_card_without_traits_always_applies():
    assert _card().applies()
    assert _card().applies({"alone", "powered"})


def test_a_card_for_powered_machines_is_left_out_only_where_the_machine_is_hand_driven():
    card = _card(only_for=["powered"])
    assert card.applies({"powered"})
    assert card.applies({"two-people"})
    assert not card.applies({"hand-driven"})


def test_the_higher_word_stands_while_it_is_not_known_how_many_work():
    card = _card(signal="CAUTION", signal_for={"two-people": "WARNING"})
    assert card.word({"two-people"}) == "WARNING"
    assert card.word({"alone"}) == "CAUTION"
    assert card.word() == "WARNING"


def test_a_lower_word_stands_only_where_its_trait_is_known():
    card = _card(signal_for={"rotary": "CAUTION"})
    assert card.word({"rotary"}) == "CAUTION"
    assert card.word() == "WARNING"
    assert card.word({"guillotine"}) == "WARNING"


def test_the_shop_raises_a_level_freely():
    own = _card(signal="DANGER", version="2a")
    assert choose(_card(), own) is own


def test_lowering_a_level_needs_a_name_and_a_reason():
    with pytest.raises(Refused, match="lowering WARNING to NOTICE needs a name and a reason"):
        choose(_card(), _card(signal="NOTICE"))


def test_a_lowered_level_is_marked_as_changed():
    own = _card(signal="NOTICE", change={"by": "A. Owner", "reason": "cold lamp bought"})
    chosen = choose(_card(), own)
    assert chosen.lowered
    assert chosen.change.by == "A. Owner"


def test_a_level_lowered_for_one_trait_only_counts_as_lowered():
    shipped = _card(signal="CAUTION", signal_for={"two-people": "WARNING"})
    with pytest.raises(Refused, match="needs a name and a reason"):
        choose(shipped, _card(signal="CAUTION"))


def test_a_card_of_the_shop_alone_needs_no_shipped_one():
    own = _card(id="C90")
    assert choose(None, own) is own


def test_differences_name_the_fields_that_changed():
    lines = differences(_card(), _card(avoid="Wait longer.", controls=["Wait."], version="3",
                                       source=[{"text": "Other", "mark": "read", "country": "USA"}],
                                       signal_for={"alone": "DANGER"}))
    assert [line.partition(":")[0] for line in lines] == ["avoid", "controls", "sources", "version", "signal_for"]
    assert "avoid: shipped Wait. — own Wait longer." in lines
    assert "signal_for: shipped nothing — own alone DANGER" in lines


def test_equal_cards_have_no_differences():
    assert differences(_card(), _card(based_on="2")) == ()


def test_a_first_aid_card_reads_its_cases_and_facts():
    card = read_first_aid(FIRST_AID)
    assert card.cases[0].steps == ("Press.",)
    assert card.facts == ("Emergency number",)


@pytest.mark.parametrize("entries", [{"facts": []}, {"case": [{"key": "cut", "title": "Cut"}]}, {"source": []},
                                     {"tune": "x"}, {"date": ""}])
def test_a_first_aid_card_that_lacks_something_is_refused(entries):
    with pytest.raises(Refused):
        read_first_aid(FIRST_AID | entries)
