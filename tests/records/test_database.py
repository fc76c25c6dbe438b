"""Opening the database, working in it from several processes, and bringing it to this version."""

import re
import signal
import sqlite3
import subprocess
import sys
from datetime import datetime
from decimal import Decimal

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import event, text
from sqlalchemy.exc import IntegrityError

from logbook.lengths import parse_length
from logbook.records.base import CODE_ALPHABET, DecimalText, LengthText, UtcTime, new_code
from logbook.records.database import Database, once
from logbook.records.dialects.sqlite import wal_is_safe
from logbook.records.search import is_ours
from logbook.records.tables import Base
from logbook.records.upgrade import upgrade
from logbook.refusals import Refused
from support.race import race

RACE = """
import time
from logbook.records.database import Database
from sqlalchemy import text
def race(racer):
    database, wins = Database(sys.argv[1]), 0
    for step in range(int(sys.argv[2])):
        with database.writing() as session:
            taken = session.execute(text("SELECT owner FROM step WHERE id = :id"), {"id": step}).scalar_one()
            if taken is None:
                time.sleep(0.002)  # the others' turn, if they may
                session.execute(text("UPDATE step SET owner = :owner WHERE id = :id"), {"owner": racer, "id": step})
                wins += 1
    return wins
"""
OPENING = """
from pathlib import Path
import alembic.command
from logbook.records.opened import open_shop
from logbook.settings import Settings
def race(racer):
    open_shop(Settings(data=Path(sys.argv[1]))).database.close()
    return "opened"
"""
STOPPED = """
import os, signal, sys
from alembic import op
from logbook.records import upgrade
from logbook.records.database import Database
made, create = 0, op.create_table
def dying(*words, **more):
    global made
    made += 1
    if made > int(sys.argv[2]):
        os.kill(os.getpid(), signal.SIGKILL)
    return create(*words, **more)
op.create_table = dying
upgrade.upgrade(Database(sys.argv[1]))
"""


@pytest.mark.parametrize(
    ("version", "safe"),
    # SQLite release notes, 3.51.3, 3.50.7 and 3.44.6: the WAL-reset bug is fixed there (from memory)
    [((3, 40, 1), False), ((3, 44, 5), False), ((3, 44, 6), True), ((3, 45, 0), False), ((3, 50, 6), False),
     ((3, 50, 7), True),
     ((3, 51, 0), False), ((3, 51, 2), False), ((3, 51, 3), True), ((3, 53, 0), True)],
)  # fmt: skip
def test_the_write_ahead_log_is_used_only_where_its_bug_is_fixed(version, safe):
    assert wal_is_safe(version) is safe


def test_every_connection_is_prepared(tmp_path):
    database = Database(tmp_path / "one.sqlite")
    wal = wal_is_safe(sqlite3.sqlite_version_info)
    with database.reading() as first, database.reading() as second:
        for session in (first, second):
            asked = [
                session.execute(text(f"PRAGMA {name}")).scalar_one()
                for name in (
                    "foreign_keys",
                    "recursive_triggers",
                    "secure_delete",
                    "busy_timeout",
                    "journal_mode",
                    "synchronous",
                )
            ]
            assert asked == [1, 1, 1, 5000, "wal" if wal else "delete", 2 if wal else 3]
    database.close()


def test_what_is_erased_is_overwritten_even_where_sqlite_is_built_to_leave_it(tmp_path):
    """PRAGMA secure_delete is off unless a build was made with it (SQLite documentation, "Pragma statements")."""
    database = Database(tmp_path / "one.sqlite")

    def careless(connection, _record):
        connection.execute("PRAGMA secure_delete = OFF").close()

    event.listen(database.engine, "connect", careless, insert=True)  # before what prepares a connection
    with database.writing() as session:
        session.execute(text("CREATE TABLE kept (id INTEGER PRIMARY KEY, name TEXT)"))
        session.execute(text("INSERT INTO kept VALUES (1, :name)"), {"name": "Quillon & Daughters, " * 40})
    assert b"Quillon" in _bytes_beside(database)
    with database.writing() as session:
        session.execute(text("UPDATE kept SET name = NULL"))
    database.close()
    assert b"Quillon" not in _bytes_beside(database)


def _bytes_beside(database):
    """The database's file and whatever lies beside it."""
    return b"".join(path.read_bytes() for path in database.path.parent.iterdir())


