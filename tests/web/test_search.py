"""The box at the top of every page: a serial opens its print, everything else is shown in groups."""

from flask import render_template

from logbook.actions import trace
from logbook.records.materials import Lot
from support.small_shop import one, prints


def _text(answer):
    return answer.get_data(as_text=True)


def test_a_whole_serial_opens_its_print(office, desk):
    code = office.ready()
    piece = office.read(lambda session: prints(session, code)[0])
    answer = desk.get("/trace", query_string={"q": piece.serial})
    assert answer.status_code == 303
    assert answer.location == f"/print/{piece.code}#trace"


def test_a_lot_is_traced_as_before_and_its_page_is_led_to(office, desk):
    office.ready()
    lot = office.read(lambda session: one(session, Lot, label="L-1").code)
    page = _text(desk.get("/trace?q=L-1"))
    assert "Every print" in page
    assert f'href="/lot/{lot}"' in page


def test_a_customer_leads_to_the_newest_orders(office, desk):
    office.order()
    page = _text(desk.get("/trace?q=quillon"))
    assert "Customers and their newest orders" in page
    assert 'href="/order/' in page
    assert "Nothing here is called" not in page


def test_nothing_found_says_so_and_escapes_what_was_typed(desk):
    page = _text(desk.get("/trace", query_string={"q": "<b>nobody"}))
    assert "Nothing here is called" in page
    assert "<b>nobody" not in page


def test_a_chart_that_nobody_read_has_no_readings_by_nobody(office, desk):
    code = office.ready()
    charts = [{"centre_lpi": 20, "step_lpi": "0.1", "file_sha256": "0" * 64, "readings": read}
              for read in ([], [{"reader": "Olga"}, {"reader": "Olga"}])]
    with office.shop.database.reading() as session, desk.application.test_request_context("/"):
        piece = prints(session, code)[0]
        traced = trace.find(session, piece.serial)
        traced["pitch"]["test"] = {"code": "T1", "charts": charts}
        page = render_template("piece_trace.html", piece=piece, traced=traced)
    assert "0.1</a>: not read <code" in page
    assert "0.1</a>: 2 readings by Olga <code" in page
    assert "readings by <" not in page


def test_the_number_on_paper_leads_to_its_run_and_its_pitch(office, desk):
    code = office.ready()
    run = office.read(lambda session: prints(session, code)[0].sheet.run)
    page = _text(desk.get("/trace", query_string={"q": str(run.lpi).replace(".", ",")}))
    assert f'href="/run/{run.code}"' in page
    known = _text(desk.get("/trace", query_string={"q": str(run.pitch_lpi)}))
    assert f'href="/pitch/{run.pitch.code}"' in known
