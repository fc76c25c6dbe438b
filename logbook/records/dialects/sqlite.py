"""A shop in one file: SQLite with explicit transactions.

BEGIN IMMEDIATE for writers, so that two people never read the same state and then both change it; plain BEGIN for
readers.
"""

import fcntl
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, insert, text
from sqlalchemy.orm import Session

from logbook.records.dialects import BUSY_TIMEOUT_MS, PATIENCE, Place
from logbook.records.dialects.sqlite_index import SqliteIndex

_CHANGES = ("UPDATE", "DELETE")


def wal_is_safe(version: tuple[int, int, int]) -> bool:
    """Whether this SQLite has the fix for the WAL-reset corruption bug.

    Fixed in 3.51.3 and later, and in the backports 3.44.6 and 3.50.7 (SQLite
    release notes); versions before 3.7.0 have no WAL at all.
    """
    return version >= (3, 51, 3) or (3, 50, 7) <= version < (3, 51, 0) or (3, 44, 6) <= version < (3, 45, 0)


class Sqlite:
    """What is SQLite's own."""

    index = SqliteIndex()
    reading: Mapping[str, Any] = {"reading": True}
    mark = "?"

    def rows(self, session: Session, query: str, values: tuple[Any, ...]) -> list[Any]:
        """By the driver itself."""
        raw: Any = session.connection().connection.dbapi_connection
        found: list[Any] = raw.execute(query, values).fetchall()
        return found

    def engine(self, place: Place) -> Engine:
        """One file's; missing ones are made."""
        engine = create_engine(f"sqlite:///{place}", connect_args={"check_same_thread": False})
        _use_explicit_transactions(engine)
        return engine

    def own_name(self, engine: Engine) -> str:
        """A file needs none: it lies in its folder."""
        return ""

    @contextmanager
    def upgrading(self, connection: Connection) -> Iterator[None]:
        """Foreign keys are off: otherwise a rebuilt table deletes its children."""
        _pragma(connection, f"busy_timeout = {PATIENCE * BUSY_TIMEOUT_MS}")
        # outside the transaction, where alone it has an effect
        _pragma(connection, "foreign_keys = OFF")
        try:
            with connection.begin():
                yield
        finally:
            _pragma(connection, "foreign_keys = ON")
            _pragma(connection, f"busy_timeout = {BUSY_TIMEOUT_MS}")

    def is_new(self, connection: Connection) -> bool:
        """Never: an empty file goes through every migration."""
        return False

    def settle(self, connection: Connection) -> None:
        """Nothing to do: SQLite's columns take what they are given."""

    def keep_append_only(self, connection: Connection, tables: Sequence[str]) -> None:
        """By triggers."""
        for table in tables:
            for change in _CHANGES:
                connection.execute(
                    text(
                        f"CREATE TRIGGER IF NOT EXISTS {table}_no_{change.lower()} BEFORE {change} ON {table} "
                        f"BEGIN SELECT RAISE(ABORT, 'the audit trail is append-only'); END"
                    )
                )

    def is_append_only(self, connection: Connection, tables: Sequence[str]) -> bool:
        """Whether they are there."""
        found = text("SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'audit_%_no_%'")
        return bool(connection.execute(found).scalar_one() == len(tables) * len(_CHANGES))

    def broken_reference(self, connection: Connection) -> str | None:
        """The first one's table."""
        broken = connection.execute(text("PRAGMA foreign_key_check")).first()
        return str(broken[0]) if broken else None

    def as_bytes(self, column: str) -> str:
        """As they lie in the file."""
        return f"CAST({column} AS BLOB)"

    def reached(self, at_hand: Session | Connection, table: str) -> int:
        """AUTOINCREMENT remembers it."""
        asked = text("SELECT seq FROM sqlite_sequence WHERE name = :name")
        return int(at_hand.execute(asked, {"name": table}).scalar_one_or_none() or 0)

    def set_reached(self, connection: Connection, table: str, number: int) -> None:
        """SQLite makes the row with a table's first row."""
        told = {"name": table, "number": number}
        connection.execute(text("DELETE FROM sqlite_sequence WHERE name = :name"), told)
        connection.execute(text("INSERT INTO sqlite_sequence (name, seq) VALUES (:name, :number)"), told)

    def pour(self, connection: Connection, table: Any, rows: Sequence[Sequence[Any]]) -> None:
        """By one prepared statement."""
        names = [column.name for column in table.columns]
        connection.execute(insert(table), [dict(zip(names, row, strict=True)) for row in rows])

    @contextmanager
    def alone(self, engine: Engine, folder: Path, name: str) -> Iterator[bool]:
        """In any process of this machine: by a locked file in the data folder."""
        with (folder / f"{name}.lock").open("w") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                yield False
            else:
                yield True

    def size(self, session: Session, place: Place) -> int:
        """The file's."""
        return Path(place).stat().st_size


def _use_explicit_transactions(engine: Engine) -> None:
    event.listen(engine, "connect", _prepare_connection)
    event.listen(engine, "begin", _begin)


def _prepare_connection(connection: sqlite3.Connection, _record: Any) -> None:
    connection.isolation_level = None
    wal = wal_is_safe(sqlite3.sqlite_version_info)
    for pragma in (
        f"busy_timeout = {BUSY_TIMEOUT_MS}",
        "foreign_keys = ON",
        # without this INSERT OR REPLACE slips past the append-only triggers
        "recursive_triggers = ON",
        # what is erased is overwritten in the file as well; many builds of SQLite leave it lying in free space
        "secure_delete = ON",
        f"journal_mode = {'WAL' if wal else 'DELETE'}",
        f"synchronous = {'FULL' if wal else 'EXTRA'}",
    ):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin(connection: Connection) -> None:
    reading = connection.get_execution_options().get("reading", False)
    connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")


def _pragma(connection: Connection, words: str) -> None:
    raw: Any = connection.connection.dbapi_connection
    raw.execute(f"PRAGMA {words}").close()


SQLITE = Sqlite()
