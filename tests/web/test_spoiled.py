"""A sheet's own page: it is spoiled, with a photograph; a lot's page: it is released."""

from contextlib import closing
from io import BytesIO

import pytest
from werkzeug.test import EnvironBuilder

from logbook.actions import materials
from logbook.records.floor import Verdict
from logbook.records.materials import Lot
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import one, prints


@pytest.fixture
def sheet(office):
    """The address of a sheet before the printer, and its job."""
    job = office.ready()
    return office.read(lambda session: f"/sheet/{prints(session, job)[0].sheet.code}"), job


def _send(desk, address, photo, **more):
    sent = {"kind": "replace", "reason": "folded", "cause": "A1", "request_id": "once", **more}
    return desk.post(
        f"{address}/verdict", data={**sent, "photo": (BytesIO(photo), "it.jpg")}, content_type="multipart/form-data"
    )


def test_a_sheet_is_replaced_there_and_its_photograph_is_shown(desk, office, sheet):
    address, job = sheet
    page = desk.get(address).get_data(as_text=True)
    assert "It is spoiled" in page
    assert "can be taken back within a minute" in page
    assert _send(desk, address, PHOTOGRAPHS[0].read_bytes()).status_code == 303
    assert "It was scrapped" in desk.get(address).get_data(as_text=True)
    lost, new, photo = office.read(
        lambda session: (*(one.code for one in prints(session, job)), one(session, Verdict).photo_sha256)
    )
    assert f'replaced by <a href="/print/{new}"' in desk.get(address).get_data(as_text=True)
    shown = desk.get(f"/print/{lost}").get_data(as_text=True)
    assert f"/photograph/{photo}" in shown
    assert f"/print/{new}" in shown
    assert "A1 crease" in shown
    assert desk.get(f"/photograph/{photo}").mimetype == "image/jpeg"


def test_a_photograph_as_large_as_a_tablet_takes_it_is_no_oversized_request(desk, office, sheet):
    address, _ = sheet
    photo = PHOTOGRAPHS[0].read_bytes() + bytes(3_000_000)  # what follows the end of a JPEG is passed over
    spoiled = {"kind": "replace", "reason": "folded", "photo": (BytesIO(photo), "it.jpg"), "request_id": "a"}
    assert _large(desk, f"{address}/verdict", spoiled) == 303
    lot = office.read(lambda session: one(session, Lot, label="L-1").code)
    note = {"paper": (BytesIO(b"%PDF-1.7 a note" + bytes(3_000_000)), "note.pdf"), "request_id": "b"}
    assert _large(desk, f"/lot/{lot}/paper", note) == 303


def _large(desk, path, sent):
    """Post a form whose body goes through a file of the test client's own, which is closed here."""
    environ = EnvironBuilder(path=path, method="POST", data=sent).get_environ()
    with closing(environ["wsgi.input"]):
        return desk.open(environ).status_code


def test_what_is_no_picture_is_said_at_its_field_and_nothing_is_decided(desk, office, sheet):
    address, job = sheet
    answer = _send(desk, address, b"a letter")
    assert answer.status_code == 422
    assert 'id="spoiled-photo-fault"' in answer.get_data(as_text=True)
    assert office.read(lambda session: [piece.stage for piece in prints(session, job)]) == ["on sheet"]


def test_a_lot_is_released_on_its_own_page(desk, office):
    code = office.read(lambda session: one(session, Lot, label="L-1").code)
    office.act(
        lambda s, by: materials.set_lot_aside(s, by, lot=one(s, Lot, label="L-1"), reason="hazy") and None
    )
    assert "Release this lot" in desk.get(f"/lot/{code}").get_data(as_text=True)
    assert desk.post(f"/lot/{code}/release", data={"reason": "", "request_id": "a"}).status_code == 422
    assert desk.post(f"/lot/{code}/release", data={"reason": "it was dust", "request_id": "a"}).status_code == 303
    assert "Set aside" not in desk.get(f"/lot/{code}").get_data(as_text=True)
