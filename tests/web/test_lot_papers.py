"""A lot's page: its papers, its count in one tap, and two people who put it right at once."""

import re
from io import BytesIO

import pytest

from logbook.actions import materials
from logbook.records.materials import Lot
from support.small_shop import one

NOTE = b"%PDF-1.7\n<script>alert(1)</script>"


@pytest.fixture
def lot(office):
    return office.read(lambda session: f"/lot/{one(session, Lot, label='L-1').code}")


def test_a_paper_comes_back_for_download_only(desk, lot):
    sent = {"request_id": "a", "paper": (BytesIO(NOTE), "note.pdf")}
    assert desk.post(f"{lot}/paper", data=sent, content_type="multipart/form-data").status_code == 303
    link = re.search(r'href="(/lot-paper/\w+)"', desk.get(lot).get_data(as_text=True))[1]
    with desk.get(link) as answer:
        assert answer.get_data() == NOTE
        assert answer.headers["Content-Disposition"].startswith("attachment; filename=note.pdf")
        assert answer.headers["Content-Security-Policy"].startswith("sandbox")
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    ("content", "words"), [(b"GIF89a", "This is no PDF, JPEG or PNG file."), (None, "Choose a file first.")]
)
def test_what_will_not_do_is_said_at_its_field(desk, lot, content, words):
    sent = {"request_id": "a"} | ({"paper": (BytesIO(content), "note.pdf")} if content else {})
    answer = desk.post(f"{lot}/paper", data=sent, content_type="multipart/form-data")
    assert answer.status_code == 422
    assert re.search(rf'id="paper-fault">{words}', answer.get_data(as_text=True))


def _form(page, action):
    found = re.search(rf'<form method="post" action="{action}".*?</form>', page, re.DOTALL)[0]
    return dict(re.findall(r'name="([^"]+)"[^>]*?value="([^"]*)"', found))


def test_the_count_goes_down_by_one_tap(desk, office, lot):
    one_tap = _form(desk.get(lot).get_data(as_text=True), f"{lot}/count")
    assert one_tap["now_there"] == "49"
    assert desk.post(f"{lot}/count", data=one_tap).status_code == 303
    assert office.read(lambda session: materials.left(session, one(session, Lot, label="L-1"))) == 49


def test_a_tap_on_a_page_that_another_count_overtook_is_held_back(desk, office, lot):
    one_tap = _form(desk.get(lot).get_data(as_text=True), f"{lot}/count")
    office.act(
        lambda s, by: materials.count_lot(s, by, lot=one(s, Lot, label="L-1"), now_there=12), who="Otto"
    )
    answer = desk.post(f"{lot}/count", data=one_tap)
    assert answer.status_code == 409
    assert "Changed by Otto" in answer.get_data(as_text=True)
    assert office.read(lambda session: materials.left(session, one(session, Lot, label="L-1"))) == 12


def test_two_people_who_put_a_lot_right_do_not_overwrite_each_other(desk, office, lot):
    shown = _form(desk.get(lot).get_data(as_text=True), f"{lot}/facts")
    office.act(
        lambda s, by: materials.change_lot(s, by, lot=one(s, Lot, label="L-1"), changes={"place": "cellar"}),
        who="Otto",
    )
    answer = desk.post(f"{lot}/facts", data=shown | {"place": "shelf 2"})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 409
    assert "“Where it lies” nothing → cellar" in page
    again = _form(page, f"{lot}/facts")
    assert again["place"] == "shelf 2"
    assert desk.post(f"{lot}/facts", data=again).status_code == 303
    assert office.read(lambda session: one(session, Lot, label="L-1").place) == "shelf 2"
