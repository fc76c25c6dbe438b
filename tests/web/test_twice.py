"""A form that was sent twice: one record, and the second one leads where the first one did."""

import pytest
from sqlalchemy import func, select

from logbook.actions import people
from logbook.records.audit import AuditEntry
from logbook.records.floor import Sheet
from logbook.web.app import create_app
from logbook.web.gate import COOKIE
from support.small_shop import prints, small_shop


@pytest.fixture
def shop(tmp_path):
    made = small_shop(tmp_path / "data")
    yield made
    made.shop.database.close()


@pytest.fixture
def client(shop, monkeypatch):
    app = create_app(shop.shop, ring=lambda _: None)
    app.config["WTF_CSRF_ENABLED"] = False
    monkeypatch.setattr(people, "signed_in", _signed_in_whenever(people.signed_in, shop))
    token = shop.act(
        lambda session, by: people.start_sign_in(session, by, person=people.person_named(session, "Olga"), keys=[])
    )
    made = app.test_client()
    made.set_cookie(COOKIE, token)
    return made


def _signed_in_whenever(real, shop):
    """The shop's clock stands in spring; the browser's sign-in would be long over."""
    return lambda session, token, _now: real(session, token, shop.now)


def _entries(shop):
    return shop.read(lambda session: session.execute(select(func.count(AuditEntry.id))).scalar_one())


def _waiting_sheet(shop):
    code = shop.ready()
    return shop.read(lambda session: prints(session, code)[0].sheet.code)


def test_a_stage_that_is_signed_twice_is_signed_once_and_shows_its_sheet_again(shop, client):
    sheet = _waiting_sheet(shop)
    form = {"request_id": "one-click", "reason": ""}
    first = client.post(f"/sheet/{sheet}/sign/print", data=form)
    before = _entries(shop)
    second = client.post(f"/sheet/{sheet}/sign/print", data=form)
    assert (first.status_code, second.status_code) == (303, 303)
    assert first.headers["Location"] == second.headers["Location"]
    assert _entries(shop) == before
    assert shop.read(lambda session: session.execute(select(Sheet.stage)).scalar_one()) == "dry"


def test_another_form_about_what_was_done_already_is_told_so(shop, client):
    sheet = _waiting_sheet(shop)
    client.post(f"/sheet/{sheet}/sign/print", data={"request_id": "one", "reason": ""})
    answer = client.post(f"/sheet/{sheet}/sign/print", data={"request_id": "another", "reason": ""})
    assert answer.status_code == 409
    assert "already; it stands at" in answer.get_data(as_text=True)
