"""Pages of a shop on a server: a form that has to wait, one that finds nobody there, and what is checked."""

import psycopg
import pytest

from logbook.records.audit import head
from logbook.records.dialects import postgresql
from logbook.web import condition

pytestmark = pytest.mark.parametrize("kind_of_database", ["server"], indirect=True)
FACTS = {"request_id": "once", "eyewash": "beside the sink"}


def _entries(office):
    return office.read(head).seq


def _kept(answer, words):
    page = answer.get_data(as_text=True)
    assert answer.status_code == 503
    assert words in page
    assert 'value="beside the sink"' in page


def test_while_somebody_else_writes_the_form_waits_then_says_so_and_is_kept(office, desk, monkeypatch):
    monkeypatch.setattr(postgresql, "_SESSION", ("SET lock_timeout = 50",))
    office.shop.database.engine.dispose()
    before = _entries(office)
    with psycopg.connect(office.shop.settings.database) as somebody:
        somebody.execute(f"SELECT pg_advisory_xact_lock({postgresql.LOCK})")
        _kept(desk.post("/shop/facts", data=FACTS), condition.BUSY)
        assert desk.get("/orders").status_code == 200, "who reads waits for nobody"
    assert [desk.post("/shop/facts", data=FACTS).status_code for _ in range(2)] == [303, 303]
    assert _entries(office) == before + 1


def test_a_character_with_the_number_0_is_refused_in_words(office, desk):
    before = _entries(office)
    answer = desk.post("/shop/facts", data={"request_id": "nul", "eyewash": "beside\0the sink"})
    assert "no keyboard writes" in answer.get_data(as_text=True)
    found = [desk.get(path).status_code for path in ("/found?words=a%00b", "/order/%00", "/orders?show=%00")]
    assert (found, _entries(office)) == ([404] * 3, before)


def test_a_server_that_goes_is_said_and_found_again(office, desk, harbour):
    name = office.shop.settings.database.rpartition("/")[2]
    before = _entries(office)
    harbour.server.tell(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
    harbour.server.tell(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'")
    for answer in (desk.get("/orders"), desk.post("/shop/facts", data=FACTS)):
        assert answer.status_code == 503
        assert condition.GONE in answer.get_data(as_text=True)
    harbour.server.tell(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")
    assert desk.post("/shop/facts", data=FACTS).status_code == 303
    assert _entries(office) == before + 1


def test_the_status_page_says_what_is_checked_and_the_check_passes(office, desk):
    page = desk.get("/shop/status").get_data(as_text=True)
    assert "PostgreSQL" in page
    assert office.shop.settings.database not in page
    desk.application.extensions["condition"].check()
    assert desk.application.extensions["condition"].damage == ""
