"""A customer's own print: nothing is printed here, the rest of the way and every caution stay."""

import html
import re

import pytest

from logbook.actions import runs, sheets, trace
from logbook.paper.traveller import traveller_html
from logbook.records.materials import Lot
from logbook.records.orders import Job
from logbook.refusals import Refused
from support.small_shop import CUSTOMER, job, one, prints


def _ordered(desk):
    form = {"request_id": "mount", "customer": CUSTOMER, "width": "70mm", "height": "80mm", "flip": "left-right"}
    form |= {"quantity": "2", "use": "wall", "fit": "crop", "kind": "mount-only", "artwork": "their print"}
    answer = desk.post("/orders/new", data=form, content_type="multipart/form-data")
    assert answer.status_code == 303
    return answer.location.rsplit("/", 1)[-1]


def _taken(desk, office, code):
    lens, glue = office.read(lambda session: (one(session, Lot, label="L-1").code, one(session, Lot, label="A-1").code))
    form = {"request_id": "take", "lens_lot": lens, "adhesive_lot": glue, "count": "2", "note": "60 lines per inch"}
    assert desk.post(f"/job/{code}/mounting", data=form).status_code == 303


def _page(desk, address):
    return html.unescape(desk.get(address).get_data(as_text=True))


def test_it_is_ordered_without_printer_lens_or_pictures_and_asks_for_the_prints(desk):
    code = _ordered(desk)
    page = _page(desk, f"/job/{code}")
    assert "Take the customer's own prints (2)" in page
    assert "Interlaced files" not in page
    assert "Make a proof" not in page
    assert "Choose a pitch" not in _page(desk, "/")


def test_it_goes_from_its_adhesive_to_the_door_and_its_trace_says_whose_print_it_is(desk, office):
    code = _ordered(desk)
    _taken(desk, office, code)
    assert office.read(lambda session: [piece.sheet.stage for piece in prints(session, code)]) == ["adhesive"] * 2
    assert "the customer's own print" in _page(desk, f"/job/{code}")
    office.roll(code, "adhesive")
    office.roll(code, "laminate")
    office.wait(hours=25)
    office.sign(code, "dwell")
    office.sign(code, "trim")
    office.inspect(code)
    office.leave(code)
    with office.shop.database.reading() as session:
        done = one(session, Job, code=code)
        assert done.ended_at is not None
        assert "customer's own print" in str(trace.find(session, prints(session, code)[0].serial))


def _cautions(office, code):
    paper = html.unescape(traveller_html(office.traveller(code).view))
    return paper, set(re.findall(r"\b(C\d\d) v", paper))


def test_its_traveller_says_so_and_keeps_every_caution_from_the_adhesive_on(desk, office):
    code = _ordered(desk)
    _taken(desk, office, code)
    paper, shown = _cautions(office, code)
    assert "Mounting only" in paper
    assert "THE CUSTOMER'S OWN PRINT" in paper
    half_done = office.order(customer="")
    office.act(
        lambda session, by: sheets.enter_midway(session, by, job=job(session, half_done), stage="adhesive", count=1)
    )
    assert shown == _cautions(office, half_done)[1] - {"C13"}, "C13 is about the printer's ink, which is not here"
    assert {"C01", "C07"} <= shown


def test_it_is_never_interlaced_and_never_half_done(desk, office):
    code = _ordered(desk)
    with pytest.raises(Refused, match="only mounted here"):
        office.act(lambda session, by: runs.ask_for(session, by, job=job(session, code)))
    with pytest.raises(Refused, match="own prints"):
        office.act(lambda session, by: sheets.enter_midway(session, by, job=job(session, code), stage="trim", count=1))
    plain = office.order(customer="")
    with pytest.raises(Refused, match="printed here"):
        office.act(
            lambda session, by: sheets.start_mounting(
                session, by, job=job(session, plain), what=sheets.Mounting(one(session, Lot, label="L-1"))
            )
        )


@pytest.mark.parametrize(("lens", "glue", "words"), [("P-1", "A-1", "no lens"), ("L-1", "L-1", "no adhesive")])
def test_a_lot_of_another_kind_is_refused(desk, office, lens, glue, words):
    code = _ordered(desk)
    with pytest.raises(Refused, match=words):
        office.act(
            lambda session, by: sheets.start_mounting(
                session,
                by,
                job=job(session, code),
                what=sheets.Mounting(one(session, Lot, label=lens), one(session, Lot, label=glue)),
            )
        )


def test_what_the_customer_said_of_it_stands_with_its_print(desk, office):
    code = _ordered(desk)
    _taken(desk, office, code)
    piece = office.read(lambda session: prints(session, code)[0].code)
    page = _page(desk, f"/print/{piece}")
    assert "the customer's own print: 60 lines per inch" in page
    assert "before the logbook" not in page
