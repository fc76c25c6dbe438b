"""The bell: tells the worker that a run waits. It may be lost at any time; the run's row is the truth."""

import logging
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path

from huey import Huey, MemoryHuey, SqliteHuey

from logbook.settings import Settings

_log = logging.getLogger(__name__)


class Bell:
    """A queue with one task, in a small SQLite file of its own; on a server it lies beside the shop's tables."""

    def __init__(self, settings: Settings, answer: Callable[[int], None] | None = None) -> None:
        self.huey = _at_server(settings.database) if settings.database else _queue(settings.bell_path)

        # a function of this module in either process: the queue knows tasks by module and name
        def work_on(run_id: int) -> None:
            (answer or _nobody_answers)(run_id)

        self._task = self.huey.task()(work_on)

    def ring(self, run_id: int) -> None:
        """Tell the worker about a run; ringing twice does no harm, and a ring that fails is made good by its sweep."""
        try:
            self._task(run_id)
        except _troubles():
            _log.warning("run %s: the bell did not ring", run_id, exc_info=True)


def _troubles() -> tuple[type[Exception], ...]:
    """The errors of whatever is loaded: a shop in a file never loads the other one."""
    driver = sys.modules.get("psycopg")
    return (sqlite3.Error, driver.Error) if driver else (sqlite3.Error,)


def _at_server(address: str) -> Huey:
    """It waits without asking; a server that does not answer just now is asked again with the next ring."""
    from huey import PostgresHuey

    return PostgresHuey("runs", results=False, dsn=address, table_prefix="bell", connect_timeout=5)


def _queue(path: Path) -> Huey:
    try:
        return _opened(path)
    except sqlite3.DatabaseError:  # nothing in it is worth saving
        try:
            path.unlink(missing_ok=True)
            return _opened(path)
        except (OSError, sqlite3.Error):  # a folder that takes no writes: no run can be asked for there either
            return MemoryHuey("runs", results=False)


def _opened(path: Path) -> SqliteHuey:
    # no write-ahead log: the same bug as in records.database
    return SqliteHuey("runs", filename=str(path), results=False, journal_mode="delete")


def _nobody_answers(run_id: int) -> None:
    raise RuntimeError(f"run {run_id}: this process only rings")
