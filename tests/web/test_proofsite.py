"""What a customer meets through a link: one proof, one answer, and nothing else of the shop."""

import logging
import re
from datetime import timedelta
from io import BytesIO

import pytest
from PIL import Image
from sqlalchemy import event, select
from sqlalchemy.exc import OperationalError

from logbook.actions import prooflinks
from logbook.actions.travellernumbers import PLAIN
from logbook.records.prooflinks import ProofLink
from logbook.web import proofsite
from logbook.web.headers import HEADERS
from logbook.web.slowdown import MOST_ADDRESSES, Slowdown
from support.prooflinks import customer, enlarge, link_to, prove, turn_on
from support.small_shop import CUSTOMER, job, small_shop

NAME, WORDS = "Imke Brodersen", "a little more blue, please"
SAID = {"verdict": "approved", "given_by": NAME, "words": ""}
INTERNALS = ("Olga", "Otto", "Printer", "L-1", "film", "20.07", CUSTOMER, "china", "bench-", "/job/", "/shop")


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    made = small_shop(tmp_path_factory.mktemp("proofs") / "data")
    turn_on(made)
    made.code = made.order(quantity=3)
    prove(made, made.code)
    yield made
    made.shop.database.close()


@pytest.fixture
def link(shop):
    """A new link to the newest proof; another test may have changed the job."""
    if shop.read(lambda session: prooflinks.is_overtaken(job(session, shop.code).proofs[-1])):
        prove(shop, shop.code)
    return link_to(shop, shop.code)


def _come_in(shop, link, **more):
    """A customer past the first address, and the address that stays in the browser."""
    client = customer(shop, **more)
    answer = client.get(link)
    assert answer.status_code == 303
    return client, answer.headers["Location"]


def _token(page):
    return re.search(r'name="form_token" value="([^"]+)"', page)[1]


def _send(client, path, **said):
    token = _token(client.get(path).get_data(as_text=True))
    return client.post(path, data={"form_token": token, **SAID, **said})


def _answers(shop):
    return shop.read(lambda session: len(job(session, shop.code).proofs[-1].answers))


def _told(found):
    return f"{PLAIN.length(found.width)} × {PLAIN.length(found.height)}", found.number


def _newest(session):
    return session.execute(select(ProofLink).order_by(ProofLink.id.desc())).scalars().first()


def test_it_knows_only_the_addresses_of_proofs(shop):
    app = customer(shop).application
    assert {rule.rule for rule in app.url_map.iter_rules()} == {
        "/p/<token>", "/proof/<code>", "/proof/<code>/strip.jpg", "/proof/<code>/view-<int:number>.jpg",
        "/look/<name>", "/favicon.ico",
    }  # fmt: skip
    client = customer(shop)
    for path in ("/", "/sign-in", "/orders", f"/job/{shop.code}", "/shop", "/static/style.css", "/look/bench.js",
                 "/look/..%2f..%2fapp.py", "/look/../app.py"):  # fmt: skip
        assert client.get(path).status_code == 404, path


def test_the_first_address_leaves_a_cookie_for_this_proof_and_goes(shop, link):
    client = customer(shop)
    answer = client.get(link)
    token, target = link.removeprefix("/p/"), answer.headers["Location"]
    assert answer.status_code == 303
    assert re.fullmatch(r"/proof/[2-9A-Z]{8}", target)
    cookies = answer.headers.getlist("Set-Cookie")
    assert len(cookies) == 1
    parts = dict(part.strip().partition("=")[::2] for part in cookies[0].split(";"))
    assert {"Secure", "HttpOnly"} <= set(parts)
    assert (parts["SameSite"], parts["Path"], parts["Max-Age"]) == ("Lax", target, "1800")
    everything = f"{answer.headers}{answer.get_data(as_text=True)}{client.get(target).get_data(as_text=True)}"
    assert token not in everything
    assert client.get(target).status_code == 200


def test_the_page_says_what_is_agreed_to_and_nothing_of_the_shop_inside(shop, link):
    client, path = _come_in(shop, link)
    page = client.get(path).get_data(as_text=True)
    size, number = shop.read(lambda session: _told(job(session, shop.code)))
    for words in (size, "<dd>3</dd>", "left and right", number):
        assert words in page
    assert [word for word in INTERNALS if word in page] == []


def test_its_pictures_carry_pixels_and_nothing_else(shop, link):
    client, path = _come_in(shop, link)
    strip, first, last = (client.get(f"{path}/{name}.jpg") for name in ("strip", "view-1", "view-2"))
    sizes = []
    for answer in (strip, first, last):
        with Image.open(BytesIO(answer.data), formats=("JPEG",)) as image:
            sizes.append(image.size)
            assert not image.getexif()
            assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    wide, high = sizes[1]
    assert sizes == [(wide, 2 * high), (wide, high), (wide, high)]
    assert first.data != last.data
    assert [client.get(f"{path}/view-{number}.jpg").status_code for number in (0, 3, 99)] == [404] * 3


