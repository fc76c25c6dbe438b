"""The job traveller as it lies on the bench."""

import re
from dataclasses import replace
from decimal import Decimal

import jinja2
import pytest

from logbook.paper import render
from logbook.paper.rows import Caution, blocks, limits, shown_cards
from logbook.paper.traveller import traveller_html
from logbook.paper.views import NOT_CHOSEN, WITHDRAWN, Bench, Column, Entry, Numbers, Pitch
from logbook.refusals import Refused
from logbook.rules.steplist import Step
from support.example_papers import ADDRESS, KNIFE, LAMINATOR, PRINTER, traveller
from support.pdf_reading import POINTS, font_sizes, lines, sizes, texts

POWERED = Bench("laminator", "Slow Roller", drive="powered", heated=True, manual="4th edition", competent_role="lead")


@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_every_page_has_the_size_that_was_asked_for(page, a4, letter):
    pages = sizes({"A4": a4, "Letter": letter}[page])
    assert len(pages) >= 2
    for size in pages:
        assert size == pytest.approx(POINTS[page], abs=0.05)


def test_another_page_size_is_refused():
    with pytest.raises(Refused, match="A4 or Letter"):
        traveller_html(traveller(), page="A3")


def test_each_page_carries_its_number_revision_audit_head_and_the_disclaimer(a4):
    pages = texts(a4)
    for number, text in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in text
        assert "Revision 3 · step list 3 · printed 2026-11-25 09:40 by Ilse Marrow" in text
        assert "audit head 1204 · 9f27c0aa41d2" in text
        assert "They do not replace them; manual and law come first." in text
        assert "do not run, ask the competent person" in text
        assert "K7QMZ3TD" in text


def test_the_numbers_that_matter_stand_on_the_first_page(a4):
    first = texts(a4)[0]
    for words in ("20.074 lines/in ± 0.004", "TEST P4ZK9", "720 × 720", "9 × 11 in", "8 × 10 in", "5 mm", "L-311",
                  "Matte 230, lot 88", "Clear 50 µm, lot A7", "Wide Blue", "Best, 8 passes", "9f27c0aa41d2",
                  "file 236.0 × 288.4 mm with its marks: print at 100 %", "HBR-001", "Sheet S4KD",
                  "Quill & Moss Gallery", ADDRESS):
        assert words in first


def test_each_steps_cautions_stand_in_full_before_it(a4):
    whole = " ".join(texts(a4))
    for block in blocks(traveller()):
        if not block.rows:
            continue
        stage = whole.index(f"{block.stage.code} {block.stage.title}")
        for row in block.rows:
            if isinstance(row, Caution):
                continue
            if row.kind == "step":
                step = whole.index(row.text, stage)
                for code in row.step.guards:
                    card = traveller().cards[code]
                    if card.applies(block.machine.traits(2) if block.machine else ()):
                        assert stage < whole.index(card.avoid, stage) < step, f"{code} before {row.step.key}"


def test_no_caution_breaks_after_its_first_word(a4, letter):
    # Seen once on Letter: the writer broke a line early where bare text ran up to a bold part.
    starts = {" ".join(card.hazard.split()[:3]) for card in traveller().cards.values() if card.applies({"hand-driven"})}
    for pdf in (a4, letter):
        whole = " ".join(texts(pdf))
        shown = {start for start in starts if start in whole}
        assert len(shown) >= 10
        assert all(any(start in line for line in lines(pdf)) for start in shown)


def test_a_caution_stands_in_full_once_in_its_stage(a4):
    whole = " ".join(texts(a4))
    adhesive = whole[whole.index("S7 Adhesive"):whole.index("S8 Register")]
    card = traveller().cards["C02"]
    assert adhesive.count(card.avoid) == 1
    assert adhesive.count("WARNING C02") >= 4


def test_pages_follow_the_steps(a4):
    whole = " ".join(texts(a4))
    heads = [whole.index(f"{stage.code} {stage.title}") for stage in traveller().steps.stages]
    assert heads == sorted(heads)


def test_nothing_is_asked_for_between_the_roller_marks(a4):
    whole = " ".join(texts(a4))
    parts = re.findall(r"ROLLERS START.*?ROLLERS STOPPED", whole)
    assert len(parts) == 2
    for part in parts:
        assert "initials" not in part
        assert "____" not in part
        assert "write nothing until they have stopped" in part
        assert "from hand to bin." in part
        assert "Roll back, hands off" in part


def test_the_movement_of_the_rollers_never_turns_a_page(a4):
    for text in texts(a4):
        assert text.count("ROLLERS START") == text.count("ROLLERS STOPPED")


