"""One consistent copy of a database that is in use, and a way to read such a copy that cannot change it."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import create_engine
from sqlalchemy.orm import Session
from sqlalchemy.pool import NullPool

from logbook.records.copying import copy_shop
from logbook.records.database import Database
from logbook.records.upgrade import make_new


def copy_database(database: Database, target: Path) -> None:
    """Write one consistent state into ``target`` (missing or empty) while people go on working: a file of SQLite's.

    So a backup and a complete copy are the same thing wherever the shop's database is.
    Raises sqlite3.Error or DatabaseError when there is no room or the database is damaged.
    """
    if database.path is None:
        _copied_rows(database, target)
    else:
        _copied_pages(database, target)


def _copied_pages(database: Database, target: Path) -> None:
    """VACUUM INTO reads inside one transaction and writes no free pages.

    So nothing of what was erased comes along (SQLite's documentation, "VACUUM").
    """
    with database.engine.connect() as connection:
        raw = connection.connection.dbapi_connection
        assert raw is not None
        raw.execute("VACUUM INTO ?", (str(target),)).close()


def _copied_rows(database: Database, target: Path) -> None:
    """From a server: every row of one state, into a file that is made from the models."""
    made = Database(target)
    try:
        with (
            database.engine.connect().execution_options(**database.dialect.reading) as source,
            source.begin(),
            made.engine.connect() as connection,
            made.dialect.upgrading(connection),
        ):
            make_new(connection)
            copy_shop(source, connection)
        # whoever opens the copy reads one file
        with made.engine.connect() as connection:
            raw = connection.connection.dbapi_connection
            assert raw is not None
            raw.execute("PRAGMA journal_mode = DELETE").close()
    finally:
        made.close()


@contextmanager
def reading_copy(path: Path) -> Iterator[Session]:
    """Read a copy that nobody writes to, on a stick that takes no writes too; it is not trusted."""
    engine = create_engine("sqlite+pysqlite://", creator=lambda: _opened(path), poolclass=NullPool)
    try:
        with engine.connect() as connection, Session(connection, autoflush=False) as session:
            yield session
    finally:
        engine.dispose()


def _opened(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1", uri=True)
    # a copy may come from anybody: its schema gets no functions, its pages are measured
    for pragma in ("trusted_schema = OFF", "cell_size_check = ON", "query_only = ON"):
        connection.execute(f"PRAGMA {pragma}").close()
    return connection