def test_an_answer_is_taken_once_by_post_and_then_shown(shop, link):
    client, path = _come_in(shop, link)
    before = _answers(shop)
    assert client.get(f"{path}?verdict=approved&given_by=x").status_code == 200
    assert _answers(shop) == before, "a GET decides nothing"
    answer = _send(client, path, verdict="change", words=f"<b>{WORDS}</b>")
    assert (answer.status_code, answer.headers["Location"]) == (303, path)
    page = client.get(path).get_data(as_text=True)
    assert "A change was asked for" in page
    assert NAME in page
    assert f"&lt;b&gt;{WORDS}&lt;/b&gt;" in page
    assert "<form" not in page
    again = client.post(path, data={"form_token": "x", **SAID})
    assert again.status_code == 400
    assert _answers(shop) == before + 1


def test_a_second_tap_and_a_second_page_find_the_first_answer(shop, link):
    client, path = _come_in(shop, link)
    token, before = _token(client.get(path).get_data(as_text=True)), _answers(shop)
    for verdict in ("approved", "change"):
        answer = client.post(path, data={"form_token": token, **SAID, "verdict": verdict, "words": WORDS})
        assert answer.status_code == 303
    assert _answers(shop) == before + 1
    assert "<b>Approved</b>" in client.get(path).get_data(as_text=True)


@pytest.mark.parametrize("token", ["", "x", "0" * 64, None])
def test_an_answer_that_does_not_come_from_the_page_is_not_taken(shop, link, token):
    client, path = _come_in(shop, link)
    before = _answers(shop)
    answer = client.post(path, data={**({} if token is None else {"form_token": token}), **SAID})
    assert answer.status_code == 400
    assert _answers(shop) == before


def test_the_form_of_one_visit_serves_no_other(shop, link):
    first, path = _come_in(shop, link)
    other = first.application.test_client()
    same = other.get(link).headers["Location"]
    assert same == path
    token = _token(first.get(path).get_data(as_text=True))
    assert other.post(same, data={"form_token": token, **SAID}).status_code == 400


def test_the_cookie_of_one_proof_opens_no_other(shop, link):
    client, path = _come_in(shop, link)
    other_link = link_to(shop, shop.code)
    other = client.application.test_client().get(other_link).headers["Location"]
    assert other != path
    value = client.get_cookie(proofsite.COOKIE, path=path).value
    client.set_cookie(proofsite.COOKIE, value, path=other)
    assert client.get(other).status_code == 404
    assert client.get(f"{other}/strip.jpg").status_code == 404
    assert client.post(other, data=SAID).status_code == 404


@pytest.mark.parametrize(
    ("said", "words"),
    [({"given_by": ""}, "Write your name"), ({"verdict": "change"}, "what is to be changed"),
     ({"verdict": ""}, "Choose one of the two")],
)  # fmt: skip
def test_a_bad_answer_comes_back_with_what_was_typed(shop, link, said, words):
    client, path = _come_in(shop, link)
    before = _answers(shop)
    answer = _send(client, path, **{"words": " ", **said})
    assert answer.status_code == 422
    assert words in answer.get_data(as_text=True)
    if "given_by" not in said:
        assert f'value="{NAME}"' in answer.get_data(as_text=True)
    assert _answers(shop) == before


def test_a_newer_proof_overtakes_and_takes_no_answer(shop, link):
    client, path = _come_in(shop, link)
    token = _token(client.get(path).get_data(as_text=True))
    size, _ = shop.read(lambda session: _told(job(session, shop.code)))
    enlarge(shop, shop.code)
    page = client.get(path).get_data(as_text=True)
    assert "Overtaken" in page
    assert "<form" not in page
    assert size in page, "what was shown then is still what is shown"
    before = _answers(shop)
    assert client.post(path, data={"form_token": token, **SAID}).status_code == 303
    assert _answers(shop) == before
    prove(shop, shop.code)
    assert client.post(path, data={"form_token": token, **SAID}).status_code == 303
    assert _answers(shop) == 0


def _gone(client, path):
    answer = client.get(path)
    plain = {name: value for name, value in answer.headers if name != "Date"}
    return answer.status_code, plain, answer.get_data()


