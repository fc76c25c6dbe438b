"""Whether everything kept is still what it was: the audit trail, the database file, the kept files."""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import select, text
from sqlalchemy.exc import DatabaseError

from logbook.records import audit
from logbook.records.database import Database
from logbook.records.files import FileStore, KeptFile, hash_file


def verify(database: Database, store: FileStore) -> dict[str, Any]:
    """Recompute the chain, ask SQLite, hash every kept file; the first fault is named in ``sentence``.

    Reads in short transactions and hashes files in none, so that the shop can write meanwhile.
    """
    try:
        with database.reading() as session:
            head = audit.head(session)
            kept = [(row.id, row.sha256, row.media_type) for row in session.execute(_STANDING)]
        fault = next(_faults(database, store, kept), None)
    except (DatabaseError, ValueError) as error:
        if "locked" in str(error):  # busy, not damaged
            raise
        return damaged(error)
    return _told(head, len(kept), fault)


def damaged(error: Exception) -> dict[str, Any]:
    """What is said of a database that cannot even be read."""
    words = str(getattr(error, "orig", error)).splitlines()[0]
    return _told(audit.Head(0, audit.ORIGIN_HASH, None), 0, f"The database file is damaged: {words}.")


_STANDING = (
    select(KeptFile.id, KeptFile.sha256, KeptFile.media_type)
    .where(KeptFile.dropped_at.is_(None))
    .order_by(KeptFile.id)
)


def _told(head: audit.Head, files: int, fault: str | None) -> dict[str, Any]:
    trail = f"The trail's {head.seq} entries follow from each other"
    sound = f"{trail} and all {files} kept files are as they were. Head: {head.hash}"
    return {"sound": fault is None, "sentence": fault or sound, "entries": head.seq, "head": head.hash, "files": files}


def _faults(database: Database, store: FileStore, kept: list[tuple[int, str, str]]) -> Iterator[str]:
    yield from _chain_faults(database)
    with database.reading() as session:
        answer = session.execute(text("PRAGMA integrity_check(1)")).scalar_one()
    if answer != "ok":
        yield f"The database file is damaged: {answer}."
    for file_id, sha256, media_type in kept:
        if not store.has(sha256):
            lost = f"The file {sha256} ({media_type}) is missing."
        elif hash_file(store.path(sha256)) != sha256:
            lost = f"The file {sha256} ({media_type}) has changed."
        else:
            continue
        if _still_standing(database, file_id):
            yield lost


def _chain_faults(database: Database) -> Iterator[str]:
    link: audit.Link | None = audit.Link()
    while link is not None:
        with database.reading() as session:
            fault, link = audit.check_part(session, link)
        if fault:
            yield fault


def _still_standing(database: Database, file_id: int) -> bool:
    """A file that was let go while others were read is no fault."""
    with database.reading() as session:
        return session.execute(_STANDING.where(KeptFile.id == file_id)).first() is not None
