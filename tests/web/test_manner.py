"""Inches and a decimal comma for whoever chose them: on screens and papers, never in what is kept or in a CSV."""

import html
import re
from decimal import Decimal

import pytest

from logbook.actions import people
from logbook.lengths import parse_length
from logbook.manner import COMMA, POINT, Manner
from logbook.records.floor import Print, Run, StepRecord
from logbook.records.people import Person
from logbook.refusals import Refused
from support.pdf_reading import sizes
from support.small_shop import job, one, prints


def _reads_inches_with_a_comma(desk):
    """Olga's form, sent as a browser would."""
    sent = desk.post("/shop/my-units", data={"units": "in", "mark": COMMA, "request_id": "m1"})
    assert sent.status_code == 303


def test_screens_and_papers_follow_the_reader_and_what_is_kept_does_not(office, desk):
    code = office.ready()
    tables = [desk.get(f"/shop/numbers/{kind}.csv") for kind in ("months", "losses")]
    _reads_inches_with_a_comma(desk)
    run = office.read(lambda session: one(session, Run))
    pitch = str(run.lpi).replace(".", COMMA)
    assert COMMA in pitch
    screen, paper = (desk.get(path).get_data(as_text=True) for path in (f"/job/{code}", f"/job/{code}/traveller"))
    # 70 mm and 80 mm by the international inch of 25.4 mm: 2.7559 in and 3.1496 in
    assert "2,756 in × 3,15 in" in screen
    assert "2,756 × 3,150 in" in paper
    assert pitch in screen
    assert pitch in paper
    made = office.read(lambda session: (job(session, code).width, one(session, Run).lpi))
    assert made == (parse_length("70mm"), run.lpi)
    for before, kind in zip(tables, ("months", "losses"), strict=True):
        assert before.status_code == 200
        assert desk.get(f"/shop/numbers/{kind}.csv").data == before.data


def test_who_measures_in_inches_is_asked_in_inches_and_everybody_reads_their_own(office, desk):
    code = office.ready()  # 70 mm wide, 80 mm high
    office.mount(code)
    piece = office.read(lambda session: prints(session, code)[0].code)
    office.act(lambda session, _: setattr(one(session, Print, code=piece), "stage", "trim"))
    _reads_inches_with_a_comma(desk)
    page = desk.get(f"/print/{piece}").get_data(as_text=True)
    # 70 mm, and 69 to 71 mm, by the international inch of 25.4 mm
    assert "2,756 in ordered, ± 0,039 in: 2,717 to 2,795 in." in page
    typed = {"trim-width": "2,75", "trim-width-unit": "in", "trim-height": "3,2", "trim-height-unit": "in"}
    answer = desk.post(f"/print/{piece}/sign/trim", data={**typed, "request_id": "t1"})
    assert "Measure the height. Written: 3,2 in, outside 3,11 to 3,189 in." in answer.get_data(as_text=True)
    signed = desk.post(f"/print/{piece}/sign/trim", data={**typed, "trim-height": "3,15", "request_id": "t2"})
    assert signed.status_code == 303
    width = office.read(lambda session: one(session, StepRecord, step_key="trim-width"))
    assert (width.value, width.unit) == ("2.75", "in")
    assert "<b>2,75 in</b>" in desk.get(f"/print/{piece}").get_data(as_text=True)
    paper = desk.get(f"/job/{code}/traveller").get_data(as_text=True)
    assert "2,756 ± 0,039 in" in paper
    assert ">2,75 in <small>" in paper
    desk.post("/shop/my-units", data={"units": "mm", "mark": ".", "request_id": "m2"})
    assert "<b>69.85 mm</b>" in desk.get(f"/print/{piece}").get_data(as_text=True)


def test_a_script_is_told_numbers_as_scripts_read_them(office, desk):
    """A picture is dragged by dots of the print: with a comma in it the page's script would read no number."""
    code = office.order()
    _reads_inches_with_a_comma(desk)
    page = desk.get(f"/job/{code}/pictures-on-print").get_data(as_text=True)
    across, down = (float(re.search(rf'data-{axis}="([^"]+)"', page)[1]) for axis in ("across", "down"))
    assert across > 0
    assert down > 0


def test_a_comma_is_read_from_everybody_and_what_was_typed_is_kept(office, desk):
    code = office.order()
    wish = {"artwork": "Kite", "width": "7,05 cm", "height": "80.5", "flip": "left-right", "quantity": "1",
            "bleed": "3 mm", "distance": "0,6 m", "fit": "crop", "use": "hand", "request_id": "c1"}  # fmt: skip
    sent = desk.post(f"/job/{code}/change", data=wish)
    assert sent.status_code == 303, sent.get_data(as_text=True)
    kept = office.read(lambda session: (job(session, code).width, job(session, code).height))
    assert tuple(map(str, kept)) == ("7.05cm", "80.5mm")


@pytest.mark.parametrize("typed", ["1,234", "1,234 mm", "12,345,678"])
def test_what_may_be_a_thousand_is_asked_about_at_its_field(office, desk, typed):
    code = office.order()
    wish = {"artwork": "Kite", "width": typed, "height": "80", "flip": "left-right", "quantity": "1",
            "fit": "crop", "use": "hand", "request_id": "t1"}  # fmt: skip
    sent = desk.post(f"/job/{code}/change", data=wish)
    page = sent.get_data(as_text=True)
    assert sent.status_code == 422
    assert f'value="{typed}"' in page
    assert ("write 1.234 or 1234" in page) or ("leave them out" in page)


