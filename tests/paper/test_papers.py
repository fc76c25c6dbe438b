"""The smaller papers: sizes, words, and what each must carry."""

import re
from dataclasses import replace

import pytest

from logbook import resources
from logbook.paper.customer import CareCard, care_card_html
from logbook.paper.forms import LABELS_ON_A_PAGE, Label, LabelSheet, check_sheet_html, labels_html
from logbook.paper.pdf import pdf_bytes
from logbook.paper.rows import caution
from logbook.paper.shelf import read_shelf
from logbook.paper.wallcards import cards_html, first_aid_html
from logbook.refusals import Refused
from logbook.rules.cards import MARKS, Change, choose
from support.contrast import contrast
from support.example_forms import check_sheet, every_paper
from support.example_papers import IMPRINT, PICTURES
from support.pdf_reading import POINTS, font_sizes, sizes, texts

NAMES = sorted(set(every_paper("A4")) - {"traveller"})
CARDS = list(read_shelf().cards.values())


def _styles() -> str:
    folder = resources.folder("templates") / "paper"
    return "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.css"))


@pytest.fixture(scope="module")
def written():
    return {page: {name: pdf_bytes(html, PICTURES) for name, html in every_paper(page).items() if name != "traveller"}
            for page in ("A4", "Letter")}


@pytest.mark.parametrize("page", ["A4", "Letter"])
@pytest.mark.parametrize("name", NAMES)
def test_every_page_has_the_size_that_was_asked_for(name, page, written):
    for size in sizes(written[page][name]):
        assert size == pytest.approx(POINTS[page], abs=0.05)


@pytest.mark.parametrize("name", NAMES)
def test_no_paper_promises_anything_or_waives(name, written):
    words = re.compile(r"\b(safe|ok|okay|ready)\b|at your own risk|compliant with", re.IGNORECASE)
    assert not words.search(" ".join(texts(written["A4"][name])))


@pytest.mark.parametrize("name", NAMES)
def test_a_paper_has_no_inline_style_and_no_script(name):
    assert not re.search(r"<style|<script|\sstyle=|\son\w+=", every_paper("A4")[name])


PAGES = {"labels": 2, "cards-wall": 21, "cards-traveller": 11}


@pytest.mark.parametrize("page", ["A4", "Letter"])
@pytest.mark.parametrize("name", NAMES)
def test_a_paper_takes_no_page_more_than_it_needs(name, page, written):
    assert len(sizes(written[page][name])) == PAGES.get(name, 1)


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.id)
def test_each_card_prints_what_it_rests_on_with_mark_country_and_a_line_for_the_local_rule(card):
    for size in ("wall", "traveller"):
        (text,) = texts(pdf_bytes(cards_html([card], size=size)))
        for source in card.sources:
            assert f"[{source.country}; {MARKS[source.mark]}]" in text
            assert source.text in text
        assert "Your local rule:" in text
        assert f"{card.id} version {card.version}, {card.date}" in text
        assert "A printed caution is the last and weakest of the controls." in text
        assert all(control in text for control in card.controls)


def test_signs_are_called_own_drawings_and_never_stand_without_words():
    (text,) = texts(pdf_bytes(cards_html([read_shelf().cards["C01"]])))
    assert "own drawings after W025, W024, P028, P015" in text
    assert "W025 Counterrotating rollers" in text
    assert "ISO 7010 sign" not in text


def test_a_lowered_level_prints_who_lowered_it_and_why():
    shipped = read_shelf().cards["C01"]
    own = choose(shipped, replace(shipped, signal="CAUTION", change=Change("A. Owner", "guard rebuilt")))
    for html in (cards_html([own]), cards_html([own], size="traveller")):
        assert "Level changed by owner: A. Owner — guard rebuilt" in " ".join(texts(pdf_bytes(html)))


def test_a_changed_card_prints_by_whom_though_its_level_stayed():
    own = replace(read_shelf().cards["C10"], change=Change("A. Owner", "two bins"))
    assert "Changed by A. Owner: two bins" in cards_html([own])


def test_the_shops_local_rule_prints_where_it_is_known():
    html = cards_html(CARDS[:1], local_rule="Sheet 12 of the town's inspector")
    assert "Your local rule: <b>Sheet 12 of the town&#39;s inspector</b>" in html


def test_a_card_of_another_size_is_refused():
    with pytest.raises(Refused, match="wall or traveller"):
        cards_html(CARDS, size="poster")


@pytest.mark.parametrize(("word", "panel", "ink"), [
    ("danger", "#9B2423", "#fff"), ("warning", "#D05D29", "#000"), ("caution", "#F9A800", "#000"),
    ("notice", "#005387", "#fff"), ("hold-point", "#111", "#fff"), ("first-aid", "#237F52", "#fff"),
])
def test_signal_words_stand_out_from_their_panels(word, panel, ink):
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 : 1 (W3C Recommendation, 2023, from memory).
    # Colours after ISO 3864-2:2016 (taken over, not re-read).
    styles = _styles()
    assert f".level-{word} .panel {{ background: {panel}; color: {ink}; }}" in styles
    assert contrast(panel, ink) >= 4.5