def _steps_by_page(pdf):
    """For each stage with steps: on each page that shows some of its numbered steps, their numbers."""
    found = {}
    for page, text in enumerate(texts(pdf)):
        for block in blocks(traveller()):
            code = block.stage.code.removeprefix("S")
            seen = re.findall(rf"(?<![\d.]){code}\.(\d{{1,2}})(?![\d.])", text) if block.rows else []
            if seen:
                found.setdefault(code, {})[page] = sorted(map(int, seen))
    return found


@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_no_stage_leaves_a_line_or_two_on_a_page(page, a4, letter):
    found = _steps_by_page({"A4": a4, "Letter": letter}[page])
    assert len(found) >= 8
    torn = {code: list(pages.values()) for code, pages in found.items() if len(pages) > 1}
    assert torn  # the rollers' stages fill more than a page
    for code, parts in torn.items():
        steps = [step for part in parts for step in part]
        assert steps == list(range(1, len(steps) + 1)), code
        assert len(parts[0]) >= 2, code
        assert len(parts[-1]) >= 3, code
        assert len(steps) > 6, code  # what fits on a page is not torn apart


def test_a_page_says_at_its_top_which_stage_goes_on(a4):
    job, whole = traveller().job, texts(a4)
    for code, pages in _steps_by_page(a4).items():
        for page in sorted(pages)[1:]:
            assert re.search(rf"{job} · S{code} [A-Z]", whole[page]), code


def test_step_text_is_never_under_nine_points(a4):
    seen = [size for row in _steps() for size in font_sizes(a4, row.text)]
    assert len(seen) >= 60
    assert min(seen) >= 9


def test_cautions_are_never_under_eight_points_and_neither_is_the_disclaimer(a4):
    assert min(font_sizes(a4, "These cautions add to")) >= 8
    assert min(font_sizes(a4, "Deburr first. Gloves")) >= 8


def _steps():
    return [row for block in blocks(traveller()) for row in block.rows if row.kind == "step"]


def test_no_page_promises_anything(a4):
    for text in texts(a4):
        assert not re.search(r"\b(safe|ok|okay|ready)\b|at your own risk|compliant", text, re.IGNORECASE)


def test_no_number_stands_as_a_gap_at_the_rollers(a4):
    for text in texts(a4):
        assert not re.search(r"gap[^.]{0,30}\d+ ?(mm|in)\b", text)


@pytest.mark.parametrize(("people", "words", "other"), [
    (1, "Advance a little, stop, latch a crank", "helper takes liner"),
    (2, "helper takes liner at exit", "Advance a little"),
])
def test_the_wording_is_for_the_people_at_the_rollers(write, people, words, other):
    whole = " ".join(texts(write(people=people)))
    assert words in whole
    assert other not in whole


def test_how_to_free_somebody_stands_at_each_roller_stage_before_its_steps(a4):
    words = LAMINATOR.freeing_procedure
    whole = " ".join(texts(a4))
    for stage, first in (("S7 Adhesive", "7.1"), ("S8 Register", "8.1")):
        start = whole.index(stage)
        told = whole.index(f"Big Crank · Stops: none (hand-driven) · Somebody caught: {words}", start)
        assert told < whole.index(first, start)
    assert whole.count(words) == 2
    assert min(font_sizes(a4, "Stops: none") + font_sizes(a4, "let go of the crank")) >= 9


def test_a_motor_names_its_isolator_and_a_machine_that_is_not_set_keeps_its_box_alone():
    motor = replace(POWERED, stop_position="both ends", isolator="wall, left", freeing_procedure="press a stop")
    assert [term for term, _ in motor.if_caught] == ["Stops", "Isolator", "Somebody caught"]
    assert traveller_html(traveller(machines=(motor, PRINTER, KNIFE))).count('class="if-caught"') == 2
    unset = replace(motor, missing=("the last inspection",))
    assert "if-caught" not in traveller_html(traveller(machines=(unset, PRINTER, KNIFE)))


def test_a_hand_crank_shows_its_own_caution_and_a_motor_its_own():
    crank = [row.card.id for row in _cautions(traveller())]
    motor = [row.card.id for row in _cautions(traveller(machines=(POWERED, PRINTER, KNIFE)))]
    assert "C02" in crank
    assert "C01" not in crank
    assert {"C01", "C04"} <= set(motor)
    assert "C02" not in motor


