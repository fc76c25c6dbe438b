"""The audit trail and its signatures: A1 to A6."""

import hashlib
import json
import sqlite3
from pathlib import Path
from unittest import mock

from sqlalchemy import event, select, text
from sqlalchemy.exc import DatabaseError

from actions import test_every_act as every
from logbook.actions import machines, verifying
from logbook.records import audit, chain
from logbook.records.database import Database
from logbook.records.dialects import sqlite
from logbook.records.floor import Sheet
from logbook.web import shown
from promised.ground import Ground, patched
from promised.rows import TABLE, Tally
from support.small_shop import SmallShop, small_shop
from support.tampering import KINDS, tamper

# --- A1


@TABLE.row(
    "A1", "Every act: who, what, when, old and new; one entry, listing every object it touched; nothing personal",
    "every writing address", quick=10, full=10, broken=3,
    twin=patched(machines, "record", lambda *_words: None),
)  # fmt: skip
def every_act(ground: Ground, tally: Tally, count: int) -> None:
    """One story calls every act of the room; what it touched is what the database session had to write."""
    with ground.folder() as folder:
        story = every.Story(small_shop(folder / "data"))
        for chapter in every.chapters(folder)[:count]:
            chapter(story)
        for name, entries in story.entries.items():
            unlisted = story.unlisted.get(name)
            tally.tried(set(entries) == {1} and not unlisted, f"{name}: entries {entries}, not listed {unlisted}")
        bodies = "\n".join(story.shop.read(every._bodies))
        for private in (every.CUSTOMER, every.CONTACT, every.GIVEN_BY, every.WORDS, every.SECRET):
            tally.tried(private not in bodies, "a personal value stands in the trail")
        story.shop.shop.database.close()


# --- A2


def _without_recursion(_ground: Ground):
    real = sqlite._prepare_connection

    def prepare(connection, record):
        real(connection, record)
        connection.execute("PRAGMA recursive_triggers = OFF").close()

    def listening(engine):
        event.listen(engine, "connect", prepare)
        event.listen(engine, "begin", sqlite._begin)

    return mock.patch.object(sqlite, "_use_explicit_transactions", listening)


CHANGES = (
    "UPDATE audit_entry SET action = 'x' WHERE id = {n}",
    "DELETE FROM audit_entry WHERE id = {n}",
    "INSERT OR REPLACE INTO audit_entry SELECT * FROM audit_entry WHERE id = {n}",
    "REPLACE INTO audit_object SELECT * FROM audit_object WHERE entry_id = {n}",
    "UPDATE audit_object SET ref = 'x' WHERE entry_id = {n}",
    "DELETE FROM audit_object WHERE entry_id = {n}",
)


@TABLE.row(
    "A2", "Corrections add, never overwrite", "UPDATE, DELETE and REPLACE refused", quick=8, full=40, broken=1,
    twin=_without_recursion,
)  # fmt: skip
def append_only(ground: Ground, tally: Tally, count: int) -> None:
    """Six ways to change an entry, through the program's own connection."""
    with ground.shop("ready") as (shop, _code):
        there = shop.read(audit.head).seq  # an entry that is not there cannot be overwritten, and nothing refuses it
        for number in (1 + turn % there for turn in range(count)):
            for statement in CHANGES:
                tally.tried(_refused(shop, statement.format(n=number)), statement)


def _refused(shop: SmallShop, statement: str) -> bool:
    try:
        with shop.shop.database.writing() as session:
            session.execute(text(statement))
    except DatabaseError as error:
        return "append-only" in str(error)
    return False


# --- A3


def _skips_the_hash(_ground: Ground):
    real = chain._fault

    def lenient(row, expected, previous, objects):
        fault = real(row, expected, previous, objects)
        return None if fault and "does not match its hash" in fault else fault

    return mock.patch.object(chain, "_fault", lenient)


@TABLE.row(
    "A3", "Changed, removed, inserted or reordered entries are named",
    "1,000 tampers of 12 kinds, first bad entry named",
    quick=24, full=1000, broken=12, twin=_skips_the_hash,
)  # fmt: skip
def tampered(ground: Ground, tally: Tally, count: int) -> None:
    """By somebody who writes to the file without its triggers."""
    with ground.shop("ready") as (shop, _code):
        head = shop.read(audit.head).seq
        shop.shop.database.close()
        path = shop.shop.settings.database_path
        whole, kinds = path.read_bytes(), list(KINDS)
        for number in range(count):
            kind, entry = kinds[number % len(kinds)], ground.dice.randrange(1, head)
            spoiled = Database(path)
            tamper(spoiled, kind, entry)
            spoiled.close()
            bad = head + 1 if kind == "entry slipped in" else entry
            told = _verified(path, shop)
            tally.tried(told.startswith(f"Entry {bad}:"), f"{kind} at {entry}: {told}")
            path.write_bytes(whole)


def _verified(path: Path, shop: SmallShop) -> str:
    found = Database(path)
    told = verifying.verify(found, shop.shop.store)["sentence"]
    found.close()
    return str(told)


# --- A4


def compute_anew(path: Path) -> None:
    """A whole new chain over changed content, every hash right: what somebody with the file alone can make."""
    connection = sqlite3.connect(path)
    for name in ("audit_entry_no_update", "audit_entry_no_delete"):
        connection.execute(f"DROP TRIGGER {name}")
    previous = audit.ORIGIN_HASH
    for number, name, body in connection.execute("SELECT id, actor_name, body FROM audit_entry ORDER BY id").fetchall():
        changed = body.replace("Olga", "Olge")
        made = hashlib.sha256(f"{audit.DOMAIN}\n{previous}\n{changed}".encode()).hexdigest()
        connection.execute(
            "UPDATE audit_entry SET previous_hash = ?, entry_hash = ?, actor_name = ?, body = ? WHERE id = ?",
            (previous, made, name.replace("Olga", "Olge"), changed, number),
        )
        previous = made
    connection.commit()
    connection.close()


