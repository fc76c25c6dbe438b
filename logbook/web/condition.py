"""Whether the shop takes writes just now, and what is said where it does not: busy, full, read-only, damaged."""

import errno
import os
import sqlite3

from flask import current_app, g
from sqlalchemy.exc import DatabaseError, OperationalError

from logbook.records.integrity import QUICK, IntegrityCheck
from logbook.records.opened import Shop
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
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EACCES, errno.EIO)
_DAMAGE = ("malformed", "not a database", "disk image")


class Condition:
    """What is known about the shop's database while the app runs; damage that was seen once is not forgotten."""

    def __init__(self, shop: Shop, common: Common) -> None:
        self._shop, self._common = shop, common

    @property
    def damage(self) -> str:
        """What is said once damage was seen; empty before."""
        return DAMAGED if self._common.damaged else ""

    @property
    def words(self) -> str:
        """What stands above every page; empty while writes are taken."""
        if self.damage:
            return self.damage
        path = self._shop.settings.database_path
        writable = os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
        return "" if writable else READ_ONLY

    def check(self) -> None:
        """Let SQLite look through the whole file: seconds for a large shop, so not while somebody waits for a page."""
        try:
            with IntegrityCheck(self._shop.settings.database_path, QUICK) as check:
                found = check.answer()
        except sqlite3.OperationalError:  # busy: no sign of damage
            return
        except sqlite3.DatabaseError:
            found = "malformed"
        if found != "ok":
            self._common.note_damage()

    def learn(self, error: DatabaseError | OSError) -> str:
        """One sentence for an error of the database or of a file; empty for one that is a fault of the program."""
        if isinstance(error, OSError):
            return NO_WRITES if error.errno in FULL else ""
        told = str(error.orig).lower()
        if any(mark in told for mark in _DAMAGE):
            self._common.note_damage()
            return DAMAGED
        if not isinstance(error, OperationalError):
            return ""
        return BUSY if "locked" in told or "busy" in told else NO_WRITES


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
