"""A form that comes after its sign-in ran out: held, shown again filled in, sent by whoever signed in."""

import re
from datetime import UTC, datetime, timedelta
from html import unescape
from io import BytesIO

import pytest
from sqlalchemy import select

from logbook.actions import people
from logbook.manner import Manner
from logbook.records.audit import AuditEntry
from logbook.records.orders import Job, Order
from logbook.records.people import SignIn
from logbook.web.app import create_app
from logbook.web.gate import COOKIE
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import prints

GULL = PHOTOGRAPHS[0].read_bytes()
PASSWORD = "ridge-and-valley"


class Browser:
    """Somebody's browser at the shop's pages, with the tokens that forms carry."""

    def __init__(self, shop):
        self.shop = shop
        self.app = create_app(shop.shop, ring=lambda _: None)
        self.client = self.app.test_client()

    def sign_in(self, name="Olga", at="/sign-in"):
        page = self.client.get(at).get_data(as_text=True)
        return self.client.post(at, data={"name": name, "password": PASSWORD, "csrf_token": token(page)})

    def later(self, **passed):
        """Let the sign-in's clock run."""
        self.shop.act(lambda session, _by: self._put_back(session, timedelta(**passed)))

    def _put_back(self, session, passed):
        for row in session.execute(select(SignIn)).scalars():
            row.seen_at, row.started_at = row.seen_at - passed, row.started_at - passed

    def post(self, path, form):
        return self.client.post(path, data=form, content_type="multipart/form-data")

    def count(self, table):
        return self.shop.read(lambda session: len(session.execute(select(table.id)).all()))


def token(page):
    return re.search(r'name="csrf_token" value="([^"]+)"', page)[1]


def value(page, name):
    return unescape(re.search(rf'<input[^>]*name="{name}"[^>]*value="([^"]*)"', page)[1])


@pytest.fixture
def office(office_today):
    """A copy is quicker than a new shop."""
    return office_today


@pytest.fixture
def browser(office):
    made = Browser(office)
    made.sign_in()
    return made


@pytest.fixture
def order(browser):
    """An order as it was typed, before the sign-in ended."""
    page = browser.client.get("/orders/new").get_data(as_text=True)
    typed = {"csrf_token": token(page), "request_id": "typed-once", "customer": "Café Sextant", "width": "70mm",
             "height": "80mm", "flip": "up-down", "quantity": "3", "use": "wall", "fit": "crop"}  # fmt: skip
    for name in ("lens_lot", "mode"):
        typed[name] = re.search(rf'name="{name}".*?<option[^>]*value="([A-Z0-9]{{8}})"', page, re.DOTALL)[1]
    return typed


def test_a_form_that_came_too_late_is_shown_again_as_typed_and_sent_once(browser, order):
    before = browser.count(Order)
    browser.later(minutes=31)
    answer = browser.post("/orders/new", {**order, "pictures": (BytesIO(GULL), "gull.jpg")})
    assert (answer.status_code, browser.count(Order)) == (303, before)
    there = answer.headers["Location"]
    assert "What you typed is kept" in browser.client.get(there).get_data(as_text=True)
    back = browser.sign_in(at=there).headers["Location"]
    for _ in range(2):  # loading it once more changes nothing
        page = browser.client.get(back)
        words = page.get_data(as_text=True)
        assert (page.status_code, browser.count(Order)) == (200, before)
    assert "You are signed in again." in words
    assert (value(words, "customer"), value(words, "quantity")) == ("Café Sextant", "3")
    assert value(words, "request_id") == "typed-once"
    assert value(words, "held").endswith(" gull.jpg")
    sent = {**order, "csrf_token": token(words), "held": value(words, "held")}
    assert [browser.post("/orders/new", sent).status_code for _ in range(2)] == [303, 303]
    assert browser.count(Order) == before + 1
    assert [one.original_name for one in browser.shop.read(_newest_job).pictures] == ["gull.jpg"]


def _newest_job(session):
    found = session.execute(select(Job).order_by(Job.id.desc())).scalars().first()
    assert found.pictures is not None
    return found


def _kept(browser, path, form, **passed):
    """Where a form leads that came too late."""
    browser.later(**(passed or {"minutes": 31}))
    return browser.post(path, form).headers["Location"]


def test_somebody_else_is_told_whose_it_was_and_sends_it_in_the_own_name(browser, order):
    there = _kept(browser, "/orders/new", order)
    words = browser.client.get(browser.sign_in("Otto", at=there).headers["Location"]).get_data(as_text=True)
    assert "Olga typed this before the sign-in ended, and you are Otto." in words
    browser.post("/orders/new", {**order, "csrf_token": token(words)})
    newest = browser.shop.read(lambda session: session.execute(
        select(AuditEntry.actor_name).order_by(AuditEntry.id.desc())).scalars().first())  # fmt: skip
    assert newest == "Otto"


def test_whoever_may_not_send_it_is_told_so(browser, order):
    browser.shop.act(lambda session, by: people.add_person(session, by, name="Vera", password=PASSWORD, role="viewer"))
    there = _kept(browser, "/orders/new", order)
    answer = browser.client.get(browser.sign_in("Vera", at=there).headers["Location"])
    assert (answer.status_code, "another role" in answer.get_data(as_text=True)) == (403, True)