def test_the_knife_keeps_its_caution_beside_a_trimmer_of_another_kind():
    wheel = Bench("trimmer", "Wheel", drive="hand", cutting="rotary")
    found = {row.card.id: row.word for row in _cautions(traveller(machines=(LAMINATOR, PRINTER, wheel)))}
    assert (found["C07"], found["C08"]) == ("WARNING", "CAUTION")
    assert "C08" not in {row.card.id for row in _cautions(traveller())}


def test_two_people_at_a_crank_read_a_warning_and_one_reads_a_caution():
    for people, word in ((2, "WARNING"), (1, "CAUTION"), (0, "WARNING")):
        found = {row.word for row in _cautions(traveller(people=people)) if row.card.id == "C02"}
        assert found == {word}


def _cautions(view):
    return [row for block in blocks(view) for row in block.rows if isinstance(row, Caution)]


def test_the_card_versions_that_were_shown_can_be_recorded():
    labels = shown_cards(traveller())
    assert "C02 v2 2026-12-01" in labels
    assert not any(label.startswith("C01 ") for label in labels)


@pytest.mark.parametrize("origin", ["carried over", "forecast", "nominal"])
def test_a_pitch_that_was_not_tested_prints_large(write, origin):
    pdf = write(pitch=Pitch("20.0", origin=origin))
    assert f"PITCH {origin.upper()} – NOT TESTED" in texts(pdf)[0].upper()
    assert max(font_sizes(pdf, f"PITCH {origin.upper()}")) >= 14


def test_a_pitch_that_nobody_chose_is_called_nothing_else(write):
    first = texts(write(pitch=Pitch("", origin=NOT_CHOSEN)))[0].upper()
    assert "NO PITCH IS CHOSEN" in first
    assert "NOT TESTED" not in first
    assert "NOMINAL" not in first


def test_a_withdrawn_pitch_says_so_large_and_is_not_called_untested(write):
    pdf = write(pitch=Pitch("20.0", origin=WITHDRAWN))
    assert "PITCH WITHDRAWN: PRINT NOTHING MORE AT IT" in " ".join(texts(pdf)[0].upper().split())
    assert "NOT TESTED" not in texts(pdf)[0].upper()
    assert max(font_sizes(pdf, "PITCH WITHDRAWN")) >= 14


def test_a_tested_pitch_has_no_banner(a4):
    assert "NOT TESTED" not in texts(a4)[0].upper()


def test_a_sample_and_a_job_from_before_the_logbook_say_so_large(write):
    pdf = write(banners=("Sample", "Before the logbook"))
    assert min(font_sizes(pdf, "SAMPLE") + font_sizes(pdf, "BEFORE THE LOGBOOK")) >= 14


def test_missing_machine_facts_stand_where_the_steps_would_be(write):
    bench = replace(LAMINATOR, missing=("the procedure for freeing a trapped person", "the last inspection"))
    whole = " ".join(texts(write(machines=(bench, PRINTER, KNIFE))))
    adhesive = whole[whole.index("S7 Adhesive"):whole.index("S9 Rest")]
    assert adhesive.count("NOT SET – do not run") == 2
    assert adhesive.count("the procedure for freeing a trapped person") == 2
    assert "ROLLERS START" not in whole
    assert "S10 Trim" in whole


def test_a_machine_that_is_not_named_stops_its_stages_on_paper(write):
    whole = " ".join(texts(write(machines=(PRINTER, KNIFE))))
    assert "No laminator is named for this job." in whole
    assert "ROLLERS START" not in whole


def test_a_machine_out_of_use_says_why(write):
    bench = replace(LAMINATOR, out_of_use="roller cut on the left")
    printer = replace(PRINTER, remark="scaling and sharpening off: second tab")
    whole = " ".join(texts(write(machines=(bench, printer, KNIFE))))
    assert "Wide Blue: scaling and sharpening off: second tab" in whole
    assert "OUT OF USE – do not run" in whole
    assert "roller cut on the left" in whole


def test_what_is_already_recorded_prints_in_its_column(a4):
    whole = " ".join(texts(a4))
    assert "254.0 mm IM 09:12" in whole
    assert "signed I. Marrow 25 Nov 09:15" in whole


def test_a_closed_stage_is_one_line_without_steps(a4):
    whole = " ".join(texts(a4))
    assert "S5 Interlace signed by Ilse Marrow, 2026-11-24 10:04" in whole
    assert "Choose a pitch on record" not in whole


def test_more_sheets_than_fit_continue_in_a_block_of_their_own(write):
    sheets = tuple(Column(f"SH{number}") for number in range(1, 7))
    view = traveller(sheets=sheets)
    drying = [block for block in blocks(view) if block.stage.key == "dry"]
    assert [len(block.columns) for block in drying] == [4, 2]
    whole = " ".join(texts(write(sheets=sheets)))
    assert "S6b Dry continued SH5 SH6" in whole


