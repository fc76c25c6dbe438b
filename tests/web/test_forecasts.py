"""The pitch page offers a forecast where no test serves; taken, it is on record with a reason and asks no more."""

import html
from decimal import Decimal

import pytest

from logbook.actions import jobs
from logbook.records.pitch import PitchOnRecord
from support.pairings import conditions, measure_scale, pair
from support.small_shop import job, one


@pytest.fixture
def code(office):
    """A job on a pairing that nobody tested, linked over another lens lot."""

    pair(office)
    made = office.order(customer="")

    def choose(session, by):
        wanted = conditions(session, "L-1", "Second")
        choice = jobs.MaterialChoice(lens_lot=wanted.lens_lot, mode=wanted.mode, paper=wanted.paper)
        jobs.choose_materials(session, by, job=job(session, made), choice=choice)

    office.act(choose)
    return made


def _page(desk, address):
    return html.unescape(desk.get(address).get_data(as_text=True))


def test_it_is_offered_asks_for_a_reason_and_is_used(desk, office, code):
    page = _page(desk, f"/job/{code}/pitch")
    assert "from 3 tests of other pairings" in page
    answer = desk.post(f"/job/{code}/pitch", data={"request_id": "f1", "pitch": "forecast"})
    assert answer.status_code == 422
    assert "Give a reason" in html.unescape(answer.get_data(as_text=True))
    assert office.read(lambda session: session.query(PitchOnRecord).filter_by(origin="forecast").count()) == 0
    form = {"request_id": "f2", "pitch": "forecast", "own_reason": "a trial before the test"}
    assert desk.post(f"/job/{code}/pitch", data=form).status_code == 303
    assert office.read(lambda session: jobs.pitch_of(session, job(session, code)).pitch.origin) == "forecast"
    assert "How it comes about" not in _page(desk, f"/job/{code}/pitch"), "it is on record, offered as such"


def test_its_page_shows_every_test_and_what_is_only_assumed(desk, code):
    page = _page(desk, f"/job/{code}/forecast")
    assert page.count("<tr>") == 4
    assert "Redundancy" in page
    assert "within 0.5 % of its nominal pitch" in page


def test_its_page_shows_the_scales_that_were_measured(desk, office, code):
    assert "Scales measured" not in _page(desk, f"/job/{code}/forecast")
    tested = office.read(lambda session: one(session, PitchOnRecord, lpi=Decimal("20.03")).code)
    measure_scale(office, tested, off_mm="0.4")
    # 0.4 mm of 80 mm; a rule read to 0.5 mm either way: 0.5 / sqrt(3) / 80
    assert "+0.50 ± 0.36 %" in _page(desk, f"/job/{code}/forecast")


def test_where_a_test_serves_no_forecast_stands_in_the_way(desk, office, code):
    def choose(session, by):
        known = one(session, PitchOnRecord, lpi=Decimal("20.07"), origin="test")
        choice = jobs.MaterialChoice(lens_lot=known.lens_lot, mode=known.mode, paper=known.paper)
        jobs.choose_materials(session, by, job=job(session, code), choice=choice)

    office.act(choose)
    assert "How it comes about" not in _page(desk, f"/job/{code}/pitch")