def test_pictures_for_a_job_wait_with_its_form(browser, office):
    code = office.order(customer="")
    page = browser.client.get(f"/job/{code}").get_data(as_text=True)
    form = {"csrf_token": token(page), "request_id": "more", "pictures": [(BytesIO(GULL), "gull, day.jpg")]}
    there = _kept(browser, f"/job/{code}/pictures", form)
    words = browser.client.get(browser.sign_in(at=there).headers["Location"]).get_data(as_text=True)
    held = value(words, "held")
    assert held.endswith(" gull, day.jpg")
    before = len(office.read(_newest_job).pictures)
    browser.post(f"/job/{code}/pictures", {"csrf_token": token(words), "request_id": "more", "held": held})
    names = [one.original_name for one in office.read(_newest_job).pictures]
    assert (len(names), names[-1]) == (before + 1, "gull, day.jpg")


def test_the_form_of_another_site_or_of_a_stranger_is_not_held(browser, order):
    browser.later(minutes=31)
    forged = browser.post("/orders/new", {**order, "csrf_token": "made-up"})
    assert forged.headers["Location"].endswith("back=/")
    browser.client.set_cookie(COOKIE, "0" * 43)
    assert browser.post("/orders/new", order).headers["Location"].endswith("back=/")
    assert list((browser.shop.shop.store.folder / "incoming").glob("*")) == []


def test_signed_out_is_not_run_out_and_a_week_is_too_long(browser, order):
    assert _kept(browser, "/orders/new", order, days=8).endswith("back=/")
    browser.sign_in()
    page = browser.client.get("/").get_data(as_text=True)
    browser.client.post("/sign-out", data={"csrf_token": token(page)})
    assert browser.post("/orders/new", order).headers["Location"].endswith("back=/")


def test_another_browser_does_not_get_it_and_no_password_is_held(browser, order):
    there = _kept(browser, "/orders/new", {**order, "password": "valley-and-ridge"})
    kept = [path.read_text(encoding="utf-8") for path in (browser.shop.shop.store.folder / "incoming").iterdir()]
    assert len(kept) == 1
    assert "valley-and-ridge" not in kept[0]
    other = Browser(browser.shop)
    back = other.sign_in(at=there).headers["Location"]
    assert other.client.get(back).status_code == 404
    assert browser.client.get("/again/" + "0" * 32).status_code == 303


def test_a_button_without_a_form_is_tapped_once_more(browser, office):
    code = office.order(customer="")
    page = browser.client.get(f"/job/{code}").get_data(as_text=True)
    there = _kept(browser, f"/job/{code}/proof", {"csrf_token": token(page), "request_id": "drawn"})
    words = browser.client.get(browser.sign_in(at=there).headers["Location"]).get_data(as_text=True)
    assert f'action="/job/{code}/proof"' in words
    assert "Draw the proof" in words


def test_no_address_that_takes_a_form_writes_anything_when_it_is_only_shown(browser, office):
    code = office.read(lambda session: session.execute(select(Job.code)).scalars().first())
    known = {"job": code, "sheet": office.read(lambda session: prints(session, code)[0].sheet.code)}
    page = browser.client.get("/orders/new").get_data(as_text=True)
    form = {"csrf_token": token(page), "request_id": "shown", "reason": "x", "name": "x"}
    browser.client.delete_cookie(COOKIE)
    browser.sign_in()
    entries, own = browser.count(AuditEntry), {"entry.sign_in", "entry.sign_out", "entry.found", "places.enrol"}
    for rule in browser.app.url_map.iter_rules():
        if "POST" not in rule.methods or rule.endpoint in own:
            continue
        kind = rule.rule.split("/")[1]
        path = re.sub(r"<[^>]+>", "print", rule.rule.replace("<code>", known.get(kind, "NOTHERE2")), count=1)
        answer = _shown(browser, path, form)
        assert answer.status_code < 500, path
        assert browser.count(AuditEntry) == entries, path


def _shown(browser, path, form):
    from logbook.web import keptforms

    with browser.app.test_request_context("/", headers={"Cookie": _cookies(browser)}):
        from flask import g, session

        from logbook.web.gate import Me

        g.me = Me(1, "", "Olga", "owner", Manner())
        kept = keptforms.KeptForm(path, [list(one) for one in form.items()], [], "Olga", "")
        assert session.get("csrf_token")
        return keptforms.show(kept)


def _cookies(browser):
    found = (browser.client.get_cookie(name) for name in (COOKIE, "bench-form"))
    return "; ".join(f"{one.key}={one.value}" for one in found)


def test_what_a_page_asks_by_itself_keeps_no_sign_in_alive(browser, office):
    browser.later(minutes=29)
    seen = lambda: office.read(lambda session: session.execute(select(SignIn.seen_at)).scalars().first())  # noqa: E731
    before = seen()
    browser.client.get("/run/NOTHERE2.json")
    assert seen() == before
    browser.client.get("/")
    assert seen() > before
    assert datetime.now(UTC) - seen() < timedelta(minutes=5)


def test_a_page_is_come_back_to_with_its_question(browser):
    browser.later(minutes=31)
    assert browser.client.get("/trace?q=gull").headers["Location"].endswith("back=/trace?q%3Dgull")
