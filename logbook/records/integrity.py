"""The database's own check of itself, asked beside other work.

SQLite's reads the whole file. It computes for as long as recomputing the trail does, and needs nothing of Python
meanwhile: both at once take half the time. Whoever has heard enough ends it early.

With a rollback journal a reader keeps every writer waiting, and this reading is long. So the file is read without a
lock first; what somebody wrote meanwhile can only make it look damaged, and then it is asked once more under a lock:
the quick check table by table, so that whoever writes waits for one of them at most.
"""

import os
import sqlite3
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from urllib.parse import quote

from sqlalchemy import text

from logbook.records.base import Base
from logbook.records.database import Database
from logbook.records.dialects import BUSY_TIMEOUT_MS

WHOLE, QUICK = "PRAGMA integrity_check(1)", "PRAGMA quick_check(1)"
"""The second leaves out whether indexes and tables agree."""


PAUSE_SECONDS = 0.05


class IntegrityCheck:
    """One check, which begins at once and ends with its block at the latest."""

    def __init__(self, path: Path, asked: str = WHOLE) -> None:
        self._asked, self._over = asked, threading.Event()
        self._unlocked, self._locked = (_open(path, how) for how in ("immutable=1", "mode=ro"))
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="integrity")
        self._told = self._thread.submit(self._ask)

    def __enter__(self) -> "IntegrityCheck":
        return self

    def _ask(self) -> str:
        _let_others_first()
        with suppress(sqlite3.DatabaseError):
            if self._of(self._unlocked) == "ok":
                return "ok"
        if self._asked == WHOLE:
            return "" if self._over.is_set() else self._of(self._locked)
        return next((told for told in self._by_table() if told != "ok"), "ok")

    def _of(self, connection: sqlite3.Connection) -> str:
        return str(connection.execute(self._asked).fetchone()[0])

    def _by_table(self) -> Iterator[str]:
        """The quick check of each table in a reading of its own; between them who waits comes to write."""
        for (name,) in self._locked.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall():
            if self._over.wait(PAUSE_SECONDS):
                yield ""
            yield str(self._locked.execute(f"PRAGMA quick_check('{name}')").fetchone()[0])

    def answer(self) -> str:
        """``ok``, or the first thing that is wrong. Raises sqlite3.DatabaseError for what is no database any more."""
        return self._told.result()

    def __exit__(self, _kind: type[BaseException] | None, _error: BaseException | None,
                 _trace: TracebackType | None) -> None:  # fmt: skip
        self._over.set()
        for connection in (self._unlocked, self._locked):
            connection.interrupt()
        self._thread.shutdown(wait=True, cancel_futures=True)
        for connection in (self._unlocked, self._locked):
            connection.close()


_WRONG = "SELECT coalesce(max(checksum_failures), 0) FROM pg_stat_database WHERE datname = current_database()"


class ServerCheck:
    """What a PostgreSQL server can tell of itself: pages whose check sum was wrong, where it keeps check sums.

    ``WHOLE`` has it read every row of every table besides, so that such pages are met. It has no command that checks
    a whole database as SQLite has.
    """

    def __init__(self, database: Database, asked: str = WHOLE) -> None:
        self._database, self._asked = database, asked

    def __enter__(self) -> "ServerCheck":
        return self

    def answer(self) -> str:
        """``ok``, or what is wrong. Raises DatabaseError for a row that cannot be read."""
        if self._asked == WHOLE:
            for name in Base.metadata.tables:
                with self._database.reading() as session:
                    read = f'SELECT sum(length(CAST(one AS text))) FROM "{name}" AS one'  # noqa: S608 - our own names
                    session.execute(text(read))
        with self._database.reading() as session:
            count = session.execute(text(_WRONG)).scalar_one()
        return f"the server met {count} pages whose check sum was wrong" if count else "ok"

    def __exit__(self, *_: object) -> None:
        """Nothing is open."""


def check_of(database: Database, asked: str = WHOLE) -> IntegrityCheck | ServerCheck:
    """The check of whichever database this is."""
    return ServerCheck(database, asked) if database.path is None else IntegrityCheck(database.path, asked)


def _let_others_first() -> None:
    """This thread's turn comes when nobody else wants the processor, where the system knows such a thing of threads."""
    if sys.platform == "linux":
        os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), 19)


def _open(path: Path, how: str) -> sqlite3.Connection:
    return sqlite3.connect(
        f"file:{quote(str(path.absolute()))}?{how}", uri=True, check_same_thread=False, timeout=BUSY_TIMEOUT_MS / 1000
    )
