"""A small shop behind its pages, somebody signed in."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from logbook.actions import people
from logbook.web.app import create_app
from logbook.web.gate import COOKIE
from support.both import opened_copy
from support.small_shop import SmallShop, new_shop, prints, small_shop


@pytest.fixture
def office(tmp_path: Path) -> Iterator[SmallShop]:
    """An equipped shop of this test's own."""
    made = small_shop(tmp_path / "data")
    yield made
    made.shop.database.close()


@pytest.fixture(scope="session")
def shop_of_today(tmp_path_factory: pytest.TempPathFactory) -> tuple[SmallShop, str]:
    """A shop whose clock stands three hours back, for what is judged by the real one; a sheet of it at the printer."""
    made = new_shop(tmp_path_factory.mktemp("today") / "data", now=datetime.now(UTC) - timedelta(hours=3))
    job = made.ready()
    code = made.read(lambda session: prints(session, job)[0].sheet.code)
    made.shop.database.close()
    return made, code


@pytest.fixture
def office_today(tmp_path: Path, shop_of_today: tuple[SmallShop, str]) -> Iterator[SmallShop]:
    """This test's own copy of it."""
    folder = tmp_path / "data"
    made = SmallShop(opened_copy(shop_of_today[0].shop.settings.data, folder), shop_of_today[0].now)
    yield made
    made.shop.database.close()


@pytest.fixture
def desk(office: SmallShop) -> FlaskClient:
    """The owner at a desk: pages and forms, without the token that a browser would send."""
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