def test_every_text_colour_of_paper_is_readable_on_white():
    styles = _styles()
    inks = set(re.findall(r"[^-]color: (#[0-9a-fA-F]{3,6})", styles)) - {"#fff"}
    assert len(inks) >= 3
    assert all(contrast(ink, "#fff") >= 4.5 for ink in inks), inks


def test_contrast_of_black_on_white_is_twenty_one():
    # WCAG 2.2: ratios range from 1 to 21.
    assert contrast("#000", "#ffffff") == pytest.approx(21)
    assert contrast("#777", "#777777") == pytest.approx(1)


def test_words_and_symbol_carry_the_level_without_colour():
    for card in CARDS:
        item = caution(card)
        assert item.alert == (item.word in ("DANGER", "WARNING", "CAUTION"))
        assert f"<strong>{item.word}</strong>" in cards_html([card])


def test_the_out_of_use_sheet_says_that_it_stops_nothing(written):
    (text,) = texts(written["A4"]["out-of-use"])
    assert "This record does not stop the machine: isolate it." in text
    assert max(font_sizes(written["A4"]["out-of-use"], "OUT OF USE")) >= 48
    for demand in ("What was done", "By whom", "Every stop proven", "Guards back", "Test piece", "Name, day, time"):
        assert demand in text


def test_the_daily_check_prints_every_line_and_the_freeing_procedure(written):
    (text,) = texts(written["A4"]["check-sheet"])
    assert all(item.text in text for item in check_sheet().items)
    assert "Any “no”: mark the machine out of use" in text
    assert "Do not reverse." in text


def test_a_machine_without_a_freeing_procedure_is_not_set():
    html = check_sheet_html(replace(check_sheet(), freeing_procedure="",
                                    machine=replace(check_sheet().machine, missing=("the isolator",))))
    assert html.count("NOT SET – do not run") == 2
    assert "<li>the isolator</li>" in html


def test_first_aid_fills_the_shops_facts_and_leaves_lines_for_the_rest(written):
    (text,) = texts(written["A4"]["first-aid"])
    assert "Emergency number 112" in text
    assert "Slow Roller: Stop, isolate, open the top roller with both levers." in text
    assert "Big Crank: NOT SET – do not run" in text
    html = first_aid_html(read_shelf().first_aid)
    assert html.count('<span class="write"></span>') == len(read_shelf().first_aid.facts) + 1


def test_a_chart_note_lets_two_people_read_without_seeing_each_other(written):
    (text,) = texts(written["A4"]["chart-note"])
    assert "First reading" in text
    assert "Second reading: blind" in text
    assert text.count("20.0") >= 2
    for setting in ("no fit-to-page", "borderless off", "sharpening off", "100 % scale"):
        assert setting in text


def test_labels_start_after_the_used_places():
    labels = tuple(Label(f"S-{number}", f"http://a.example/{number}") for number in range(LABELS_ON_A_PAGE["A4"]))
    pages = texts(pdf_bytes(labels_html(LabelSheet(IMPRINT.shop, labels, used=23))))
    assert "S-0" in pages[0]
    assert "S-1" not in pages[0]
    assert "S-23" in pages[1]


@pytest.mark.parametrize(("page", "used"), [("A4", 24), ("A4", -1), ("Letter", 21), ("A5", 0)])
def test_labels_that_fit_nowhere_are_refused(page, used):
    with pytest.raises(Refused, match="labels of the first sheet"):
        labels_html(LabelSheet("x", (), used), page=page)


def test_money_papers_and_notes_carry_their_figures(written):
    quote = " ".join(texts(written["A4"]["quote"]))
    assert "Total 285.60 EUR" in quote
    assert "Valid until 2026-12-20" in quote
    note = " ".join(texts(written["A4"]["shipping-note"]))
    assert "Delivery 1 of 2" in note
    assert "EH 552 018" in note
    report = " ".join(texts(written["A4"]["inspection"]))
    assert "Inspected by the maker." in report
    assert "20.074 lines/in" in report


def test_a_care_card_may_carry_the_shops_own_lines():
    html = care_card_html(CareCard("Shop", "Harbour", ("HBR-001",), lines=("Dust it.",), viewing="From 2 m."))
    assert "<li>Dust it.</li>" in html
    assert "From 2 m." in html
    assert "solvent" not in html


def test_today_says_when_there_is_nothing(written):
    text = " ".join(texts(written["A4"]["today"]))
    assert "Low 0 Nothing here." in text
    assert "S2MM" in text
