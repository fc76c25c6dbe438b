"""Whether everything kept is still what it was: the audit trail, the database, the kept files."""

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.exc import DatabaseError

from logbook.records import audit, chain
from logbook.records.database import Database
from logbook.records.files import FileStore, KeptFile, hash_file
from logbook.records.integrity import check_of
from logbook.records.troubles import passes
from logbook.refusals import Refused

ENTRY_AS_BYTES = 50_000
"""As many bytes are hashed in the time of one entry; measured on the demo's record, where both parts are small."""
Progress = Callable[[float], None]


def _nobody(_part: float) -> None:
    """Nobody is told."""


def verify(database: Database, store: FileStore, *, progress: Progress = _nobody) -> dict[str, Any]:
    """Recompute the chain, let the database check itself, hash every kept file; ``sentence`` names the first fault.

    Reads the trail in short transactions and hashes files in none, and SQLite checks its file without a lock: the shop
    can write meanwhile.
    ``progress`` is told the part that is done, 0 to 1; a Refused that it raises stops the work.
    """
    try:
        with database.reading() as session:
            head = audit.head(session)
            kept = [_Kept(*row) for row in session.execute(_STANDING)]
        steps = _Steps(head.seq, sum(one.size for one in kept), progress)
        fault = next(_faults(database, store, kept, steps), None)
    except Refused:
        raise
    except (DatabaseError, sqlite3.DatabaseError, ValueError) as error:
        if passes(error):
            raise
        return damaged(error)
    return _told(head, len(kept), fault)


def damaged(error: Exception) -> dict[str, Any]:
    """What is said of a database that cannot even be read."""
    words = str(getattr(error, "orig", error)).splitlines()[0]
    return _told(audit.Head(0, audit.ORIGIN_HASH, None), 0, f"The database file is damaged: {words}.")


@dataclass(frozen=True, slots=True)
class _Kept:
    id: int
    sha256: str
    media_type: str
    size: int


@dataclass(frozen=True, slots=True)
class _Steps:
    """How much there is to do, and who is told how much of it is done."""

    entries: int
    size: int
    progress: Progress

    def told(self, entries: int, size: int) -> None:
        whole = self.entries * ENTRY_AS_BYTES + self.size
        done = min(entries, self.entries) * ENTRY_AS_BYTES + size
        self.progress(done / whole if whole else 1.0)


_STANDING = (
    select(KeptFile.id, KeptFile.sha256, KeptFile.media_type, KeptFile.size)
    .where(KeptFile.dropped_at.is_(None))
    .order_by(KeptFile.id)
)


def _told(head: audit.Head, files: int, fault: str | None) -> dict[str, Any]:
    trail = f"The trail's {head.seq} entries follow from each other"
    sound = f"{trail} and all {files} kept files are as they were. Head: {head.hash}"
    return {"sound": fault is None, "sentence": fault or sound, "entries": head.seq, "head": head.hash, "files": files}


def _faults(database: Database, store: FileStore, kept: list[_Kept], steps: _Steps) -> Iterator[str]:
    with check_of(database) as check:
        yield from _chain_faults(database, steps)
        answer = check.answer()
    if answer != "ok":
        yield f"The database file is damaged: {answer}."
    read = 0
    for one in kept:
        lost = _lost(store, one)
        if lost and _still_standing(database, one.id):
            yield lost
        read += one.size
        steps.told(steps.entries, read)


def _lost(store: FileStore, one: _Kept) -> str:
    """What is wrong with a kept file; empty where nothing is."""
    if not store.has(one.sha256):
        return f"The file {one.sha256} ({one.media_type}) is missing."
    if hash_file(store.path(one.sha256)) != one.sha256:
        return f"The file {one.sha256} ({one.media_type}) has changed."
    return ""


def _chain_faults(database: Database, steps: _Steps) -> Iterator[str]:
    link: chain.Link | None = chain.Link()
    while link is not None:
        with database.reading() as session:
            fault, link = chain.check_part(session, link)
        if fault:
            yield fault
        if link is not None:
            steps.told(link.seq, 0)


def _still_standing(database: Database, file_id: int) -> bool:
    """A file that was let go while others were read is no fault."""
    with database.reading() as session:
        return session.execute(_STANDING.where(KeptFile.id == file_id)).first() is not None
