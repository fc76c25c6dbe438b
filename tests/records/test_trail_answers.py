"""What the trail answers, how its hashes are made, and what becomes of forgeries and of forms that race."""

import hashlib
import json
from datetime import UTC, datetime, timedelta

import pytest

from logbook.records import audit, chain
from logbook.records.audit import Act, Actor
from support.race import race
from support.tampering import spoil, told

pytestmark = pytest.mark.both_databases
START = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)


def _first_bad(database):
    with database.reading() as session:
        return chain.first_bad(session)


def _forged(database, body):
    """The newest entry rewritten together with its hash, as somebody would who knows how it is made."""
    with database.reading() as session:
        previous = session.get_one(audit.AuditEntry, 5).entry_hash
    told = (body.replace("'", "''"), audit.chain_hash(previous, body))
    spoil(database, "UPDATE audit_entry SET body = '{}', entry_hash = '{}' WHERE id = 6".format(*told))


@pytest.mark.parametrize(
    "body",
    [
        "no content",
        "[]",
        "null",
        "[" * 200_000,
        "{}",
    ],
)
def test_content_that_nobody_wrote_is_named_even_with_a_right_hash(database, body):
    _forged(database, body)
    assert _first_bad(database).startswith("Entry 6: its columns differ")


@pytest.mark.parametrize("objects", [None, 7, "job:5", [1, None], ["job:5", "order:1", None], {"job:5": "order:1"}])
def test_objects_that_are_no_list_of_names_are_named_even_with_a_right_hash(database, objects):
    with database.reading() as session:
        content = json.loads(session.get_one(audit.AuditEntry, 6).body)
    assert content["objects"] == ["job:5", "order:1"]
    _forged(database, audit.canonical({**content, "objects": objects}))
    assert _first_bad(database).startswith("Entry 6: its columns differ")


@pytest.mark.parametrize("key", ["seq", "at", "person", "name", "request", "action", "objects"])
def test_content_that_lost_a_part_is_named_even_with_a_right_hash(database, key):
    with database.reading() as session:
        content = json.loads(session.get_one(audit.AuditEntry, 6).body)
    del content[key]
    _forged(database, audit.canonical(content))
    assert _first_bad(database).startswith("Entry 6: its columns differ")


def test_an_objects_story_is_every_act_that_touched_it_oldest_first(database):
    with database.reading() as session:
        assert [entry.id for entry in audit.entries_for(session, "order:1")] == [1, 2, 3, 4, 5, 6]
        assert [entry.id for entry in audit.entries_for(session, "job:3")] == [4]
        assert list(audit.entries_for(session, "job:33")) == []


def test_the_newest_entries_come_first_and_go_on_before_a_number(database):
    with database.reading() as session:
        assert [entry.id for entry in audit.newest(session, before=None, count=2)] == [6, 5]
        assert [entry.id for entry in audit.newest(session, before=5, count=3)] == [4, 3, 2]
        assert audit.newest(session, before=1, count=3) == []


def test_a_form_that_made_its_entry_is_known_and_none_is_no_form(database):
    with database.writing() as session:
        audit.record(session, Actor(None, "nobody", "", START + timedelta(hours=1)), Act("tried", []))
    with database.reading() as session:
        known = [audit.was_done(session, form) for form in ("form-3-3", "form-3", None)]
    assert known == [True, False, False]


def test_an_object_named_twice_is_listed_once(database):
    with database.writing() as session:
        by = Actor(1, "Olga", "owner", START + timedelta(hours=1))
        entry = audit.record(session, by, Act("tried", ["job:9", "job:8", "job:9"]))
    assert json.loads(entry.body)["objects"] == ["job:9", "job:8"]
    assert _first_bad(database) is None


def test_the_hash_of_an_entry_is_sha256_over_domain_previous_hash_and_body(database):
    """Recomputed with the standard library alone, as anybody can: FIPS 180-4 (2015), Secure Hash Standard."""
    rows = told(database, "SELECT previous_hash, entry_hash, body FROM audit_entry ORDER BY id")
    expected = "0" * 64
    for previous, entry_hash, body in rows:
        assert previous == expected
        expected = hashlib.sha256(f"lens-bench-logbook/audit/1\n{previous}\n{body}".encode()).hexdigest()
        assert entry_hash == expected
    assert len(rows) == 6


def test_a_personal_value_is_hashed_under_its_own_key():
    """RFC 4231 (2005), section 4.3, test case 2: key "Jefe" (from memory)."""
    told = audit.keyed_hash(b"Jefe".hex(), "what do ya want for nothing?")
    assert told == "hmac-sha256:5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"


FORMS = """
import time
from datetime import UTC, datetime
from logbook.records import audit, chain
from logbook.records.database import Database
def race(racer):
    database, made = Database(sys.argv[1]), 0
    for number in range(int(sys.argv[2])):
        with database.writing() as session:
            if not audit.was_done(session, f"racing-{number}"):
                time.sleep(0.002)  # the others' turn, if they may
                by = audit.Actor(1, "Olga", "owner", datetime(2026, 1, 6, tzinfo=UTC), f"racing-{number}")
                audit.record(session, by, audit.Act("raced", [f"job:{number}"]))
                made += 1
    return made
"""


def test_of_eight_processes_with_the_same_forms_each_form_makes_one_entry(database):
    forms = 12
    ended = race(FORMS, database.place, forms)
    assert (len(ended), sum(map(int, ended))) == (8, forms)
    with database.reading() as session:
        assert audit.head(session).seq == 6 + forms
        assert chain.first_bad(session) is None
