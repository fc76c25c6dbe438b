"""A shop that cannot be written to says so, keeps what was typed, shows what it can, and is never a server error."""

import errno
import re
import sqlite3
from io import BytesIO

import pytest
from markupsafe import escape
from PIL import Image
from sqlalchemy import event, func, select

from logbook.records.audit import AuditEntry
from logbook.records.dialects import sqlite
from logbook.records.files import FileStore
from logbook.web import condition
from logbook.web.common import Common

NO_PAGES = ("static", "entry.icon", "entry.found")
FACTS = {"request_id": "v1", "eyewash": "beside the sink"}


def _pages(desk):
    """Every address without a name in it that shows a page."""
    for rule in desk.application.url_map.iter_rules():
        if "GET" in rule.methods and not rule.arguments and rule.endpoint not in NO_PAGES:
            yield rule.rule


def _entries(office):
    return office.read(lambda session: session.execute(select(func.count()).select_from(AuditEntry)).scalar_one())


@pytest.fixture
def read_only(office, desk):
    """SQLite refuses every write as it does in a folder without permission; root would not be stopped by one."""
    def refuse(connection, _):
        connection.execute("PRAGMA query_only = ON").close()

    engine = office.shop.database.engine
    engine.dispose()
    event.listen(engine, "connect", refuse)
    yield desk
    event.remove(engine, "connect", refuse)
    engine.dispose()


def test_a_folder_without_writes_is_looked_at_as_ever(read_only):
    for path in _pages(read_only):
        assert read_only.get(path).status_code in (200, 303), path


def test_a_form_that_cannot_be_written_comes_back_with_what_was_typed(read_only, office):
    before = _entries(office)
    answer = read_only.post("/shop/facts", data=FACTS)
    assert answer.status_code == 503
    page = answer.get_data(as_text=True)
    assert condition.NO_WRITES in page
    assert 'value="beside the sink"' in page
    assert _entries(office) == before


def test_signing_in_says_why_it_cannot(read_only):
    answer = read_only.post("/sign-in", data={"name": "Olga", "password": "ridge-and-valley"})
    assert answer.status_code == 503
    assert "full or read-only" in answer.get_data(as_text=True)


def test_every_page_says_that_the_folder_is_read_only(desk, monkeypatch):
    assert "View only" not in desk.get("/").get_data(as_text=True)
    monkeypatch.setattr(condition.os, "access", lambda *_: False)
    assert condition.READ_ONLY in desk.get("/").get_data(as_text=True)


def test_while_somebody_else_writes_the_form_waits_then_says_so_and_is_written_once_when_sent_again(
    office, desk, monkeypatch
):
    monkeypatch.setattr(sqlite, "BUSY_TIMEOUT_MS", 50)
    office.shop.database.engine.dispose()
    before = _entries(office)
    holder = sqlite3.connect(office.shop.settings.database_path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    try:
        answer = desk.post("/shop/facts", data=FACTS)
        assert answer.status_code == 503
        assert condition.BUSY in answer.get_data(as_text=True)
        assert 'value="beside the sink"' in answer.get_data(as_text=True)
    finally:
        holder.execute("ROLLBACK")
        holder.close()
    for _ in range(2):
        assert desk.post("/shop/facts", data=FACTS).status_code == 303
    assert _entries(office) == before + 1


def _overwrite(office, table):
    """Bytes of another world where a table's pages lie."""
    path = office.shop.settings.database_path
    with sqlite3.connect(path) as reader:
        size = reader.execute("PRAGMA page_size").fetchone()[0]
        root = reader.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()[0]
    reader.close()
    office.shop.database.engine.dispose()
    with path.open("r+b") as file:
        file.seek((root - 1) * size)
        file.write(b"\xa5" * size)


def test_damage_is_named_on_every_page_and_nothing_is_written_any_more(office, desk):
    _overwrite(office, "shop_fact")
    app = desk.application
    app.extensions["condition"].check()
    seen = set()
    for path in _pages(desk):
        answer = desk.get(path)
        seen.add(answer.status_code)
        assert answer.status_code in (200, 303, 503), path
        if answer.status_code != 303:
            assert "database file is damaged" in answer.get_data(as_text=True), path
    assert 200 in seen  # what does not touch the damage is still shown
    lot = {"request_id": "v2", "kind": "paper", "name": "another paper", "label": "P-9", "substance": ""}
    answer = desk.post("/stock/new", data=lot)
    assert answer.status_code == 503
    assert re.search(r'value="another paper"', answer.get_data(as_text=True))


def test_damage_that_a_page_meets_first_is_remembered(office, desk):
    _overwrite(office, "shop_fact")
    assert desk.get("/shop").status_code == 503
    assert "database file is damaged" in desk.get("/orders").get_data(as_text=True)


def test_a_sound_database_passes_the_look_through(desk):
    desk.application.extensions["condition"].check()
    assert desk.application.extensions["condition"].words == ""


def test_a_full_disk_refuses_a_picture_and_keeps_the_page(office, desk, monkeypatch):
    code, out = office.order(), BytesIO()
    Image.new("RGB", (900, 900)).save(out, "PNG")

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(type(office.shop.store), "receive", full)
    files = {"request_id": "v3", "pictures": (BytesIO(out.getvalue()), "one.png")}
    answer = desk.post(f"/job/{code}/pictures", data=files, content_type="multipart/form-data")
    assert answer.status_code == 503
    assert condition.NO_WRITES in answer.get_data(as_text=True)


def test_a_fault_of_the_program_is_no_matter_of_the_disk(desk):
    error = condition.DatabaseError("SELECT", {}, sqlite3.ProgrammingError("no such column: x"))
    assert desk.application.extensions["condition"].learn(error) == ""


@pytest.mark.parametrize("way", ["traveller", "proof"])
@pytest.mark.parametrize("trouble", ["read-only", "damaged", "no room for a file"])
def test_what_would_be_drawn_and_kept_is_refused_in_one_sentence_and_leaves_no_file(
    office, desk, monkeypatch, way, trouble
):
    code, before, broken = office.ready(), office.shop.store.hashes(), Common()
    monkeypatch.setitem(desk.application.extensions, "condition", condition.Condition(office.shop, broken))
    if trouble == "read-only":
        monkeypatch.setattr(condition.os, "access", lambda *_: False)
    elif trouble == "damaged":
        broken.note_damage()
    else:
        monkeypatch.setattr(FileStore, "put", _no_room)
    answer = desk.post(f"/job/{code}/{way}", data={"request_id": f"{way}-{trouble}"})
    said = {"read-only": condition.READ_ONLY, "damaged": condition.DAMAGED}.get(trouble, condition.NO_WRITES)
    assert answer.status_code == 503
    assert str(escape(said)) in answer.get_data(as_text=True)
    assert office.shop.store.hashes() == before


def _no_room(*_):
    raise OSError(errno.EROFS, "Read-only file system")
