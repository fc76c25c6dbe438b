"""Whether the shop takes writes just now, and what is said where it does not: busy, full, read-only, gone, damaged."""

import errno
import os
import sqlite3

from flask import current_app, g
from sqlalchemy.exc import DatabaseError

from logbook.records.integrity import QUICK, check_of
from logbook.records.opened import Shop
from logbook.records.troubles import Trouble, passes, trouble_of
from logbook.web.common import Common

BUSY = "Somebody else is writing just now. Nothing was written; what you typed is kept here: send it again in a moment."
NO_WRITES = (
    "The data folder is full or read-only. Nothing was written; what you typed is kept here: make room, or let the "
    "logbook write there, then send it again."
)
READ_ONLY = (
    "The data folder is read-only: everything can be looked at, nothing can be written until whoever keeps the machine "
    "lets the logbook write there again."
)
DAMAGED = (
    "The database file is damaged. What can still be read is shown, and nothing is written any more. Stop the logbook, "
    "keep the folder as it is, and bring the last good backup into a new one with 'logbook restore'."
)
GONE = (
    "The database server does not answer just now. Go back, where your browser still has what you typed, and send it "
    "again in a moment. A form that was written before the server went is not written twice."
)
MOVED = (
    "This shop moved to a PostgreSQL server and goes on there. Nothing was written; whoever keeps the machine ends "
    "this logbook and starts it with the server's address."
)
DAMAGED_SERVER = (
    "The database is damaged, says its server. What can still be read is shown, and nothing is written any more. Stop "
    "the logbook, keep the server's files as they are, restore the last good backup into a new folder, and move that "
    "to a new database with 'logbook move-to'."
)
_WORDS = {Trouble.BUSY: BUSY, Trouble.FULL: NO_WRITES, Trouble.GONE: GONE, Trouble.MOVED: MOVED}
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EACCES, errno.EIO)


class Condition:
    """What is known about the shop's database while the app runs; damage that was seen once is not forgotten."""

    def __init__(self, shop: Shop, common: Common) -> None:
        self._shop, self._common = shop, common

    @property
    def damage(self) -> str:
        """What is said once damage was seen; empty before."""
        return self._damaged if self._common.damaged else ""

    @property
    def _damaged(self) -> str:
        return DAMAGED if self._shop.database.path else DAMAGED_SERVER

    @property
    def words(self) -> str:
        """What stands above every page; empty while writes are taken."""
        if self.damage:
            return self.damage
        paths = (self._shop.database.path, self._shop.settings.data)
        return "" if all(os.access(path, os.W_OK) for path in paths if path) else READ_ONLY

    def check(self) -> None:
        """Let the database check itself: seconds for a large file, so not while somebody waits for a page."""
        try:
            with check_of(self._shop.database, QUICK) as check:
                found = check.answer()
        except (sqlite3.DatabaseError, DatabaseError) as error:
            if isinstance(error, sqlite3.OperationalError) or passes(error):  # busy: no sign of damage
                return
            found = "malformed"
        if found != "ok":
            self._common.note_damage()

    def learn(self, error: DatabaseError | OSError) -> str:
        """One sentence for an error of the database or of a file; empty for one that is a fault of the program."""
        if isinstance(error, OSError):
            return NO_WRITES if error.errno in FULL else ""
        trouble = trouble_of(error)
        if trouble is Trouble.DAMAGED:
            self._common.note_damage()
            return self._damaged
        return _WORDS[trouble] if trouble else ""


def condition() -> Condition:
    """That of the running app."""
    kept: Condition = current_app.extensions["condition"]
    return kept


def unavailable() -> None:
    """This request is answered with 503: not the form was wrong, but nothing can be written just now."""
    g.unavailable = True


def is_unavailable() -> bool:
    """Whether this request could not write."""
    return bool(g.get("unavailable"))
