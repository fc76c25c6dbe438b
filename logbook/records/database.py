"""The database: opening it, and the only two ways to work in it.

``writing()`` is the only place that commits. SQLite is opened with explicit
transactions: BEGIN IMMEDIATE for writers, so that two people never read the
same state and then both change it; plain BEGIN for readers.
"""

import sqlite3
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.orm import Session

BUSY_TIMEOUT_MS = 5000
_ANSWERS = "answers"
Answer = TypeVar("Answer")


def wal_is_safe(version: tuple[int, int, int]) -> bool:
    """Whether this SQLite has the fix for the WAL-reset corruption bug.

    Fixed in 3.51.3 and later, and in the backports 3.44.6 and 3.50.7 (SQLite
    release notes); versions before 3.7.0 have no WAL at all.
    """
    return version >= (3, 51, 3) or (3, 50, 7) <= version < (3, 51, 0) or (3, 44, 6) <= version < (3, 45, 0)


class Database:
    """One shop's database file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.engine = create_engine(f"sqlite:///{path}", connect_args={"check_same_thread": False})
        _use_explicit_transactions(self.engine)

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A session that may write: committed at the end, rolled back on any exception."""
        with self.engine.connect() as connection, Session(connection, expire_on_commit=False) as session:
            connection.begin()
            yield session
            session.flush()
            try:
                connection.commit()
            except BaseException:
                # SQLAlchemy takes a commit that failed for ended and would give the open transaction, lock and all,
                # back to its pool: nobody could read or write any more
                connection.connection.rollback()
                raise

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session for reading one consistent state; whatever it changed is thrown away."""
        with (
            self.engine.connect().execution_options(reading=True) as connection,
            Session(connection, autoflush=False, info={_ANSWERS: {}}) as session,
        ):
            connection.begin()
            yield session
            connection.rollback()

    def close(self) -> None:
        """Give every connection back."""
        self.engine.dispose()


def reads_only(session: Session) -> bool:
    """Whether this session reads one consistent state and writes nothing."""
    return _ANSWERS in session.info


def once(session: Session, question: Hashable, ask: Callable[[], Answer]) -> Answer:
    """The answer to a question that several parts of a page ask: asked once while one state is read.

    Where something may be written it is asked each time. ``question`` names the question and what it is about.
    """
    if not reads_only(session):
        return ask()
    known: dict[Hashable, Answer] = session.info[_ANSWERS]
    if question not in known:
        known[question] = ask()
    return known[question]


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
