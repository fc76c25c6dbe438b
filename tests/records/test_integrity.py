"""SQLite's own check beside people who write: nobody waits for it, and what is wrong is still found."""

import sqlite3

import pytest

from logbook.records.integrity import QUICK, WHOLE, IntegrityCheck

ROWS, PAGE = 60_000, 4096


@pytest.fixture
def path(tmp_path):
    """Some 15 MB with an index, in a file whose readers and writers exclude each other."""
    file = tmp_path / "shop.sqlite"
    with sqlite3.connect(file) as made:
        made.execute("PRAGMA journal_mode = DELETE")
        made.execute("CREATE TABLE kept (id INTEGER PRIMARY KEY, words TEXT)")
        made.execute("CREATE INDEX by_words ON kept (words)")
        made.executemany("INSERT INTO kept VALUES (?, ?)", ((one, f"{one * 7919 % ROWS:08} {'-' * 90}")
                                                            for one in range(ROWS)))  # fmt: skip
    made.close()
    return file


@pytest.mark.parametrize("asked", [WHOLE, QUICK])
def test_who_writes_does_not_wait_for_it(path, asked):
    writer = sqlite3.connect(path, timeout=0, isolation_level=None)
    with IntegrityCheck(path, asked) as check:
        written = 0
        while not check._told.done() or not written:
            writer.execute("BEGIN IMMEDIATE")
            writer.execute("UPDATE kept SET words = words || '' WHERE id = 1")
            writer.execute("COMMIT")  # refused at once as long as anybody holds a lock
            written += 1
        assert check.answer() == "ok"
    writer.close()


@pytest.mark.parametrize("asked", [WHOLE, QUICK])
def test_a_damaged_page_is_found(path, asked):
    with path.open("r+b") as file:
        file.seek(40 * PAGE)
        file.write(b"\xff" * PAGE)
    with IntegrityCheck(path, asked) as check:
        assert check.answer() != "ok"


def test_under_a_lock_the_quick_check_reads_one_table_after_the_other(path):
    with IntegrityCheck(path, QUICK) as check:
        check.answer()
        with sqlite3.connect(path) as beside:
            beside.execute("CREATE TABLE more (name TEXT)")
        told = check._by_table()
        assert next(told) == "ok"
        writer = sqlite3.connect(path, timeout=0, isolation_level=None)
        writer.execute("UPDATE kept SET words = words WHERE id = 1")  # nobody holds a lock between two of them
        writer.close()
        assert list(told) == ["ok"]


def test_what_is_no_database_is_no_answer(tmp_path):
    (tmp_path / "x").write_bytes(b"no database at all " * 500)
    with IntegrityCheck(tmp_path / "x") as check, pytest.raises(sqlite3.DatabaseError):
        check.answer()
