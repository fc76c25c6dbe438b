"""SQLite's own check of a database file, asked beside other work.

It computes for as long as recomputing the trail does, and needs nothing of Python meanwhile: both at once take half
the time. Whoever has heard enough ends it early.
"""

import sqlite3
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import TracebackType
from urllib.parse import quote

from logbook.records.database import BUSY_TIMEOUT_MS


class IntegrityCheck:
    """One check, which begins at once and ends with its block at the latest."""

    def __init__(self, path: Path) -> None:
        self._connection = sqlite3.connect(
            f"file:{quote(str(path.absolute()))}?mode=ro", uri=True, check_same_thread=False,
            timeout=BUSY_TIMEOUT_MS / 1000,
        )  # fmt: skip
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="integrity")
        self._told = self._thread.submit(self._ask)

    def __enter__(self) -> "IntegrityCheck":
        return self

    def _ask(self) -> str:
        return str(self._connection.execute("PRAGMA integrity_check(1)").fetchone()[0])

    def answer(self) -> str:
        """``ok``, or the first thing that is wrong. Raises sqlite3.DatabaseError for what is no database any more."""
        return self._told.result()

    def __exit__(self, _kind: type[BaseException] | None, _error: BaseException | None,
                 _trace: TracebackType | None) -> None:  # fmt: skip
        self._connection.interrupt()
        self._thread.shutdown(wait=True, cancel_futures=True)
        self._connection.close()