def test_unknown_ended_withdrawn_and_turned_off_are_one_and_the_same(shop, link):
    never = _gone(customer(shop), f"/p/{'A' * 43}")
    assert never[0] == 404
    assert "Set-Cookie" not in never[1]
    client, path = _come_in(shop, link)
    assert _gone(customer(shop), path) == never, "no visit"
    before = shop.now
    shop.now += timedelta(days=14, minutes=1)
    assert [_gone(client, link), _gone(client, path), _gone(client, f"{path}/strip.jpg")] == [never] * 3, "ended"
    shop.now = before
    turn_on(shop, "")
    assert [_gone(client, link), _gone(client, path)] == [never] * 2, "turned off"
    turn_on(shop)
    assert client.get(path).status_code == 200
    shop.act(lambda session, by: prooflinks.revoke(session, by, link=_newest(session)))
    assert [_gone(client, link), _gone(client, path)] == [never] * 2, "withdrawn"
    assert client.post(path, data=SAID).status_code == 404


def test_a_visit_lasts_half_an_hour_and_the_link_opens_another(shop, link):
    client, path = _come_in(shop, link)
    before = shop.now
    shop.now = before + timedelta(minutes=29)
    assert client.get(path).status_code == 200
    shop.now = before + timedelta(minutes=31)
    assert client.get(path).status_code == 404
    assert client.get(link).status_code == 303
    assert client.get(path).status_code == 200
    shop.now = before
    assert client.get(path).status_code == 404, "a visit that begins in the future"


def test_a_cookie_that_somebody_made_up_opens_nothing(shop, link):
    client, path = _come_in(shop, link)
    good = client.get_cookie(proofsite.COOKIE, path=path).value
    began, mac = good.split(".")
    longer = f"{int(began.partition('-')[0]) + 1}-{began.partition('-')[2]}.{mac}"
    for bad in ("", path.removeprefix("/proof/"), good[:-2] + "xx", good[:-1], longer, f".{mac}", "é" * 9):
        client.set_cookie(proofsite.COOKIE, bad, path=path)
        assert client.get(path).status_code == 404, bad


def test_every_answer_carries_the_headers_of_the_shops_pages(shop, link):
    client, path = _come_in(shop, link)
    slow = customer(shop, seconds=lambda: 0)
    asked = [client.get(one) for one in (link, path, f"{path}/strip.jpg", "/look/style.css", "/nothing", "/p/x")]
    asked += [client.post(path, data={}), client.post(path, data={"words": "x" * 70_000}), client.put(path)]
    asked += [slow.get("/nothing") for _ in range(9)][-1:]
    assert [answer.status_code for answer in asked] == [303, 200, 200, 200, 404, 404, 400, 413, 404, 429]
    for answer in asked:
        missing = [name for name, value in HEADERS.items() if answer.headers.get(name) != value]
        assert missing == [], answer.request.path
        answer.close()
    assert client.get(path).headers["Cache-Control"] == "no-store"


def test_nothing_that_is_logged_holds_the_token(shop, link, caplog, monkeypatch):
    caplog.set_level(logging.DEBUG)
    monkeypatch.setattr(prooflinks, "of_token", lambda *_: 1 / 0)
    assert customer(shop).get(link).status_code == 500
    assert "a fault of the program at arrive" in caplog.text
    monkeypatch.undo()
    _come_in(shop, link)
    assert link.removeprefix("/p/") not in caplog.text


def test_an_answer_that_cannot_be_written_is_kept_on_the_page(shop, link):
    client, path = _come_in(shop, link)
    token, before = _token(client.get(path).get_data(as_text=True)), _answers(shop)

    def locked(_connection, _cursor, statement, *_):
        if statement.startswith("INSERT INTO answer"):
            raise OperationalError(statement, {}, Exception("database is locked"))

    event.listen(shop.shop.database.engine, "before_cursor_execute", locked)
    try:
        answer = client.post(path, data={"form_token": token, **SAID, "words": WORDS})
    finally:
        event.remove(shop.shop.database.engine, "before_cursor_execute", locked)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 503
    assert "send it again in a moment" in page
    assert WORDS in page
    assert _answers(shop) == before


def test_whoever_tries_addresses_is_slowed_down_and_others_are_not(shop, link):
    now = [0.0]
    client = customer(shop, seconds=lambda: now[0])
    said = [client.get(f"/p/{number}").status_code for number in range(8)]
    assert said == [404] * 6 + [429] * 2
    refused = client.get(link)
    assert (refused.status_code, refused.headers["Retry-After"]) == (429, "1")
    assert client.get(link, environ_base={"REMOTE_ADDR": "192.0.2.7"}).status_code == 303
    now[0] += 10
    assert client.get(link).status_code == 303


def test_somebody_who_looks_at_a_proof_is_never_slowed_down(shop, link):
    client, path = _come_in(shop, link, seconds=lambda: 0)
    assert {client.get(path).status_code for _ in range(50)} == {200}


def test_a_purse_forgets_addresses_rather_than_grow():
    slowdown = Slowdown(lambda: 0)
    for number in range(MOST_ADDRESSES + 10):
        slowdown.take(str(number), 1)
    assert len(slowdown._purses) == MOST_ADDRESSES