def test_what_cannot_be_read_is_said_once_in_words_for_people(office, desk):
    code = office.order()
    wish = {"artwork": "x" * 201, "width": "70", "height": "80", "flip": "left-right", "quantity": "some",
            "price": "-3", "fit": "sideways", "use": "hand", "request_id": "w1"}  # fmt: skip
    page = desk.post(f"/job/{code}/change", data=wish).get_data(as_text=True)
    said = re.findall(r'<p class="wrong"[^>]*>([^<]*)</p>', page)
    assert set(said) >= {"At most 200 characters.", "Write a whole number.", "-3: at least 0.", "Choose one of these."}


@pytest.mark.parametrize(
    ("mark", "typed", "number"),
    [
        (POINT, "20.081", "20.081"), (COMMA, "20,081", "20.081"), (POINT, "0,125", "0.125"), (POINT, "12,5", "12.5"),
        (COMMA, "20.0645", "20.0645"), (POINT, "1234", "1234"), (POINT, "-.5", "-0.5"), (POINT, "1e3", None),
        (COMMA, "1_0", None), (POINT, "", None), (POINT, "1,234", Refused), (COMMA, "20.081", Refused),
        (POINT, "1,234.5", Refused), (COMMA, "1.234,5", Refused), (POINT, "1.234.567", Refused),
    ],
)  # fmt: skip
def test_a_number_is_read_with_either_mark_and_never_guessed(mark, typed, number):
    if number is Refused:
        with pytest.raises(Refused):
            Manner("mm", mark).read(typed)
    else:
        assert Manner("mm", mark).read(typed) == (None if number is None else Decimal(number))


@pytest.mark.parametrize(
    ("said", "read"),
    [
        ("0.42 lenticule at 20.0650.", "0,42 lenticule at 20,0650."),
        ("26-0001_20.0650lpi.tif, 127.0.0.1, version 0.1.0", "26-0001_20.0650lpi.tif, 127.0.0.1, version 0.1.0"),
        ("a rest of 24 h. 3 prints", "a rest of 24 h. 3 prints"),
    ],
)
def test_a_sentence_changes_its_numbers_alone(said, read):
    assert Manner("mm", COMMA).sentence(said) == read
    assert Manner().sentence(said) == said


@pytest.mark.parametrize(
    ("said", "read"),
    [  # by the international inch of 25.4 mm
        ("On every side; 5 mm is usual.", "On every side; 0.197 in is usual."),
        ("79.0 to 81.0 mm, 0–1 mm per 300 mm", "3.11 to 3.189 in, 0–0.04 in per 12 in"),
        ("80 ± 1.0 mm, '5 mm' as typed, 5 mm2", "3.15 ± 0.039 in, '5 mm' as typed, 5 mm2"),
    ],
)
def test_a_sentence_of_ours_is_told_in_inches_and_what_was_typed_is_not(said, read):
    assert Manner("in").told(said) == read
    assert Manner().told(said) == said
    assert Manner("in").sentence(said) == said


def test_every_digit_of_a_pitch_stays():
    assert Manner("in", COMMA).number(Decimal("20.0650")) == "20,0650"


def test_a_manner_that_does_not_exist_is_refused(office, desk):
    assert desk.post("/shop/my-units", data={"units": "ell", "mark": ".", "request_id": "m2"}).status_code == 422
    manner = office.read(lambda session: people.manner_of(one(session, Person, name="Olga")))
    assert manner == Manner()


def test_a_bare_number_that_makes_a_tiny_piece_is_asked_for_its_unit(desk):
    form = {"width": "8", "height": "10", "flip": "left-right", "request_id": "small"}
    refused = desk.post("/orders/new", data=form)
    assert refused.status_code == 422
    assert "8 alone would be 8mm: write the unit behind it, 8mm or 8in." in html.unescape(
        refused.get_data(as_text=True)
    )
    assert "alone would be" not in desk.post("/orders/new", data=form | {"width": "8mm", "height": "1in"}).get_data(
        as_text=True
    )


def _page_of(desk, code):
    pdf = desk.get(f"/print-out/labels/{code}.pdf").data
    return [round(side) for side in sizes(pdf)[0]]


def test_papers_come_on_what_lies_in_the_office_printer(office, desk):
    """A4: ISO 216, 210 x 297 mm; Letter: 8.5 x 11 in, common practice of North America; a point is 1/72 in."""
    code = office.ready()
    a4, letter = [595, 842], [612, 792]
    assert _page_of(desk, code) == a4
    _reads_inches_with_a_comma(desk)
    assert _page_of(desk, code) == letter
    refused = desk.post("/shop/facts", data={"office_paper": "foolscap", "request_id": "p1"})
    assert refused.status_code == 422
    assert "on A4 or Letter, not" in html.unescape(refused.get_data(as_text=True))
    assert desk.post("/shop/facts", data={"office_paper": "a4", "request_id": "p2"}).status_code == 303
    assert _page_of(desk, code) == a4


def test_somebody_new_begins_with_the_owners_units(office, desk):
    _reads_inches_with_a_comma(desk)
    office.act(lambda s, by: people.add_person(s, by, name="Ute", password="ridge-and-valley", role="operator"))
    assert office.read(lambda session: people.manner_of(one(session, Person, name="Ute"))) == Manner("in", COMMA)


def test_the_usual_distance_is_offered_in_the_readers_unit(desk):
    offered = r'name="distance"[^>]*value="([^"]*)"'
    assert re.search(offered, desk.get("/pitch/new").get_data(as_text=True))[1] == "0.6 m"
    _reads_inches_with_a_comma(desk)
    assert re.search(offered, desk.get("/pitch/new").get_data(as_text=True))[1] == "24 in"
