"""Whether everything kept is still what it was: the audit trail, the stages, the files."""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from logbook.records import audit
from logbook.records.files import FileStore, KeptFile, hash_file


def verify(session: Session, store: FileStore) -> dict[str, Any]:
    """Recompute the chain, ask SQLite, hash every kept file; the first fault is named in ``sentence``."""
    head = audit.head(session)
    fault = next(_faults(session, store), None)
    files = len(list(session.execute(select(KeptFile.id).where(KeptFile.dropped_at.is_(None)))))
    trail = f"The trail's {head.seq} entries follow from each other"
    sound = f"{trail} and all {files} kept files are as they were. Head: {head.hash}"
    return {"sound": fault is None, "sentence": fault or sound, "entries": head.seq, "head": head.hash, "files": files}


def _faults(session: Session, store: FileStore) -> Iterator[str]:
    if bad := audit.first_bad(session):
        yield bad
    answer = session.execute(text("PRAGMA integrity_check(1)")).scalar_one()
    if answer != "ok":
        yield f"The database file is damaged: {answer}."
    for kept in session.execute(select(KeptFile).where(KeptFile.dropped_at.is_(None)).order_by(KeptFile.id)).scalars():
        if not store.has(kept.sha256):
            yield f"The file {kept.sha256} ({kept.media_type}) is missing."
        elif hash_file(store.path(kept.sha256)) != kept.sha256:
            yield f"The file {kept.sha256} ({kept.media_type}) has changed."
