"""What an error of the database means for whoever meets it, told apart for both databases in one place."""

import sqlite3
from enum import Enum

from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError


class Trouble(Enum):
    """Somebody else writes; no room, or no right to write; the server does not answer; damage; the shop moved away."""

    BUSY = "busy"
    FULL = "full"
    GONE = "gone"
    DAMAGED = "damaged"
    MOVED = "moved"


MOVED_AWAY = "this shop moved to a server"
"""What the file of a shop that was moved says to whoever would write on in it."""
_DAMAGE = ("malformed", "not a database", "disk image")
# PostgreSQL documentation, appendix A, "Error Codes": the first characters of each
_STATES = {
    "XX001": Trouble.DAMAGED, "XX002": Trouble.DAMAGED,
    "55P03": Trouble.BUSY, "40001": Trouble.BUSY, "40P01": Trouble.BUSY,
    "53": Trouble.FULL, "25006": Trouble.FULL, "58": Trouble.FULL,
    "57P": Trouble.GONE, "08": Trouble.GONE, "25P03": Trouble.GONE,
}  # fmt: skip


def trouble_of(error: Exception) -> Trouble | None:
    """None for a fault of the program."""
    origin = error.orig if isinstance(error, DBAPIError) else error
    told = str(origin).lower()
    if not isinstance(error, DBAPIError | sqlite3.Error):
        return None
    if isinstance(origin, sqlite3.Error):
        return _of_file(told, operational=isinstance(origin, sqlite3.OperationalError))
    state = getattr(origin, "sqlstate", None)
    if state is None:  # the driver's own word: there is no connection
        return Trouble.GONE if isinstance(error, OperationalError) else None
    return next((trouble for begins, trouble in _STATES.items() if state.startswith(begins)), None)


def _of_file(told: str, *, operational: bool) -> Trouble | None:
    if MOVED_AWAY in told:
        return Trouble.MOVED
    if any(mark in told for mark in _DAMAGE):
        return Trouble.DAMAGED
    if not operational:
        return None
    return Trouble.BUSY if "locked" in told or "busy" in told else Trouble.FULL


def passes(error: Exception) -> bool:
    """Whether it is over by itself, or once the server is back: no sign of damage."""
    return trouble_of(error) in (Trouble.BUSY, Trouble.GONE)


def is_sent_twice(error: IntegrityError) -> bool:
    """Whether the trail has an entry of this form already: SQLite names the column, PostgreSQL its constraint."""
    return any(name in str(error.orig) for name in ("audit_entry.request_id", "uq_audit_entry_request_id"))