def test_of_eight_processes_that_want_one_step_exactly_one_gets_it(tmp_path):
    path, steps = tmp_path / "race.sqlite", 25
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE step (id INTEGER PRIMARY KEY, owner TEXT)")
        connection.executemany("INSERT INTO step (id) VALUES (?)", [(step,) for step in range(steps)])
    connection.close()
    told = race(RACE, path, steps)
    assert (len(told), sum(map(int, told))) == (8, steps)


def test_what_was_not_committed_is_gone(tmp_path):
    database = Database(tmp_path / "one.sqlite")
    with database.writing() as session:
        session.execute(text("CREATE TABLE kept (id INTEGER)"))

    def breaks():
        with database.writing() as session:
            session.execute(text("INSERT INTO kept VALUES (1)"))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        breaks()
    with database.reading() as session:
        assert session.execute(text("SELECT count(*) FROM kept")).scalar_one() == 0
    database.close()


def test_a_commit_that_fails_leaves_nobody_locked_out(tmp_path):
    """SQLite keeps the transaction open then, for a second try, and its lock with it (SQLite, lang_transaction)."""
    database = Database(tmp_path / "logbook.sqlite")
    with database.writing() as session:
        session.execute(text("CREATE TABLE one (id INTEGER PRIMARY KEY)"))
        session.execute(text("CREATE TABLE two (one INTEGER REFERENCES one DEFERRABLE INITIALLY DEFERRED)"))
    with pytest.raises(IntegrityError), database.writing() as session:
        session.execute(text("INSERT INTO two VALUES (7)"))  # found wanting by COMMIT alone
    other = sqlite3.connect(database.path, timeout=0.2)
    other.execute("INSERT INTO one VALUES (1)")
    other.commit()
    other.close()
    with database.writing() as session:
        assert session.execute(text("SELECT count(*) FROM two")).scalar_one() == 0
    database.close()


def test_the_migrations_make_exactly_the_tables_of_the_models(tmp_path):
    database = Database(tmp_path / "new.sqlite")
    upgrade(database)
    upgrade(database)  # again: nothing to do
    with database.engine.connect() as connection:
        for compare_type in (False, True):
            opts = {"compare_type": compare_type, "include_name": is_ours}
            context = MigrationContext.configure(connection, opts=opts)
            assert compare_metadata(context, Base.metadata) == []
    database.close()


def test_an_upgraded_database_has_every_column_and_constraint_of_one_made_from_the_models(tmp_path):
    """The comparison of migrations knows nothing of checks; SQLite's own schema does."""
    upgraded, made = Database(tmp_path / "upgraded.sqlite"), Database(tmp_path / "made.sqlite")
    upgrade(upgraded)
    with made.engine.connect() as connection, connection.begin():
        Base.metadata.create_all(connection)
    assert _schema(upgraded) == _schema(made)
    assert any("ck_rule_strength_strength_known" in line for line in _schema(made)["rule_strength"])
    upgraded.close()
    made.close()


def _schema(database):
    """Name of every table and index to the sorted parts that define it; a column added later stands at the end."""
    query = (
        "SELECT name, sql FROM sqlite_master WHERE type <> 'trigger' "
        "AND name NOT LIKE 'sqlite_%' AND name NOT LIKE 'search_%'"
    )
    with database.reading() as session:
        found = session.execute(text(query)).all()
    return {
        name: sorted(
            part.strip() for part in re.split(r",\s(?![^()]*\))", sql.strip().partition("(")[2].removesuffix(")"))
        )
        for name, sql in found
        if name != "alembic_version"
    }


def test_an_upgrade_that_would_leave_a_broken_reference_keeps_nothing(tmp_path):
    database = Database(tmp_path / "one.sqlite")
    upgrade(database)
    connection = sqlite3.connect(database.path)
    connection.execute("DROP TRIGGER audit_entry_no_update")  # so that there is something to do
    connection.execute("INSERT INTO audit_object (entry_id, ref) VALUES (99, 'job:1')")
    connection.commit()
    connection.close()
    with pytest.raises(Refused, match="broken reference in table audit_object"):
        upgrade(database)
    with database.reading() as session:
        triggers = text("SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'audit%'")
        assert session.execute(triggers).scalar_one() == 3
        assert session.execute(text("PRAGMA foreign_keys")).scalar_one() == 1
    database.close()


def test_what_a_reader_changed_is_thrown_away(tmp_path):
    database = Database(tmp_path / "one.sqlite")
    upgrade(database)
    with database.reading() as session:
        session.execute(text("INSERT INTO shop_fact (key, value) VALUES ('name', 'The Shop')"))
    with database.reading() as session:
        assert session.execute(text("SELECT count(*) FROM shop_fact")).scalar_one() == 0
    database.close()


