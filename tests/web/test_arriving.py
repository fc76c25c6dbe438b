"""Bringing a list in, as a browser sends it: upload, look, confirm; sent twice it is taken in once."""

import html
import io
import re
from datetime import UTC, datetime

import pytest
from sqlalchemy import func, select

from logbook.actions import people
from logbook.background.arrivals import take_in_asked
from logbook.records.orders import Customer
from logbook.web.app import create_app
from logbook.web.gate import COOKIE
from support.small_shop import new_shop

LIST = 'name;contact\n"<b>Quill</b> & ""Sons""";\nInes Vrba;"line one\nline two"\n'


@pytest.fixture
def office(tmp_path):
    shop = new_shop(tmp_path / "data", now=datetime.now(UTC))
    client = create_app(shop.shop, ring=lambda _: None).test_client()
    owner = shop.act(
        lambda session, by: people.start_sign_in(session, by, person=people.by_id(session, by.person_id), keys=[])
    )
    client.set_cookie(COOKIE, owner)
    yield shop, client
    shop.shop.database.close()


def _hidden(page):
    pairs = re.findall(r'name="(csrf_token|request_id|what|held_file|seen)"[^>]* value="([^"]*)"', page)
    return {name: html.unescape(value) for name, value in pairs}


def _look(client, data, what="customers"):
    token = _hidden(client.get("/shop/arriving").get_data(as_text=True))["csrf_token"]
    sent = {"csrf_token": token, "what": what, "file": (io.BytesIO(data), "list.csv")}
    answer = client.post("/shop/arriving", data=sent, content_type="multipart/form-data")
    answer.request.environ["wsgi.input"].close()  # the test client's own file, where it sends much
    return answer


def _confirmation(answer):
    page = answer.get_data(as_text=True)
    return _hidden(page[page.index("/shop/arriving/take") :].split("</form>")[0])


def _names(shop):
    return shop.read(lambda s: dict(s.execute(select(Customer.name, Customer.contact)).all()))


def test_upload_look_confirm_takes_the_list_in_once_however_often_it_is_sent(office):
    shop, client = office
    looked = _look(client, LIST.encode("utf-8-sig"))
    assert looked.status_code == 200
    assert "&lt;b&gt;Quill&lt;/b&gt;" in looked.get_data(as_text=True)
    assert _names(shop) == {}
    sent = _confirmation(looked)
    for _ in range(2):
        answer = client.post("/shop/arriving/take", data=sent, content_type="multipart/form-data")
        assert answer.status_code == 303
    page = client.get("/shop/arriving").get_data(as_text=True)
    poll = re.search(r'data-run="([^"]+)"', page)[1]
    assert client.get(poll).json == {"state": "waiting", "progress": 0, "started": None}
    assert take_in_asked(shop.shop)
    assert not take_in_asked(shop.shop)
    assert client.get(poll).json["state"] == "done"
    assert "2 lines of 2 taken in" in client.get("/shop/arriving").get_data(as_text=True)
    assert _names(shop) == {'<b>Quill</b> & "Sons"': None, "Ines Vrba": "line one\nline two"}


def test_a_list_with_a_fault_has_no_button_and_names_the_line(office):
    shop, client = office
    answer = _look(client, b"name,contact\nInes,\n,nobody\n")
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "<b>Line 3</b>: name: this is needed." in page
    assert "/shop/arriving/take" not in page
    assert _names(shop) == {}


@pytest.mark.parametrize(
    ("data", "sentence"), [(b"", "missing"), (b"\xff\xfe", "not UTF-8"), (b"x" * 4_100_000, "larger than 4 MB")]
)
def test_what_is_no_list_is_said_at_the_file_s_field(office, data, sentence):
    answer = _look(office[1], data)
    assert answer.status_code == 422
    assert sentence in re.search(r'id="file-fault">([^<]*)<', answer.get_data(as_text=True))[1]


def test_a_changed_list_or_seal_is_not_taken_in(office):
    shop, client = office
    sent = _confirmation(_look(client, b"name\nInes\n"))
    for change in ({"held_file": "0" * 32}, {"seen": "0"}, {"held_file": "../x"}, {"what": "stock"}):
        answer = client.post("/shop/arriving/take", data={**sent, **change}, content_type="multipart/form-data")
        assert answer.status_code == 422, change
        assert 'role="alert"' in answer.get_data(as_text=True)
    assert shop.read(lambda s: s.execute(select(func.count(Customer.id))).scalar_one()) == 0


def test_a_customer_from_a_list_is_found_before_they_order_anything(office):
    shop, client = office
    client.post("/shop/arriving/take", data=_confirmation(_look(client, LIST.encode())))
    take_in_asked(shop.shop)
    page = client.get("/trace?q=vrba").get_data(as_text=True)
    address = re.search(r'href="(/customer/[A-Z0-9]+)"[^>]*>\s*Ines Vrba', page)[1]
    own = client.get(address).get_data(as_text=True)
    assert "line one" in own
    assert "Nothing was ordered yet" in own
    assert f"{address}/forget" in own
    order = client.get(html.unescape(re.search(r'href="(/orders/new\?[^"]*)"', own)[1])).get_data(as_text=True)
    assert re.search(r'name="customer"[^>]*value="Ines Vrba"|value="Ines Vrba"[^>]*name="customer"', order)


def test_a_list_on_its_way_can_be_stopped_and_a_long_one_keeps_its_page_light(office):
    shop, client = office
    looked = _look(client, ("name\n" + "".join(f"Person {number}\n" for number in range(5_000))).encode())
    assert len(looked.data) < 150_000
    client.post("/shop/arriving/take", data=_confirmation(looked))
    page = client.get("/shop/arriving").get_data(as_text=True)
    stop = re.search(r'action="([^"]+/stop)"', page)[1]
    token = _hidden(page)
    assert client.post(stop, data=token).status_code == 303
    assert not take_in_asked(shop.shop)
    assert _names(shop) == {}
    assert "0 lines of 5000 taken in" in client.get("/shop/arriving").get_data(as_text=True)
    assert client.post(stop, data={**token, "request_id": "0"}).status_code == 422
