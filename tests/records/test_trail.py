"""The audit trail: what is changed, removed, inserted or reordered is found; what is personal can be erased."""

import shutil
import sqlite3
import tempfile
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from logbook.records import audit, chain
from logbook.records.audit import Act, Actor
from logbook.records.database import Database
from logbook.records.orders import Customer
from support.tampering import spoil, told

START = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)


pytestmark = pytest.mark.both_databases


def _first_bad(database):
    with database.reading() as session:
        return chain.first_bad(session)


def test_an_untouched_trail_is_sound(database):
    assert _first_bad(database) is None


@pytest.mark.parametrize(
    ("statement", "bad"),
    [
        ("UPDATE audit_entry SET body = replace(body, '\"number\":2', '\"number\":9') WHERE id = 3", 3),
        ("UPDATE audit_entry SET action = 'something else' WHERE id = 4", 4),
        ("UPDATE audit_entry SET actor_name = 'Otto' WHERE id = 2", 2),
        ("UPDATE audit_entry SET at = '2026-01-05T09:30:00.000000+00:00' WHERE id = 5", 5),
        ("UPDATE audit_entry SET reason = 'because' WHERE id = 1", 1),
        ("UPDATE audit_entry SET request_id = 'other' WHERE id = 6", 6),
        ("UPDATE audit_entry SET previous_hash = entry_hash WHERE id = 3", 3),
        ("DELETE FROM audit_entry WHERE id = 3", 3),
        ("DELETE FROM audit_entry WHERE id = 1", 1),
        ("UPDATE audit_entry SET id = 99 WHERE id = 2", 2),
        ("DELETE FROM audit_object WHERE entry_id = 4 AND ref = 'order:1'", 4),
        ("INSERT INTO audit_object (entry_id, ref) VALUES (2, 'job:77')", 2),
        ("UPDATE audit_object SET ref = 'job:77' WHERE entry_id = 5 AND ref = 'order:1'", 5),
        ("DELETE FROM audit_entry WHERE id = 6", 6),
        ("DELETE FROM audit_entry WHERE id > 3", 4),
        ("DELETE FROM audit_object; DELETE FROM audit_entry", 1),
        ("DELETE FROM audit_object WHERE entry_id > 4; DELETE FROM audit_entry WHERE id > 4", 5),
        ("DELETE FROM audit_object WHERE entry_id > 5; DELETE FROM audit_entry WHERE id > 5", 6),
        ("INSERT INTO audit_object (entry_id, ref) VALUES (99, 'job:1')", 99),
        ("INSERT INTO audit_object (id, entry_id, ref) VALUES (1 - 9223372036854775807, 2, 'job:77')", 2),
        ("UPDATE audit_entry SET at = 'yesterday' WHERE id = 3", 3),
        ("UPDATE audit_entry SET body = 'no content' WHERE id = 5", 5),
        ("UPDATE audit_entry SET person_id = 2 WHERE id = 5", 5),
        ("UPDATE audit_entry SET person_id = NULL WHERE id = 5", 5),
        ("UPDATE audit_object SET entry_id = 3 WHERE entry_id = 2 AND ref = 'order:1'", 2),
    ],
)
def test_a_tampered_trail_names_its_first_bad_entry(database, statement, bad):
    spoil(database, statement)
    assert _first_bad(database).startswith(f"Entry {bad}:")


@pytest.mark.in_a_file
@pytest.mark.parametrize(
    ("statement", "bad"),
    [
        ("INSERT INTO audit_object (entry_id, ref) VALUES ('no number', 'job:1')", 2**63),
        ("UPDATE audit_entry SET action = CAST(x'c328' AS TEXT) WHERE id = 2", 2),
        ("UPDATE audit_entry SET body = x'00ff' WHERE id = 4", 4),
        ("UPDATE audit_object SET ref = CAST(x'c328' AS TEXT) WHERE entry_id = 2 AND ref = 'order:1'", 2),
        ("UPDATE audit_object SET entry_id = 'three' WHERE entry_id = 3 AND ref = 'order:1'", 3),
    ],
)
def test_what_no_longer_is_a_number_or_a_text_is_named_too(database, statement, bad):
    """SQLite's columns take anything; PostgreSQL refuses these itself."""
    spoil(database, statement)
    assert _first_bad(database).startswith(f"Entry {bad}:")