def test_a_word_that_no_column_knows_is_refused_by_the_database_itself(tmp_path):
    database = Database(tmp_path / "one.sqlite")
    upgrade(database)
    wrong = (
        "INSERT INTO rule_strength (rule, strength, chosen_by_id, chosen_at) VALUES ('age', 'stop', 1, '')",
        "INSERT INTO sign_in (token_hash, person_id, started_at, seen_at) VALUES ('t', 77, '', '')",
        "INSERT INTO shop_fact (key, value) VALUES ('name', NULL)",
    )
    for statement, said in zip(wrong, ("CHECK", "FOREIGN KEY", "NOT NULL"), strict=True):
        with pytest.raises(IntegrityError, match=said), database.writing() as session:
            session.execute(text(statement))
    database.close()


@pytest.mark.parametrize("after", [0, 1, 7, 20, 35])
def test_an_upgrade_that_is_killed_leaves_nothing_half_done(tmp_path, after):
    path = tmp_path / "new.sqlite"
    ended = subprocess.run([sys.executable, "-c", STOPPED, path, str(after)], check=False, capture_output=True)
    assert ended.returncode == -signal.SIGKILL, ended.stderr.decode()
    database = Database(path)
    with database.reading() as session:
        assert (
            session.execute(text("SELECT count(*) FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'")).scalar_one() == 0
        )
    upgrade(database)
    database.close()


def test_four_processes_may_open_a_new_shop_at_once(tmp_path):
    assert race(OPENING, tmp_path / "data", racers=4) == ["opened"] * 4


def test_a_newer_versions_database_is_left_as_it_was(tmp_path):
    database = Database(tmp_path / "one.sqlite")
    upgrade(database)
    with database.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = 'v9999'"))
    before = database.path.read_bytes()
    with pytest.raises(Refused, match="newer version"):
        upgrade(database)
    assert database.path.read_bytes() == before
    database.close()


def test_a_shop_is_opened_while_somebody_writes(tmp_path):
    database = Database(tmp_path / "one.sqlite")
    upgrade(database)
    with sqlite3.connect(database.path, isolation_level=None) as somebody:
        somebody.execute("BEGIN IMMEDIATE")
        again = Database(database.path)
        upgrade(again)
        again.close()
        somebody.execute("ROLLBACK")
    somebody.close()
    database.close()


@pytest.mark.parametrize("name", ["audit_entry_no_update", "audit_object_no_delete"])
def test_a_trigger_that_was_taken_away_is_back_at_the_next_start(tmp_path, name):
    database = Database(tmp_path / "one.sqlite")
    upgrade(database)
    triggers = text("SELECT name FROM sqlite_master WHERE type = 'trigger' ORDER BY name")
    with database.writing() as session:
        before = list(session.execute(triggers).scalars())
        session.execute(text(f"DROP TRIGGER {name}"))
    upgrade(database)
    with database.reading() as session:
        assert list(session.execute(triggers).scalars()) == before
        assert name in before
    database.close()


def test_times_without_a_zone_are_refused():
    with pytest.raises(ValueError, match="without a zone"):
        UtcTime().process_bind_param(datetime(2026, 1, 1), None)  # noqa: DTZ001 - that is the point


@pytest.mark.parametrize("typed", ["8in", "203.2mm", "20.3cm", "0.6m", "8.000in", "0.0000001m", "-0.50mm"])
def test_a_length_keeps_what_was_typed(typed):
    column = LengthText()
    kept = column.process_bind_param(parse_length(typed, positive=False), None)
    assert str(column.process_result_value(kept, None)) == typed


@pytest.mark.parametrize("written", ["19.87", "0.000001", "20.000000", "1E+2"])
def test_a_decimal_comes_back_as_the_same_number(written):
    column = DecimalText()
    assert column.process_result_value(column.process_bind_param(Decimal(written), None), None) == Decimal(written)


def test_codes_are_read_aloud_without_doubt():
    assert not set("01OIUoiu") & set(CODE_ALPHABET)
    assert len({new_code() for _ in range(2000)}) == 2000


def test_while_one_state_is_read_a_question_is_asked_once_and_while_something_is_written_each_time(tmp_path):
    database, asked = Database(tmp_path / "logbook.db"), []

    def answer(session):
        return once(session, ("lots", 1), lambda: asked.append(1) or len(asked))

    with database.reading() as session:
        assert (answer(session), answer(session)) == (1, 1)
        assert once(session, ("lots", 2), lambda: "another question") == "another question"
    with database.reading() as session:
        assert answer(session) == 2
    with database.writing() as session:
        assert (answer(session), answer(session)) == (3, 4)