def test_a_job_without_sheets_still_prints_its_steps(write):
    whole = " ".join(texts(write(sheets=(), pieces=(), pictures=(), numbers=Numbers(), leading_edge="")))
    assert "Lay the sheet flat to dry" in whole
    assert "Edge first:" in whole


def test_limits_of_the_order_replace_those_of_the_list(a4):
    assert "Measure the width. 203.2 ± 1.0 mm" in " ".join(texts(a4))


def test_limits_read_as_words():
    assert limits(Step("a", "x", record="number", unit="mm", low=Decimal(1), high=Decimal(3))) == "1–3 mm"
    assert limits(Step("a", "x", record="number", unit="mm", low=Decimal("1.50"))) == "at least 1.50 mm"
    assert limits(Step("a", "x", record="number", unit="mm", high=Decimal(3))) == "at most 3 mm"
    assert limits(Step("a", "x", record="number", unit="mm")) == ""


@pytest.mark.parametrize(("flip", "words"), [
    ("left-right", "Seen from the left: picture 1. Seen from the right: picture 2."),
    ("up-down", "Seen from above: picture 1. Seen from below: picture 2."),
])
def test_the_flip_says_which_picture_shows_from_where(flip, words):
    # A lens reverses: picture 1 shows from the left or from above (the facts of the trade, common practice).
    assert words in traveller_html(traveller(flip=flip))


@pytest.mark.parametrize("edge", ["top", "bottom", "left", "right"])
def test_the_edge_that_goes_in_first_is_named_and_drawn(edge):
    html = traveller_html(traveller(leading_edge=edge))
    assert f"<b>{edge.upper()}</b> edge first" in html
    assert f"{edge} edge first" in html


def test_texts_from_people_are_escaped():
    html = traveller_html(traveller(title="<script>alert(1)</script>", remarks=("<img src=x>",)))
    assert "<script>" not in html
    assert "<img src=x>" not in html


def test_notes_print_beside_a_column_and_remarks_below(write):
    pdf = write(sheets=(Column("S4KD", note="sample"),), remarks=("Worked alone.", "Same person signed twice."))
    first = texts(pdf)[0]
    assert "SAMPLE" in first.upper()
    assert "Worked alone. Same person signed twice." in first


def test_a_column_set_aside_says_so_and_has_no_box_left(write):
    sheets = (Column("S4KD", aside="lot L-311: hazy"), Column("S9TX"))
    view = traveller(sheets=sheets, pieces=sheets)
    whole = " ".join(texts(write(sheets=sheets, pieces=sheets)))
    words = "SET ASIDE – do not go on"
    assert f"{words}: lot L-311: hazy" in whole
    assert f"S7 Adhesive onto print cannot be undone S4KD {words} S9TX" in whole
    assert "254.0 mm IM 09:12" in whole
    found = [row.cells for block in blocks(view) for row in block.rows
             if row.kind == "step" and not row.blank and len(row.cells) == 2]
    to_fill = [(one.record, other.record) for one, other in found if not one.entry]
    crossed = re.findall(r'<div class="cell cell-(\w+) crossed">(.*?)</div>', traveller_html(view), re.DOTALL)
    assert [record for record, _ in crossed] == [record for record, _ in to_fill]
    for record, shown in crossed:
        assert re.sub(r"<[^>]+>", "", shown).replace("&nbsp;", " ").strip() == (words if record == "sign" else "")


def test_the_browser_gets_the_same_text_with_its_own_links():
    html = traveller_html(traveller(), address=lambda name: f"/files/{name}")
    assert 'href="/files/paper.css"' in html
    assert 'src="/files/picture-1.jpg"' in html
    assert "asset:" not in html
    assert html.replace("/files/", "asset:") == traveller_html(traveller())


def test_a_page_under_a_strict_content_policy_needs_no_inline_style_or_script():
    html = traveller_html(traveller())
    assert not re.search(r"<style|<script|\sstyle=|\son\w+=", html)


def test_a_name_that_nobody_gave_is_an_error_not_a_blank():
    with pytest.raises(jinja2.UndefinedError):
        render.render("traveller.html", title="x")


def test_an_entry_of_the_job_fills_the_job_column():
    view = traveller(closed=(), entries=(Entry("materials-temperature", value="22.4 °C", by="IM", at="08:10"),))
    cells = [row.cells for block in blocks(view) for row in block.rows
             if row.kind == "step" and row.step.key == "materials-temperature"]
    assert cells[0][0].entry.value == "22.4 °C"
