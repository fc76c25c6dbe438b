"""Backups, damage, migrations, complete copies: R10, R12, R13, R14, A11."""

import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from unittest import mock

from alembic import command
from alembic.script import ScriptDirectory

from logbook.actions import exporting, verifying
from logbook.records import backup, snapshot, upgrade
from logbook.records.database import Database
from logbook.records.files import hash_file
from logbook.refusals import Refused
from promised.ground import Ground, patched, saboteur
from promised.rows import TABLE, Tally
from support.backups import made_of, people_at_work, restored_and_verified
from support.dying import nursery
from support.small_shop import SmallShop

# --- R10


def _copied_live(source: Database, target: Path) -> None:
    """A plain copy of a file that is written to meanwhile: its first pages are of one moment, the rest of another."""
    with source.path.open("rb") as one, target.open("wb") as out:
        out.write(one.read(source.path.stat().st_size // 3))
        time.sleep(0.4)
        out.write(one.read())


@contextmanager
def _by_plain_copy(_ground: Ground):
    with mock.patch.object(snapshot, "copy_database", _copied_live):
        names = [one for one in vars(backup) if one == "copy_database"]
        with mock.patch.object(backup, names[0], _copied_live) if names else tempfile.TemporaryDirectory():
            yield


@TABLE.row(
    "R10", "A backup made under load restores elsewhere and verifies", "50/50", quick=2, full=50, broken=2,
    twin=_by_plain_copy,
)  # fmt: skip
def backups_under_load(ground: Ground, tally: Tally, count: int) -> None:
    """Two people write all the time; each backup is brought back and verified, with all that was signed before."""
    with ground.shop("ready") as (shop, _code), people_at_work(shop.shop) as made:
        base = shop.shop.settings.data.parent
        for number in range(count):
            before = len(made)
            try:
                there = made_of(shop.shop, base / "stick", keep=2).backup
                told = restored_and_verified(there, base / f"new-{number}")
            except (Refused, sqlite3.Error) as error:
                tally.tried(False, error)
                continue
            last = max(made[:before], default=0)
            tally.tried(told["sound"] and told["anchor"].entries >= last, told["sentence"])
            shutil.rmtree(base / f"new-{number}")


# --- R12


@TABLE.row(
    "R12", "Damage in the trail and in kept files is reported by verify",
    "600 single bits flipped in live entries and files: 100 % named",
    quick=40, full=600, broken=10, twin=patched(verifying, "hash_file", lambda path: path.name),
)  # fmt: skip
def flipped_bits(ground: Ground, tally: Tally, count: int) -> None:
    """In the bytes of the file itself; other tables' bytes are tried beside it for the figure, caught or not."""
    elsewhere = 0
    with ground.shop("ready") as (shop, _code):
        path = shop.shop.settings.database_path
        shop.shop.database.close()
        whole, places = path.read_bytes(), _places(path)
        kept = sorted(shop.shop.store.hashes())
        for number in range(count):
            if number % 4 == 0:
                tally.tried(_named_file(shop, ground.dice, ground.dice.choice(kept)), "a kept file")
                continue
            low, high = ground.dice.choice(places)
            tally.tried(_named_flip(shop, path, whole, ground.dice.randrange(low, high), ground.dice), f"byte {low}")
            elsewhere += _named_flip(shop, path, whole, ground.dice.randrange(100, len(whole)), ground.dice)
        path.write_bytes(whole)
    tried = count - (count + 3) // 4
    tally.figure = f"anywhere in the database file, free space and other tables' values too: {elsewhere} of {tried}"


def _places(path: Path) -> list[tuple[int, int]]:
    """Where entries' bodies and hashes lie in the file, as far as one lies in one piece."""
    whole, found = path.read_bytes(), []
    with sqlite3.connect(path) as connection:
        rows = connection.execute("SELECT body, entry_hash FROM audit_entry ORDER BY id").fetchall()
    connection.close()
    for body, _ in rows:
        at = whole.find(body.encode())
        if at >= 0:
            found.append((at, at + len(body.encode())))
    return found


def _flip(content: bytes, at: int, dice: Random) -> bytes:
    return content[:at] + bytes([content[at] ^ 1 << dice.randrange(8)]) + content[at + 1 :]


def _named_flip(shop: SmallShop, path: Path, whole: bytes, at: int, dice: Random) -> bool:
    path.write_bytes(_flip(whole, at, dice))
    found = Database(path)
    try:
        return not verifying.verify(found, shop.shop.store)["sound"]
    except Exception:  # it cannot even be opened: that is no quiet serving
        return True
    finally:
        found.close()
        path.write_bytes(whole)


def _named_file(shop: SmallShop, dice: Random, sha256: str) -> bool:
    path = shop.shop.store.path(sha256)
    whole = path.read_bytes()
    path.write_bytes(_flip(whole, dice.randrange(len(whole)), dice))
    told = verifying.verify(shop.shop.database, shop.shop.store)
    path.write_bytes(whole)
    shop.shop.database.close()
    return not told["sound"] and sha256 in told["sentence"]


# --- R13

MIGRATING = """
import signal
from pathlib import Path
import alembic.command
from sqlalchemy import event
from logbook.records import upgrade
from logbook.records.dialects import sqlite
from logbook.records.database import Database
SABOTAGE
def live(path, last):
    made, passed = Database(Path(path)), [0]
    def dying(connection, cursor, statement, *_):
        changes = statement.lstrip().upper().startswith(("CREATE", "ALTER", "INSERT", "UPDATE", "DROP"))
        passed[0] += changes
        if passed[0] >= int(last):
            os.kill(os.getpid(), signal.SIGKILL)
    event.listen(made.engine, "after_cursor_execute", dying)
    upgrade.upgrade(made)
"""
BY_ITSELF = "sqlite._use_explicit_transactions = lambda engine: None"


@TABLE.row(
    "R13", "An interrupted migration is all or nothing", "killed after each statement",
    quick=4, full=400, broken=2, twin=saboteur(BY_ITSELF),
)  # fmt: skip
def interrupted_migration(ground: Ground, tally: Tally, count: int) -> None:
    """A new shop's migrations, killed after their first, … statement; quick takes every so many of them."""
    step = 1 if ground.full else 40
    with ground.folder() as folder, nursery(MIGRATING.replace("SABOTAGE", ground.sabotage)) as migrating:
        for number in range(count):
            path = folder / f"{number}.sqlite"
            if migrating.one(path, 1 + step * number) == 0:
                tally.figure = f"{step * number} statements in all"
                break
            left = Database(path)
            with left.engine.connect() as connection:
                query = "SELECT count(*) FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
                half = connection.exec_driver_sql(query).scalar_one()
            left.close()
            tally.tried(not half, f"{half} things half done after statement {1 + step * number}")


# --- R14


def _loses_a_row(_ground: Ground):
    real = upgrade._migrate

    def losing(connection):
        real(connection)
        connection.exec_driver_sql("DELETE FROM shop_fact")

    return mock.patch.object(upgrade, "_migrate", losing)


@TABLE.row(
    "R14", "Data of an older release opens in the newest", "100 %, counts and head hash kept",
    quick=3, full=99, broken=1, twin=_loses_a_row,
)  # fmt: skip
def older_data(ground: Ground, tally: Tally, count: int) -> None:
    """A shop's rows as each older schema would have held them, brought up; quick takes the oldest three."""
    with ground.shop("mounted") as (shop, _code):
        shop.shop.database.close()
        newest = shop.shop.settings.database_path
        revisions = _revisions()[:count]
        for revision in revisions:
            older = newest.with_name(f"{revision}.sqlite")
            counts = _as_of(revision, newest, older)
            made = Database(older)
            upgrade.upgrade(made)
            told = verifying.verify(made, shop.shop.store)
            made.close()
            same = _counts(older, counts) == counts and told["head"] == _head(newest)
            tally.tried(same and told["sound"], f"{revision}: {told['sentence']}")
    tally.figure = f"schemas {revisions[0]} to {revisions[-1]}, {sum(counts.values())} rows"


def _revisions() -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        empty = Database(Path(folder) / "empty.sqlite")
        with empty.engine.connect() as connection:
            scripts = ScriptDirectory.from_config(upgrade._config(connection))
            found = [script.revision for script in scripts.walk_revisions()]
        empty.close()
    return found[::-1][:-1]


def _as_of(revision: str, newest: Path, older: Path) -> dict[str, int]:
    """A database of an older schema with every row of the newest that it can hold; how many in each table."""
    made = Database(older)
    with made.engine.connect() as connection, connection.begin():
        command.upgrade(upgrade._config(connection), revision)
    made.close()
    with sqlite3.connect(older) as connection:
        connection.execute("ATTACH ? AS newest", (str(newest),))
        tables = [name for name in _tables(connection) if name != "alembic_version"]
        for table in tables:
            here, there = (_columns(connection, where, table) for where in ("main", "newest"))
            names = ", ".join(f'"{name}"' for name in here if name in there)
            if names:
                connection.execute(f'INSERT INTO main."{table}" ({names}) SELECT {names} FROM newest."{table}"')
    connection.close()
    return _counts(older, dict.fromkeys(tables, 0))


def _tables(connection: sqlite3.Connection) -> list[str]:
    query = "SELECT name FROM main.sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    return [name for (name,) in connection.execute(query) if not name.startswith("search")]


def _columns(connection: sqlite3.Connection, where: str, table: str) -> list[str]:
    return [row[1] for row in connection.execute(f'PRAGMA {where}.table_info("{table}")')]


def _counts(path: Path, tables: dict[str, int]) -> dict[str, int]:
    connection = sqlite3.connect(path)
    found = {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in tables}
    connection.close()
    return found


def _head(path: Path) -> str:
    connection = sqlite3.connect(path)
    found = connection.execute("SELECT entry_hash FROM audit_entry ORDER BY id DESC LIMIT 1").fetchone()[0]
    connection.close()
    return str(found)


# --- A11


class Verifier:
    """The program inside a copy; a twin puts one in its place that believes everything."""

    program = ""


BELIEVES = "print('Sound: everything')"


@TABLE.row(
    "A11", "A complete copy for an inspector, readable by people and machines",
    "checked by a separate verifier that uses the standard library only",
    quick=8, full=120, broken=3, twin=patched(Verifier, "program", BELIEVES),
)  # fmt: skip
def complete_copy(ground: Ground, tally: Tally, count: int) -> None:
    """The verifier finds a copy sound, and names each of so many copies with one byte changed."""
    with ground.shop("ready") as (shop, _code):
        copy = shop.shop.settings.data.with_name("copy")
        exporting.export_shop(shop.shop, copy, now=datetime.now(UTC))
        if Verifier.program:
            (copy / "check_export.py").write_text(Verifier.program)
        tally.tried(_check(copy) == 0, "an untouched copy is not sound")
        told = [path for path in copy.rglob("*") if path.is_file() and path.name != "check_export.py"]
        for _ in range(count):
            path = ground.dice.choice(told)
            whole = path.read_bytes()
            path.write_bytes(_flip(whole, ground.dice.randrange(len(whole)), ground.dice) if whole else b"x")
            tally.tried(_check(copy) != 0, f"{path.name} was changed unseen")
            path.write_bytes(whole)
        assert hash_file(path)


def _check(copy: Path) -> int:
    command_words = [sys.executable, "-I", "-S", copy / "check_export.py", copy]
    return subprocess.run(command_words, capture_output=True, check=False, cwd="/").returncode
