"""Who comes in and what may be sent: every address of the URL map, with every role."""

import re

import pytest
from sqlalchemy import text

from logbook.actions import people
from logbook.records.opened import open_shop
from logbook.settings import Settings
from logbook.web.app import HEADERS, create_app
from logbook.web.common import Common
from logbook.web.condition import READ_ONLY, Condition
from logbook.web.gate import COOKIE, UPLOADS
from logbook.web.lookers import Lookers
from support.small_shop import small_shop

PUBLIC = {"entry.sign_in", "entry.found", "entry.icon", "static", "places.enrol"}
FOR_OWNERS = {
    "machines.new", "machines.facts", "machines.add_mode", "machines.authorise", "machines.unauthorise",
    "machines.back", "stock.release",
    "shop.facts", "shop.rules", "shop.add_person", "shop.check_record", "texts.wording",
    "status.set_up", "erasing.customer", "erasing.pictures", "ghosting.figures", "numbers.overview", "numbers.as_csv",
    "arriving.arriving", "arriving.look", "arriving.take", "arriving.state", "arriving.stop", "steps.stage",
    "staff.person", "staff.pin_away", "staff.let_go", "staff.bring_back",
    "places.listing", "places.place", "places.new_code", "places.send_away", "places.remove",
}  # fmt: skip
"""What only an owner does; everything else that writes is for operators too."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    made = small_shop(tmp_path_factory.mktemp("web") / "data")
    made.act(
        lambda session, by: people.add_person(session, by, name="Vera", password="ridge-and-valley", role="viewer")
    )
    yield made
    made.shop.database.close()


@pytest.fixture(scope="module")
def app(shop):
    return create_app(shop.shop, ring=lambda _: None)


def _client(app, shop, name=None):
    from datetime import UTC, datetime

    client = app.test_client()
    if name is not None:
        shop.now = datetime.now(UTC)
        token = shop.act(
            lambda session, by: people.start_sign_in(session, by, person=people.person_named(session, name), keys=[])
        )
        client.set_cookie(COOKIE, token)
    return client


def _addresses(app, method):
    for rule in app.url_map.iter_rules():
        if method in rule.methods:
            path = re.sub(r"<(\w+:)?revision>", "1", rule.rule)
            yield rule.endpoint, re.sub(r"<[^>]+>", "NOTHERE2", path)


def test_a_stranger_is_sent_to_the_sign_in_from_everywhere(app, shop):
    client = _client(app, shop)
    for endpoint, path in _addresses(app, "GET"):
        if endpoint not in PUBLIC:
            answer = client.get(path)
            assert (answer.status_code, "/sign-in" in answer.headers.get("Location", "")) == (303, True), path
    for endpoint, path in _addresses(app, "POST"):
        if endpoint not in PUBLIC:
            assert client.post(path).status_code == 303, path


def test_nothing_is_written_without_the_forms_own_token(app, shop):
    client = _client(app, shop, "Olga")
    for endpoint, path in _addresses(app, "POST"):
        if endpoint not in PUBLIC:
            answer = client.post(path, data={"reason": "x"})
            assert answer.status_code == 400, f"{path}: {answer.status_code}"
            assert b"too old" in answer.data


def test_a_viewer_sends_nothing_but_what_is_his_own(app, shop):
    client = _client(app, shop, "Vera")
    sent = {endpoint: client.post(path).status_code for endpoint, path in _addresses(app, "POST")}
    allowed = {endpoint for endpoint, status in sent.items() if status != 403}
    own = {"entry.sign_out", "shop.units", "shop.password", "tracing.by_file"}
    assert allowed == {"entry.sign_in", "entry.found", "places.enrol"} | own
    assert {sent[endpoint] for endpoint in allowed} == {400}  # without the form's own token


def test_a_viewer_is_kept_out_of_pages_that_are_forms_and_of_nothing_else(app, shop):
    client = _client(app, shop, "Vera")
    kept_out = {
        endpoint for endpoint, path in _addresses(app, "GET") if client.get(path).status_code == 403
    } - FOR_OWNERS
    assert kept_out == {
        "orders.new", "orders.add_job", "jobs.materials", "jobs.pitch", "jobs.change", "jobs.midway", "mounting.begin",
        "onpaper.take_over", "papercheck.take_over", "orderchange.change", "materialfacts.change",
        "pitch.new", "pitch.carry", "stock.new", "stock.new_lot", "reorders.of_order", "reorders.of_job", "quotes.new",
    }  # fmt: skip


def test_an_operator_is_kept_out_of_what_owners_do_and_of_nothing_else(shop):
    app = create_app(shop.shop, ring=lambda _: None)
    app.config["WTF_CSRF_ENABLED"] = False
    client = _client(app, shop, "Otto")
    kept_out = set()
    for method in ("GET", "POST"):
        for endpoint, path in _addresses(app, method):
            if endpoint in PUBLIC | {"entry.sign_out"} | {"shop.password"}:
                continue
            answer = client.open(path, method=method)
            assert answer.status_code < 500, path
            if answer.status_code == 403:
                kept_out.add(endpoint)
    assert kept_out == FOR_OWNERS


def test_every_answer_carries_its_headers_errors_too(app, shop):
    client = _client(app, shop, "Olga")
    for path in ("/", "/static/style.css", "/no-such-page", "/job/NOTHERE2", "/sign-in"):
        with client.get(path) as answer:
            for name, value in HEADERS.items():
                assert answer.headers[name] == value, (path, name)


def test_the_cookie_is_out_of_reach_and_dead_after_signing_out(app):
    client = app.test_client()
    page = client.get("/sign-in").get_data(as_text=True)
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)[1]
    answer = client.post("/sign-in", data={"name": "olga ", "password": "ridge-and-valley", "csrf_token": token})
    assert answer.status_code == 303
    cookie = next(line for line in answer.headers.getlist("Set-Cookie") if line.startswith(COOKIE))
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    kept = client.get_cookie(COOKIE).value
    page = client.get("/").get_data(as_text=True)
    client.post("/sign-out", data={"csrf_token": re.search(r'name="csrf_token" value="([^"]+)"', page)[1]})
    client.set_cookie(COOKIE, kept)
    assert client.get("/").status_code == 303


def test_wrong_passwords_are_slowed_down_and_tell_nothing(app):
    client = app.test_client()
    client.environ_base["REMOTE_ADDR"] = "192.0.2.7"  # the block of this address must not meet the other tests
    page = client.get("/sign-in").get_data(as_text=True)
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)[1]
    said = []
    for name in ("Otto", "Nobody", "Otto", "Otto", "Otto"):
        answer = client.post("/sign-in", data={"name": name, "password": "wrong-password", "csrf_token": token})
        assert answer.status_code == 422
        said.append(
            re.search(
                r'id="password-fault">([^<]*)<|<div class="fault" role="alert"><p>([^<]*)',
                answer.get_data(as_text=True),
            ).group(0)
        )
    assert said[0] == said[1]
    assert any("wait" in words for words in said[2:])


@pytest.mark.parametrize("back", ["//evil.example/", "https://evil.example/", "/\\evil.example"])
def test_signing_in_never_leads_to_another_site(app, shop, back):
    client = app.test_client()
    page = client.get(f"/sign-in?back={back}").get_data(as_text=True)
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)[1]
    shop.act(lambda session, _by: session.execute(text("DELETE FROM throttle")))
    answer = client.post(
        f"/sign-in?back={back}", data={"name": "Olga", "password": "ridge-and-valley", "csrf_token": token}
    )
    assert answer.headers["Location"] == "/"


def test_a_request_that_is_too_large_is_turned_away(app, shop):
    client, large = _client(app, shop, "Olga"), {"shop_name": "x" * 2_000_000}
    told = {path: client.post(path, data=large).status_code
            for endpoint, path in _addresses(app, "POST") if endpoint not in UPLOADS}  # fmt: skip
    assert set(told.values()) == {413}, told


def test_a_folder_that_takes_no_writes_can_be_looked_at_by_whoever_signs_in_then(app, shop, monkeypatch):
    client, written, right = app.test_client(), [], {"name": "Olga", "password": "ridge-and-valley"}
    monkeypatch.setitem(app.config, "WTF_CSRF_ENABLED", False)
    monkeypatch.setitem(app.extensions, "lookers", Lookers(Common()))
    monkeypatch.setattr(type(shop.shop.database), "writing", written.append)
    monkeypatch.setattr(Condition, "words", READ_ONLY)
    wrong = client.post("/sign-in", data={"name": "Olga", "password": "something else"})
    assert (wrong.status_code, b"do not belong together" in wrong.data) == (422, True)
    client.post("/sign-in", data=right)
    kept = client.get_cookie(COOKIE).value
    assert (client.get("/orders").status_code, client.post("/sign-out").status_code) == (200, 303)
    client.set_cookie(COOKIE, kept)
    assert client.get("/orders").status_code == 303
    client.post("/sign-in", data=right)
    assert client.get("/orders").status_code == 200
    tries = [client.post("/sign-in", data={"name": "Otto", "password": f"guess {turn}"}) for turn in range(3)]
    assert b"Too many tries; wait" in tries[-1].data
    monkeypatch.setattr(Condition, "words", "")
    assert client.get("/orders").status_code == 303  # what was written nowhere ends when writing can go on
    assert written == []


def test_the_first_owner_types_the_password_twice_and_alike(tmp_path):
    empty = open_shop(Settings(data=tmp_path / "data"))
    app = create_app(empty, ring=lambda _: None)
    app.config["WTF_CSRF_ENABLED"] = False
    client, form = app.test_client(), {"name": "Olga", "password": "ridge-and-valley"}
    other = client.post("/found", data={**form, "again": "ridge-and-vally"})
    assert (other.status_code, "The two are not the same" in other.get_data(as_text=True)) == (422, True)
    assert client.post("/found", data={**form, "again": form["password"]}).status_code == 303
    empty.database.close()
