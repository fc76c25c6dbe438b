"""Quotes on their pages: given, read, prolonged, declined, turned into an order."""

import re

from sqlalchemy import select

from logbook.records.materials import Lot, Material
from logbook.records.orders import Customer, Order
from logbook.records.quotes import Quote
from support.pdf_reading import texts
from support.small_shop import one


def _form(office, **changes):
    lot = office.read(lambda session: one(session, Lot, label="L-1").code)
    known = {
        "request_id": "q1",
        "customer": "Pellworm Kites",
        "artwork": "Two Gulls",
        "width": "70mm",
        "height": "80mm",
        "flip": "left-right",
        "effect": "sequence",
        "use": "hand",
        "distance": "450mm",
        "quantity": "3",
        "lens_lot": lot,
        "waste_percent": "10",
        "minutes": "30",
        "price": "12,50",
        "valid_until": "2099-01-31",
        "hourly_rate": "40",
    }
    return {**known, **changes}


def _given(office, desk):
    answer = desk.post("/quotes/new", data=_form(office))
    assert answer.status_code == 303
    return answer.location.rsplit("/", 1)[-1]


def _text(answer):
    return answer.get_data(as_text=True)


def test_a_quote_is_given_and_read_on_its_page_and_on_paper(office, desk):
    code = _given(office, desk)
    page = _text(desk.get(f"/quote/{code}"))
    assert "37.50" in page  # 3 x 12.50
    assert "no price on record for lens" in page
    assert "Two Gulls" in _text(desk.get("/quotes"))
    paper = desk.get(f"/print-out/given-quote/{code}.pdf")
    words = " ".join(texts(paper.data))
    assert "Two Gulls" in words
    assert "2099-01-31" in words
    for shown in (page, words):
        assert "step by step, left-right, in the hand, seen from 450 mm" in " ".join(shown.split())


def test_accepted_leads_to_the_order_and_back(office, desk):
    code = _given(office, desk)
    paper = office.read(lambda session: one(session, Material, kind="paper").code)
    answer = desk.post(f"/quote/{code}/accept", data={"request_id": "a", "mode": "", "paper": paper})
    assert answer.status_code == 303
    order = _text(desk.get(answer.location))
    assert f"/quote/{code}" in order
    assert re.search(r'<a href="/job/\w+#pictures">Next: add its pictures</a>', order), "what is to be done now"
    assert answer.location in _text(desk.get(f"/quote/{code}"))


def test_declined_is_the_end_of_it(office, desk):
    code = _given(office, desk)
    assert desk.post(f"/quote/{code}/decline", data={"request_id": "d"}).status_code == 303
    answer = desk.post(f"/quote/{code}/accept", data={"request_id": "a", "mode": "", "paper": ""})
    assert answer.status_code == 422
    assert "was declined already" in _text(answer)
    assert office.read(lambda session: session.execute(select(Order)).first()) is None


def test_lines_come_and_go(office, desk):
    code = _given(office, desk)
    more = _form(office, request_id="l", artwork="Kite")
    assert desk.post(f"/quote/{code}/line", data=more).status_code == 303
    line = office.read(lambda session: one(session, Quote, code=code).lines[0].code)
    assert desk.post(f"/quote-line/{line}/out", data={"request_id": "o"}).status_code == 303
    left = office.read(lambda session: [row.artwork for row in one(session, Quote, code=code).lines])
    assert left == ["Kite"]


def test_bad_input_is_said_at_its_field_and_leaves_nothing(office, desk):
    wrong = {"customer": "", "width": "wide", "quantity": "0", "price": "-1", "valid_until": "soon"}
    answer = desk.post("/quotes/new", data=_form(office, **wrong))
    assert answer.status_code == 422
    for field in wrong:
        assert f'id="{field}-fault"' in _text(answer), field
    for table in (Quote, Customer):
        assert office.read(lambda session, table=table: session.execute(select(table)).first()) is None


def test_a_day_that_is_over_is_said_at_its_field(office, desk):
    answer = desk.post("/quotes/new", data=_form(office, valid_until="2020-01-01"))
    assert answer.status_code == 422
    assert 'id="valid_until-fault"' in _text(answer)
    code = _given(office, desk)
    answer = desk.post(f"/quote/{code}/prolong", data={"request_id": "p", "valid_until": "2020-01-01"})
    assert answer.status_code == 422
    assert 'id="new-valid_until-fault"' in _text(answer)


def test_deposit_and_paid_date_stand_on_the_order(office, desk):
    code = _given(office, desk)
    order = desk.post(f"/quote/{code}/accept", data={"request_id": "a", "mode": "", "paper": ""}).location
    answer = desk.post(f"{order}/money", data={"request_id": "m", "deposit": "20", "paid_on": "2026-11-01"})
    assert answer.status_code == 303
    page = _text(desk.get(order))
    assert "<dt>Deposit</dt><dd>20</dd>" in page
    assert "<dt>Paid</dt><dd>2026-11-01</dd>" in page
    assert desk.post(f"{order}/money", data={"request_id": "n", "deposit": "some"}).status_code == 422
