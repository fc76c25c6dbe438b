"""One consistent copy of a database that is in use, and a way to read such a copy that cannot change it."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import create_engine
from sqlalchemy.orm import Session
from sqlalchemy.pool import NullPool

from logbook.records.database import Database


def copy_database(database: Database, target: Path) -> None:
    """Write one consistent state into ``target`` (missing or empty) while people go on working.

    VACUUM INTO reads inside one transaction and writes no free pages, so that
    nothing of what was erased comes along (SQLite's documentation, "VACUUM").
    Raises sqlite3.Error when there is no room or the database is damaged.
    """
    with database.engine.connect() as connection:
        raw = connection.connection.dbapi_connection
        assert raw is not None
        raw.execute("VACUUM INTO ?", (str(target),)).close()


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