def cut_tail(path: Path, after: int) -> None:
    """The end cut off, and the table's own count of rows set back."""
    connection = sqlite3.connect(path)
    for name in ("audit_entry_no_delete", "audit_object_no_delete"):
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute("DELETE FROM audit_object WHERE entry_id > ?", (after,))
    connection.execute("DELETE FROM audit_entry WHERE id > ?", (after,))
    connection.execute("UPDATE sqlite_sequence SET seq = ? WHERE name = 'audit_entry'", (after,))
    connection.commit()
    connection.close()


class Anchors:
    """Holds a trail against numbers and hashes that were kept outside; a twin looks at the number alone."""

    @staticmethod
    def hold(path: Path, anchor: audit.Head) -> bool:
        """Whether the entry of that number has that hash."""
        connection = sqlite3.connect(path)
        row = connection.execute("SELECT entry_hash FROM audit_entry WHERE id = ?", (anchor.seq,)).fetchone()
        connection.close()
        return row == (anchor.hash,)


@TABLE.row(
    "A4", "A rewritten chain and a cut tail are found by an anchor kept outside", "100 % after the last anchor",
    quick=10, full=200, broken=4, twin=patched(Anchors, "hold", staticmethod(lambda *_: True)),
)  # fmt: skip
def anchored(ground: Ground, tally: Tally, count: int) -> None:
    """Both leave a trail that is sound in itself; number and hash on a traveller or in a backup tell."""
    with ground.shop("ready") as (shop, _code):
        anchor = shop.read(audit.head)
        shop.shop.database.close()
        path = shop.shop.settings.database_path
        whole = path.read_bytes()
        tally.tried(Anchors.hold(path, anchor), "the untouched trail does not fit its anchor")
        for number in range(count):
            compute_anew(path) if number % 2 else cut_tail(path, ground.dice.randrange(1, anchor.seq))
            sound = _verified(path, shop).startswith("The trail's")
            tally.tried(sound and not Anchors.hold(path, anchor), f"sound in itself: {sound}")
            path.write_bytes(whole)


# --- A5

WHEN = shown.when


def _when_not_told():
    def when(_moment):
        return "some day"

    return when



@TABLE.row(
    "A5", "A sign-off shows printed name, time and meaning, on screen and on paper", "100 %", quick=4, full=8, broken=1,
    twin=patched(shown, "when", _when_not_told()),
)  # fmt: skip
def shown_whole(ground: Ground, tally: Tally, count: int) -> None:
    """Sheets are signed at the desk; their page and their job's traveller are read."""
    with ground.desk("many") as (desk, shop, code):
        sheets = shop.read(lambda session: list(session.execute(select(Sheet.code)).scalars()))[:count]
        for sheet in sheets:
            desk.post(f"/sheet/{sheet}/sign/print", data={"request_id": f"a5-{sheet}", "reason": ""})
            page = desk.get(f"/sheet/{sheet}").get_data(as_text=True)
            entry = shop.read(lambda session, sheet=sheet: _last_signed(session, sheet))
            body = json.loads(entry.body)
            moment = WHEN(entry.at)
            for what, words in (("name", body["name"]), ("time", moment), ("meaning", body["meaning"])):
                tally.tried(words and words in page, f"no {what} ({words}) on the sheet's page")
        paper = desk.get(f"/job/{code}/traveller").get_data(as_text=True)
        for what, words in (("name", "Olga"), ("time", moment.split()[-1])):
            tally.tried(words in paper, f"no {what} on the traveller")


def _last_signed(session, sheet):
    return [entry for entry in audit.entries_for(session, f"sheet:{sheet}") if entry.action == "stage signed"][-1]


# --- A6


@TABLE.row(
    "A6", "A sign-off is bound to the exact object and files", "moved signatures detected",
    quick=10, full=200, broken=4, twin=_skips_the_hash,
)  # fmt: skip
def bound(ground: Ground, tally: Tally, count: int) -> None:
    """A signature in the trail is moved to another object, or to other files, with its hash left as it was."""
    with ground.shop("mounted") as (shop, _code):
        shop.shop.database.close()
        path = shop.shop.settings.database_path
        whole = path.read_bytes()
        connection = sqlite3.connect(path)
        signed = connection.execute("SELECT id, body FROM audit_entry WHERE action = 'stage signed'").fetchall()
        connection.close()
        for number in range(count):
            entry, body = ground.dice.choice(signed)
            told = json.loads(body)
            tally.tried(told["files"] and len(told["objects"]) > 1, f"entry {entry} names no files or objects")
            _move(path, entry, told, files=bool(number % 2))
            tally.tried(_verified(path, shop).startswith(f"Entry {entry}:"), f"entry {entry} was moved unseen")
            path.write_bytes(whole)


def _move(path: Path, entry: int, told: dict, *, files: bool) -> None:
    was = told["objects"][0]
    other = was[:-1] + ("2" if was.endswith("9") else "9")
    moved = {**told, "files": ["0" * 64]} if files else {**told, "objects": [other, *told["objects"][1:]]}
    connection = sqlite3.connect(path)
    for name in ("audit_entry_no_update", "audit_object_no_update"):
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute("UPDATE audit_entry SET body = ? WHERE id = ?", (audit.canonical(moved), entry))
    if not files:
        place = "UPDATE audit_object SET ref = ? WHERE entry_id = ? AND ref = ?"
        connection.execute(place, (other, entry, was))
    connection.commit()
    connection.close()
