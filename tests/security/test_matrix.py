"""The security matrix: every row answered, and what no other test shows."""

import re

import pytest

from logbook.actions import people
from logbook.refusals import Refused
from logbook.web.app import create_app
from security.matrix import fault, requirements
from support.small_shop import small_shop

LEAST_COMMON = 3000
"""How many of the commonest passwords that fit the rules are to be refused (OWASP ASVS 5.0, 6.2.4; from memory)."""


def test_every_row_has_a_verdict_that_something_shows_and_none_of_level_one_is_open():
    faults = [words for row in requirements() if (words := fault(row))]
    assert faults == []


def test_no_row_stands_there_twice_and_every_level_is_known():
    numbers = [row.number for row in requirements()]
    assert len(set(numbers)) == len(numbers)
    assert {row.level for row in requirements()} <= {"1", "2"}


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    made = small_shop(tmp_path_factory.mktemp("matrix") / "data")
    yield made
    made.shop.database.close()


@pytest.fixture(scope="module")
def app(shop):
    return create_app(shop.shop, ring=lambda _: None)


def _signed_in(app, shop, name="Olga"):
    from datetime import UTC, datetime

    from logbook.web.gate import COOKIE

    client, shop.now = app.test_client(), datetime.now(UTC)
    token = shop.act(
        lambda session, by: people.start_sign_in(session, by, person=people.person_named(session, name), keys=[])
    )
    client.set_cookie(COOKIE, token)
    return client, token


def _plain_pages(app):
    return [rule.rule for rule in app.url_map.iter_rules() if "GET" in rule.methods and "<" not in rule.rule]


def test_every_page_says_its_kind_and_character_set(app, shop):
    client, _ = _signed_in(app, shop)
    for path in _plain_pages(app):
        answer = client.get(path)
        if answer.status_code == 200 and answer.mimetype.startswith("text/"):
            assert "charset=utf-8" in answer.headers["Content-Type"].lower(), path
        assert answer.headers.get("X-Content-Type-Options") == "nosniff", path


def test_pages_are_kept_by_no_browser(app, shop):
    # drawings, styles and the safety cards are the same for everybody
    client, _ = _signed_in(app, shop)
    kept = [path for path in _plain_pages(app) if "no-store" not in client.get(path).headers.get("Cache-Control", "")]
    assert [path for path in kept if not path.startswith(("/static", "/favicon", "/safety.pdf"))] == []


def test_the_commonest_passwords_are_refused():
    common = people.common_passwords()
    assert len(common) >= LEAST_COMMON
    for word in ("password", "12345678", "qwertyuiop", "Password", "trustno1"):
        with pytest.raises(Refused, match="first that anybody would try"):
            people.hash_password(word)


@pytest.mark.parametrize("password", ["  eight ones  ", "ridges 𝄞 und Füße", "a" * 64, "';--<script>\\"])
def test_a_password_of_any_characters_is_taken_as_it_was_typed(password):
    kept = people.hash_password(password)
    assert people.matches(kept, password)
    for other in (password.strip() + "x", password.upper() + "x", password[:-1]):
        assert not people.matches(kept, other)


def test_password_fields_hide_and_let_a_manager_fill_them(app, shop):
    client, _ = _signed_in(app, shop)
    pages = [app.test_client().get("/sign-in").get_data(as_text=True), client.get("/shop").get_data(as_text=True)]
    fields = [tag for page in pages for tag in re.findall(r"<input[^>]*name=\"(?:password|current)\"[^>]*>", page)]
    assert len(fields) >= 3
    for tag in fields:
        assert 'type="password"' in tag
        assert 'autocomplete="off"' not in tag
        assert "onpaste" not in tag


def test_every_sign_in_has_a_token_of_its_own(app, shop):
    tokens = {_signed_in(app, shop)[1] for _ in range(5)}
    assert len(tokens) == 5
    assert min(map(len, tokens)) >= 22, "128 bits in base 64 are 22 characters"
