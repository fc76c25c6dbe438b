"""A small trail of six entries, made once and copied for every test."""

from datetime import UTC, datetime, timedelta

import pytest

from logbook.records import audit
from logbook.records.audit import Act, Actor
from logbook.records.database import Database
from logbook.records.upgrade import upgrade
from support.both import copy_of

START = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def six_entries(tmp_path_factory):
    made = Database(tmp_path_factory.mktemp("trail") / "trail.sqlite")
    upgrade(made)
    for number in range(6):
        with made.writing() as session:
            # ids that no single bit turns into each other: the table refuses the same one twice
            by = Actor(1, "Olga", "owner", START + timedelta(minutes=number), f"form-{number}-{number}")
            audit.record(session, by, Act("tried", [f"job:{number}", "order:1"], new={"number": number}))
    made.close()
    return made.path


@pytest.fixture
def database(six_entries, tmp_path):
    made = copy_of(six_entries, tmp_path)
    yield made
    made.close()
