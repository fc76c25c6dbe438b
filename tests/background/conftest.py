"""A small shop with a run that waits for a worker."""

from datetime import UTC, datetime

import pytest

from logbook.actions import runs
from support.small_shop import job, small_shop


@pytest.fixture
def shop(tmp_path):
    made = small_shop(tmp_path / "data")
    yield made
    made.shop.database.close()


@pytest.fixture
def waiting(shop):
    """A run that waits for a worker; the shop's clock is the real one from here on."""
    code = shop.order(customer="")
    shop.choose_pitch(code)
    shop.now = datetime.now(UTC)
    return shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, code)).id)