def test_an_entry_that_is_gone_is_called_missing_and_the_next_one_is_named(database):
    spoil(database, "DELETE FROM audit_entry WHERE id = 3")
    assert _first_bad(database) == "Entry 3: missing, the next one there is 4."


def test_a_right_hash_over_what_is_no_content_is_no_content(database):
    before = told(database, "SELECT entry_hash FROM audit_entry WHERE id = 5")[0][0]
    right = audit.chain_hash(before, b"no content")
    spoil(database, f"UPDATE audit_entry SET body = 'no content', entry_hash = '{right}' WHERE id = 6")
    assert _first_bad(database) == "Entry 6: its columns differ from its hashed content."


COLUMNS = ("previous_hash", "entry_hash", "at", "action", "actor_name", "request_id", "body")


@pytest.mark.in_a_file
@given(st.integers(1, 6), st.sampled_from(COLUMNS), st.integers(0, 10_000), st.integers(0, 7))
@settings(max_examples=60)
def test_a_single_bit_that_flipped_is_found_in_its_own_entry(six_entries, number, column, place, bit):
    with tempfile.TemporaryDirectory() as folder:
        database = Database(Path(shutil.copy(six_entries, folder)))
        with sqlite3.connect(database.path) as connection:
            connection.execute("DROP TRIGGER audit_entry_no_update")
            query = f"SELECT CAST({column} AS BLOB) FROM audit_entry WHERE id = ?"
            flipped = bytearray(connection.execute(query, (number,)).fetchone()[0])
            flipped[place % len(flipped)] ^= 1 << bit
            connection.execute(
                f"UPDATE audit_entry SET {column} = CAST(? AS TEXT) WHERE id = ?", (bytes(flipped), number)
            )
        connection.close()
        assert _first_bad(database).startswith(f"Entry {number}:")
        database.close()


def test_an_entry_that_was_slipped_in_with_a_right_hash_is_found_by_the_one_after_it(database):
    with database.reading() as session:
        third, fourth = (session.get_one(audit.AuditEntry, number) for number in (3, 4))
    body = third.body.replace('"seq":3', '"seq":4').replace("form-2-2", "form-x")
    slipped = audit.chain_hash(third.entry_hash, body)
    spoil(
        database,
        # later rows first: the sequence number is unique
        *[
            f"UPDATE audit_object SET entry_id = {number + 1} WHERE entry_id = {number};"
            f"UPDATE audit_entry SET id = {number + 1} WHERE id = {number}"
            for number in (6, 5, 4)
        ],
        "INSERT INTO audit_entry (id, previous_hash, entry_hash, at, action, person_id, actor_name, request_id, body) "
        f"SELECT 4, entry_hash, '{slipped}', at, action, person_id, actor_name, 'form-x', '{body}' "
        "FROM audit_entry WHERE id = 3",
        "INSERT INTO audit_object (entry_id, ref) SELECT 4, ref FROM audit_object WHERE entry_id = 3 ORDER BY id",
    )
    assert fourth.previous_hash == third.entry_hash
    assert _first_bad(database).startswith("Entry 5:")


@pytest.mark.parametrize(
    ("damage", "bad"),
    [
        ("", None),
        ("DELETE FROM audit_object WHERE entry_id = 5 AND ref = 'order:1'", 5),
        ("INSERT INTO audit_object (entry_id, ref) VALUES (2, 'job:77')", 2),
        ("DELETE FROM audit_entry WHERE id = 5; INSERT INTO audit_object (entry_id, ref) VALUES (2, 'a')", 2),
        ("UPDATE audit_object SET entry_id = 900 WHERE entry_id = 3 AND ref = 'order:1'", 3),
        ("INSERT INTO audit_object (id, entry_id, ref) VALUES (-5, 4, 'job:77')", 4),
        ("INSERT INTO audit_object (entry_id, ref) VALUES (0, 'job:77')", 0),
    ],
)
def test_a_trail_that_is_read_in_parts_is_judged_like_one_that_is_read_whole(database, monkeypatch, damage, bad):
    spoil(database, damage)
    for count, objects_at_once in ((1, 3), (2, 4), (3, 100), (6, 3), (7, 100)):
        monkeypatch.setattr(chain, "_OBJECTS_AT_ONCE", objects_at_once)
        link, fault = chain.Link(), None
        while link is not None and fault is None:
            with database.reading() as session:
                fault, link = chain.check_part(session, link, count=count)
        assert (fault or "").partition(":")[0] == ("" if bad is None else f"Entry {bad}"), (fault, count)


