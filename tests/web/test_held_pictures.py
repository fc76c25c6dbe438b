"""An order form or one of more pictures that was not accepted keeps its good pictures and names every bad one."""

import re
from html import unescape
from io import BytesIO

import pytest
from sqlalchemy import select

from logbook.actions import pictures
from logbook.records.audit import AuditEntry
from logbook.records.machines import Machine
from logbook.records.materials import Lot
from logbook.records.orders import Job
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job, one


@pytest.fixture
def form(office):
    """An order without its pictures."""
    lot, mode = office.read(
        lambda session: (one(session, Lot, label="L-1").code, one(session, Machine, name="Printer").modes[0].code)
    )
    wish = {"width": "70mm", "height": "80mm", "flip": "left-right", "quantity": "1", "use": "wall", "fit": "crop"}
    return {"request_id": "first", "customer": "Café Sextant", "lens_lot": lot, "mode": mode, **wish}


GOOD = ("gull day.jpg", PHOTOGRAPHS[0].read_bytes())
OTHER = ("gull night.jpg", PHOTOGRAPHS[1].read_bytes())
WORDS, HALF = ("order.jpg", b"Dear printer"), ("half.jpg", PHOTOGRAPHS[0].read_bytes()[:40_000])


def _send(desk, form, *files, **more):
    sent = [(BytesIO(content), name) for name, content in files]
    return desk.post("/orders/new", data={**form, **more, "pictures": sent}, content_type="multipart/form-data")


def _held(answer):
    """What the page would send back for each picture that it holds."""
    return [
        unescape(value) for value in re.findall(r'name="held" value="([^"]+)" checked', answer.get_data(as_text=True))
    ]


def _names(office, answer):
    return _standing(office, answer.headers["Location"].rsplit("/", 1)[1])


def test_every_bad_one_is_named_and_the_good_ones_go_in_with_the_next_try(desk, office, form):
    answer = _send(desk, form, WORDS, GOOD, HALF, OTHER)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    fault = re.search(r'id="pictures-fault">(.*?)</p>', page)[1]
    assert "order.jpg" in fault
    assert "half.jpg" in fault
    held = _held(answer)
    assert [value.partition(" ")[2] for value in held] == ["gull day.jpg", "gull night.jpg"]
    done = _send(desk, form, held=held)
    assert done.status_code == 303
    assert _names(office, done) == ["gull day.jpg", "gull night.jpg"]
    assert list((office.shop.store.folder / "incoming").iterdir()) == []


def test_more_pictures_for_a_job_are_kept_too_when_one_of_them_is_bad(desk, office):
    code = office.order(customer="")
    before = _standing(office, code)
    sent = [(BytesIO(content), name) for name, content in (GOOD, HALF, OTHER)]
    form = {"request_id": "more", "pictures": sent}
    answer = desk.post(f"/job/{code}/pictures", data=form, content_type="multipart/form-data")
    assert answer.status_code == 422
    assert "half.jpg" in answer.get_data(as_text=True)
    assert _standing(office, code) == before, "nothing is put in by halves"
    done = desk.post(f"/job/{code}/pictures", data={"request_id": "more", "held": _held(answer)})
    assert done.status_code == 303
    assert _standing(office, code) == [*before, "gull day.jpg", "gull night.jpg"]


def _standing(office, code):
    return office.read(lambda session: [row.original_name for row in pictures.current(job(session, code))])


def test_a_field_left_empty_does_not_cost_the_pictures(desk, office, form):
    answer = _send(desk, form, GOOD, HALF, width="")
    assert "half.jpg" in answer.get_data(as_text=True)
    held = _held(answer)
    assert len(held) == 1
    again = _send(desk, form, height="", held=held)
    done = _send(desk, form, OTHER, held=_held(again))
    assert _names(office, done) == ["gull day.jpg", "gull night.jpg"]


def test_what_is_unticked_is_left_out_and_a_second_click_leads_to_the_order(desk, office, form):
    held = _held(_send(desk, form, GOOD, OTHER, HALF))
    first = _send(desk, form, held=held[1:])
    assert _names(office, first) == ["gull night.jpg"]
    second = _send(desk, form, held=held[1:])
    assert second.status_code == 303
    assert office.read(lambda session: len(session.execute(select(Job.id)).all())) == 1


@pytest.mark.parametrize("word", ["0" * 32, "../../logbook.sqlite", "", "zz"])
def test_what_is_not_held_is_asked_for_once_more(desk, office, form, word):
    answer = _send(desk, form, held=[f"{word} gull day.jpg"])
    assert answer.status_code == 422
    assert "gull day.jpg is no longer held here; choose it once more." in answer.get_data(as_text=True)
    assert office.read(lambda session: len(session.execute(select(Job.id)).all())) == 0


def test_what_never_comes_again_is_swept(desk, office, form):
    _send(desk, form, GOOD, HALF)
    assert len(list((office.shop.store.folder / "incoming").iterdir())) == 1
    assert office.shop.store.sweep() == 1


def test_a_job_is_called_after_its_pictures_and_says_so(desk, form):
    done = _send(desk, form, GOOD, OTHER)
    page = desk.get(done.headers["Location"]).get_data(as_text=True)
    assert "It is called “Gull” after its pictures." in page
    done = _send(desk, {**form, "request_id": "b"}, GOOD, artwork="Two gulls")
    page = desk.get(done.headers["Location"]).get_data(as_text=True)
    assert "Two gulls" in page
    assert "after its pictures" not in page


def test_a_job_that_nobody_named_is_not_called_after_its_customer(desk, office, form):
    """An artwork's name stands in the trail as it is; of a customer there stands a hash, which can be erased."""
    done = _send(desk, form, ("IMG_2041.JPG", GOOD[1]), ("IMG_2042.JPG", OTHER[1]))
    code = done.headers["Location"].rsplit("/", 1)[1]
    with office.shop.database.reading() as session:
        assert job(session, code).artwork == "untitled"
        assert not any("Sextant" in entry.body for entry in session.execute(select(AuditEntry)).scalars())
    page = desk.get(f"/job/{code}").get_data(as_text=True)
    assert "only numbers for names" in page
    assert "IMG_2041.JPG</span>" in page
