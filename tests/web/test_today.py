"""Today: what can go on, what dries or rests and until when, who waits for whom."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from logbook.actions import materials, proofs, shop
from logbook.records.materials import Lot
from support.small_shop import job, one, prints


def _part(desk, heading, path="/"):
    """The lines below a heading, without marks."""
    page = desk.get(path).get_data(as_text=True)
    found = re.search(rf"<h2[^>]*>{heading}</h2>(.*?)(?=<h2|</section>)", page, re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", found[1]).split()) if found else ""


def test_what_dries_is_no_work_until_it_is_dry(desk, office):
    assert "No backup was made yet" in desk.get("/").get_data(as_text=True)
    code = office.ready()
    office.now = datetime.now(UTC)  # the desk's clock: printed a moment ago
    office.sign(code, "print")
    assert "26-0001-A-S1" not in _part(desk, "Can go on now")
    waits = _part(desk, "Dries or rests")
    assert "26-0001-A-S1: dries free on" in waits
    assert re.search(r"free on \d{4}-\d\d-\d\d \d\d:\d\d", _part(desk, "Next", f"/job/{code}"))


def test_a_blank_first_aid_card_is_said_where_a_machine_can_hurt_until_it_is_written(desk, office):
    assert "The first-aid card says nothing yet of: emergency number" in _part(desk, "Low, held or ending")
    known = dict.fromkeys(shop.FIRST_AID, "written down")
    office.act(lambda session, by: shop.set_facts(session, by, known))
    assert "first-aid card" not in _part(desk, "Low, held or ending")


def test_what_has_dried_can_go_on(desk, office):
    code = office.ready()  # months ago, by the desk's clock
    office.sign(code, "print")
    assert "26-0001-A-S1: it is dry: test it and sign" in _part(desk, "Can go on now")
    assert _part(desk, "Dries or rests") == ""


def test_who_waits_for_whom_is_said(desk, office):
    code = office.order()
    draft = office.read(lambda session: proofs.drawing(office.shop.store, job(session, code))())
    office.act(lambda session, by: proofs.keep_proof(session, by, job=job(session, code), draft=draft))
    assert "We wait for the customer" not in _part(desk, "Can go on now")
    assert "has not answered the proof yet" in _part(desk, "Waits for the customer")
    assert "We wait for the customer&#39;s word on the proof" in _part(desk, "Next", f"/job/{code}")


def test_a_wait_asks_nothing_of_who_waits(desk, office):
    code = office.ready()
    office.now = datetime.now(UTC)
    office.sign(code, "print")
    sheet = office.read(lambda session: prints(session, code)[0].sheet.code)
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert re.search(r"<b>wait</b> Drying: 2\d h", page)
    assert "<b>ask</b> Drying" not in page


@pytest.mark.parametrize(("pieces", "said"), [(1, "(1 piece, 70 mm × 80 mm"), (3, "(3 pieces, 70 mm × 80 mm")])
def test_one_is_no_plural_in_a_text(desk, office, pieces, said):
    code = office.order(quantity=pieces)
    assert said in desk.get(f"/job/{code}/texts").get_data(as_text=True)


def test_ready_reasons_answer_what_is_asked(desk, office):
    code = office.order()
    page = desk.get(f"/job/{code}/pitch").get_data(as_text=True)
    assert "first print with this lens" in page  # a value carried over, and the nominal one
    assert "the customer waits and knows" not in page
    assert "nobody else is here today" not in page
    carried, nominal = page.split("the lens maker's number")
    assert "it served well before" in carried  # the logbook cannot know that it did not
    assert "it served well before" not in nominal
    printed = office.ready()
    again = desk.get(f"/job/{printed}/pitch").get_data(as_text=True)
    assert "first print with this lens" not in again
    assert "it served well before" in again.split("the lens maker's number")[-1]


def test_a_sheet_in_doubt_and_a_lot_that_runs_low_say_so(desk, office):
    alone, code = office.ready(), office.ready(quantity=3)
    yesterday = datetime.now(UTC).date() - timedelta(days=1)
    office.act(lambda s, by: materials.set_lot_aside(s, by, lot=one(s, Lot, label="L-1"), reason="hazy") and None)
    changes = {"reorder_level": 50, "expires_on": yesterday}
    office.act(lambda s, by: materials.change_lot(s, by, lot=one(s, Lot, label="A-1"), changes=changes))
    assert "hazy" not in _part(desk, "Can go on now")
    assert "3 set aside, lot L-1: hazy" in desk.get(f"/job/{code}").get_data(as_text=True)
    low = _part(desk, "Low, held or ending")
    assert "26-0001-A1 is set aside: lot L-1: hazy" in low
    assert "26-0002-A: 3 prints are set aside: lot L-1: hazy" in low
    assert f'/job/{code}#prints"' in desk.get("/").get_data(as_text=True)
    assert "26-0002-A1" not in low
    assert "A-1: 50 left, order more" in low
    sheet, piece = office.read(lambda s: (prints(s, alone)[0].sheet.code, prints(s, alone)[0].code))
    page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
    assert "Nothing can be signed here while this sheet is set aside." in page
    assert f'href="/print/{piece}">its own page' in page
    assert "go sign" not in page
    assert f"A-1: ended on {yesterday}" in low
    stock = desk.get("/stock").get_data(as_text=True)
    assert stock.count("order more") == stock.count("past its date") == 1
