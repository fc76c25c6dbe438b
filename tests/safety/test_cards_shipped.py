"""The shipped cards, signs and the daily check."""

import re

import pytest

from logbook import resources
from logbook.paper.shelf import read_shelf
from logbook.rules.cards import MARKS

SHELF = read_shelf()
CARDS = list(SHELF.cards.values())
COUNTRIES = {"USA", "United Kingdom", "Europe", "international", "not tied to a country"}
WORDS = {
    "DANGER": [],
    "WARNING": ["C01", "C05", "C07", "C08", "C12", "C17", "C18"],
    "HOLD POINT": ["C06"],
    "CAUTION": ["C02", "C03", "C04", "C09", "C10", "C11", "C13", "C14", "C15", "C16", "C21"],
    "NOTICE": ["C19", "C20"],
}
SIGN_WORDS = {  # pairs of code and title of ISO 7010, taken over, not re-read; our wording may be longer
    "W001": "warning", "W011": "slippery", "W012": "electricity", "W017": "hot surface", "W021": "flammable",
    "W022": "sharp", "W024": "crushing of hands", "W025": "counterrotating rollers", "W088": "moving blades",
    "M002": "instruction manual", "M004": "eye protection", "M005": "earth terminal", "M006": "mains plug",
    "M008": "safety footwear", "M009": "protective gloves", "M011": "wash", "M021": "disconnect before maintenance",
    "M068": "lock moving parts", "P003": "open flame", "P015": "reaching in", "P028": "not wear gloves",
    "P031": "not alter the switch", "P036": "no children", "P068": "sunlight", "P080": "unauthorised access",
    "E003": "first aid", "E011": "eyewash", "E020": "emergency stop button",
}


def test_there_are_twenty_one_cards():
    assert list(SHELF.cards) == [f"C{number:02}" for number in range(1, 22)]


@pytest.mark.parametrize("word", WORDS)
def test_each_level_has_its_cards(word):
    assert [card.id for card in CARDS if card.signal == word] == WORDS[word]


def test_two_people_at_the_crank_raise_the_level():
    assert SHELF.cards["C02"].word({"hand-driven", "two-people"}) == "WARNING"
    assert SHELF.cards["C02"].word({"hand-driven", "alone"}) == "CAUTION"


def test_an_enclosed_rotary_head_lowers_the_level_of_blades():
    assert SHELF.cards["C08"].word({"rotary"}) == "CAUTION"
    assert SHELF.cards["C08"].word({"lever"}) == "WARNING"


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.id)
def test_each_card_shows_what_it_rests_on_with_mark_and_country(card):
    assert card.sources
    assert {source.mark for source in card.sources} <= set(MARKS)
    assert {source.country for source in card.sources} <= COUNTRIES


def test_no_source_claims_to_have_been_read():
    # "read" means that this project holds title, edition and clause of the text; it holds none yet.
    assert [card.id for card in CARDS if any(source.mark == "read" for source in card.sources)] == []


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.id)
def test_the_message_of_a_card_is_short_enough_to_read_standing(card):
    # Common practice, no source: about forty words are read in one breath at a bench.
    assert len(card.avoid.split()) <= 40
    assert len(card.controls) >= 1


@pytest.mark.parametrize(("material", "density", "printed"), [
    ("PETG", 1.27, "11.3 kg"), ("acrylic", 1.19, "10.6 kg"), ("polystyrene", 1.05, "9.4 kg"),
])
def test_the_weights_on_the_lifting_card_follow_from_size_and_density(material, density, printed):
    # Mass = length x width x thickness x density; densities in g/cm3 from memory.
    mass = 122 * 244 * 0.3 * density / 1000
    assert f"{material} {mass:.1f} kg" in SHELF.cards["C14"].hazard
    assert f"{mass:.1f} kg" == printed


def test_minors_are_barred_where_the_law_names_the_machine():
    # 29 CFR 570.63(a)(1)(i) and MHSWR 1999 regulation 19 (taken over, not re-read).
    card = SHELF.cards["C18"]
    assert "Nobody under 18" in card.avoid
    assert {source.country for source in card.sources} >= {"USA", "United Kingdom"}


def test_the_first_aid_card_never_says_to_pull_and_names_the_longer_cooling_time():
    steps = {case.key: " ".join(case.steps) for case in SHELF.first_aid.cases}
    assert "Do not pull." in steps["trapped"]
    assert "at least 20 minutes" in steps["burn"]
    assert "Never put it on ice" in steps["severed"]


def test_the_daily_check_of_a_crank_asks_for_no_stop_and_no_cord():
    keys = {item.key for item in SHELF.machine_check.items_for("laminator", {"hand-driven"})}
    assert not keys & {"stops", "foot-switch", "cord"}
    assert {"guards", "rollers", "zero", "floor", "freeing", "people", "temperature", "humidity"} <= keys


def test_every_sign_of_a_card_is_drawn_and_no_drawing_is_unknown():
    used = {code for card in CARDS for code in card.signs} | set(SHELF.first_aid.signs)
    assert used <= set(SHELF.signs)
    assert set(SHELF.signs) == set(SIGN_WORDS)


@pytest.mark.parametrize("code", SIGN_WORDS)
def test_a_sign_says_in_words_what_it_shows_and_that_it_is_our_own_drawing(code):
    sign = SHELF.signs[code]
    assert SIGN_WORDS[code] in sign.title.lower()
    assert f"(own drawing after {code})</title>" in sign.svg
    assert re.search(r"<desc>.{15,}</desc>", sign.svg)


@pytest.mark.parametrize("code", SIGN_WORDS)
def test_a_sign_has_the_frame_of_its_kind(code):
    # ISO 3864: warning = yellow triangle, mandatory = blue disc, prohibition = red ring and bar, safe = green square
    # (taken over, not re-read).
    frame = {"W": r'<path d="M50 10L93 86H7Z" fill="#F9A800"', "M": r'<circle cx="50" cy="50" r="47" fill="#005387"',
             "P": r'<circle cx="50" cy="50" r="42" fill="#FFFFFF" stroke="#9B2423"',
             "E": r'<rect x="4" y="4" width="92" height="92" rx="8" fill="#237F52"'}[code[0]]
    assert frame in SHELF.signs[code].svg


@pytest.mark.parametrize("code", SIGN_WORDS)
def test_a_sign_carries_nothing_that_acts_or_loads(code):
    assert not re.search(r"script|href|style|url\(|on\w+=|\bid=", SHELF.signs[code].svg)


def test_the_bar_of_a_prohibition_runs_from_the_top_left():
    assert 'd="M21 21L79 79"' in SHELF.signs["P028"].svg


def test_no_shipped_text_promises_or_waives():
    words = re.compile(r"\b(safe|ok|okay|ready)\b|at your own risk|compliant with", re.IGNORECASE)
    for path in resources.folder("safety").rglob("*.toml"):
        assert not words.search(path.read_text(encoding="utf-8")), path.name
