"""A small shop behind its pages, somebody signed in."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from logbook.actions import people
from logbook.web.app import create_app
from logbook.web.gate import COOKIE
from support.small_shop import SmallShop, small_shop


@pytest.fixture
def office(tmp_path: Path) -> Iterator[SmallShop]:
    """An equipped shop of this test's own."""
    made = small_shop(tmp_path / "data")
    yield made
    made.shop.database.close()


@pytest.fixture
def desk(office: SmallShop) -> FlaskClient:
    """The owner at a desk: pages and forms, without the token that a browser would send."""
    from datetime import UTC, datetime

    app = create_app(office.shop, ring=lambda _: None)
    app.config["WTF_CSRF_ENABLED"] = False
    client = app.test_client()
    before, office.now = office.now, datetime.now(UTC)
    token = office.act(
        lambda session, by: people.start_sign_in(session, by, person=people.person_named(session, "Olga"), keys=[])
    )
    office.now = before
    client.set_cookie(COOKIE, token)
    return client