def test_an_entry_in_another_zone_keeps_its_moment_and_verifies(database):
    summer = timezone(timedelta(hours=5, minutes=30))
    with database.writing() as session:
        by = Actor(1, "Olga", "owner", datetime(2026, 1, 5, 18, 0, tzinfo=summer))
        entry = audit.record(session, by, Act("tried", ["job:1"]))
        assert '"at":"2026-01-05T12:30:00.000000+00:00"' in entry.body
    assert _first_bad(database) is None


def test_an_entry_with_more_objects_than_are_read_at_once_is_sound(database, monkeypatch):
    with database.writing() as session:
        by = Actor(1, "Olga", "owner", START + timedelta(hours=1))
        for number in range(2):
            audit.record(session, by, Act("several done at once", [f"sheet:{number}{one}" for one in range(9)]))
    for count, at_once in ((1, 3), (7, 3), (7, 4), (8, 3)):
        monkeypatch.setattr(chain, "_OBJECTS_AT_ONCE", at_once)
        link, fault = chain.Link(), None
        while link is not None and fault is None:
            with database.reading() as session:
                fault, link = chain.check_part(session, link, count=count)
        assert fault is None


def test_two_entries_that_changed_places_are_found(database):
    spoil(
        database,
        "UPDATE audit_entry SET id = 100 WHERE id = 3",
        "UPDATE audit_entry SET id = 3 WHERE id = 4",
        "UPDATE audit_entry SET id = 4 WHERE id = 100",
    )
    assert _first_bad(database).startswith("Entry 3:")


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE audit_entry SET action = 'x' WHERE id = 1",
        "DELETE FROM audit_entry WHERE id = 1",
        "UPDATE audit_object SET ref = 'x' WHERE id = 1",
        "DELETE FROM audit_object",
    ],
)
def test_the_program_itself_cannot_change_the_trail(database, statement):
    with pytest.raises(DatabaseError, match="append-only"), database.writing() as session:
        session.execute(text(statement))
    assert _first_bad(database) is None


@pytest.mark.in_a_file
@pytest.mark.parametrize("table", ["audit_entry", "audit_object"])
def test_nor_can_it_replace_a_row(database, table):
    with pytest.raises(DatabaseError, match="append-only"), database.writing() as session:
        session.execute(text(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} WHERE id = 1"))
    assert _first_bad(database) is None


def test_a_clock_that_was_set_back_changes_no_order_and_is_marked(database):
    with database.writing() as session:
        entry = audit.record(session, Actor(1, "Olga", "owner", START - timedelta(days=1)), Act("tried", ["job:1"]))
        assert entry.id == 7
        assert '"clock_back":true' in entry.body
    assert _first_bad(database) is None


@pytest.mark.in_a_file
def test_erasing_a_customer_leaves_the_chain_whole_and_the_name_nowhere(database):
    name = "Quillon & Daughters"
    with database.writing() as session:
        customer = Customer(name=name)
        session.add(customer)
        session.flush()
        told = {"customer": audit.keyed_hash(customer.hash_key, name)}
        audit.record(
            session,
            Actor(1, "Olga", "owner", START + timedelta(hours=1)),
            Act("order placed", ["customer:1"], new=told),
        )
    with database.writing() as session:
        session.execute(text("UPDATE customer SET name = NULL, contact = NULL, hash_key = NULL"))
    assert _first_bad(database) is None
    with sqlite3.connect(database.path) as connection:
        connection.execute("VACUUM")
    connection.close()
    assert name.encode() not in database.path.read_bytes()


def test_the_head_is_the_newest_entry(database):
    with database.reading() as session:
        head = audit.head(session)
        last = audit.newest(session, before=None, count=1)[0]
    assert (head.seq, head.hash) == (6, last.entry_hash)
