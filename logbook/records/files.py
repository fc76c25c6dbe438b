"""Kept files: stored under their SHA-256, written whole or not at all.

Three classes: *record* (originals and papers: kept), *preview* (proofs and
small pictures: can be made anew), *interlaced* (large output: may be dropped
after shipping; its recipe and hash stay, and it can be made anew).
"""

import hashlib
import os
import re
import secrets
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path
from typing import IO

from sqlalchemy import String, Text, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from logbook.faults import fault
from logbook.records.base import Base, UtcTime, one_of
from logbook.records.syncing import make_folder, sync_folder

_CHUNK = 1 << 20
_HELD = "held-"
_WORD = re.compile(r"[0-9a-f]{32}")


class KeptFile(Base):
    """One stored file; the bytes lie in the files folder under ``sha256``."""

    __tablename__ = "kept_file"
    __table_args__ = (one_of("kind", "record", "preview", "interlaced"), {"sqlite_autoincrement": True})

    sha256: Mapped[str] = mapped_column(String(64), unique=True)
    size: Mapped[int]
    media_type: Mapped[str] = mapped_column(String(80))
    kind: Mapped[str] = mapped_column(String(20))
    kept_at: Mapped[datetime] = mapped_column(UtcTime)
    dropped_at: Mapped[datetime | None] = mapped_column(UtcTime)
    recipe: Mapped[str | None] = mapped_column(Text)
    """JSON: how to make the file anew; None for originals."""


class FileStore:
    """The files folder of one shop."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha256: str) -> Path:
        """Where the bytes of a hash lie, whether or not they are there."""
        return self.folder / sha256[:2] / sha256

    def has(self, sha256: str) -> bool:
        """Whether the bytes are there."""
        return self.path(sha256).is_file()

    def temporary(self) -> Path:
        """A new name in the store's own temporary folder; swept at start-up when left behind."""
        waiting = self.folder / "incoming"
        waiting.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=waiting)
        os.close(handle)
        return Path(name)

    def put(self, stream: IO[bytes]) -> tuple[str, int]:
        """Store a stream; returns its SHA-256 and size in bytes."""
        temporary = self.receive(stream)
        try:
            return self.adopt(temporary)
        finally:
            temporary.unlink(missing_ok=True)

    def receive(self, stream: IO[bytes]) -> Path:
        """A stream's bytes in a temporary file, which the caller adopts or deletes."""
        temporary = self.temporary()
        try:
            with temporary.open("wb") as out:
                while chunk := stream.read(_CHUNK):
                    out.write(chunk)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
        return temporary

    def hold(self, temporary: Path) -> str:
        """Hold a received file for the next try of the form it came with; returns the word that claims it.

        Nobody has to give it back: it is swept as any other temporary file.
        """
        word = secrets.token_hex(16)
        held = temporary.with_name(f"{_HELD}{word}")
        temporary.replace(held)
        held.touch()
        return word

    def held(self, word: str) -> Path | None:
        """Where a held file lies; None where it was swept, or nothing was ever held under this word."""
        path = self.folder / "incoming" / f"{_HELD}{word}"
        return path if _WORD.fullmatch(word) and path.is_file() else None

    def claim(self, word: str) -> Path | None:
        """A held file as a temporary one again; None where it was swept, or nothing was ever held under this word."""
        if not _WORD.fullmatch(word):
            return None
        temporary = self.temporary()
        try:
            return temporary.with_name(f"{_HELD}{word}").replace(temporary)
        except FileNotFoundError:
            temporary.unlink()
            return None

    def drop(self, sha256: str) -> None:
        """Delete the bytes of a hash; the row says when and how to make them anew."""
        self.path(sha256).unlink(missing_ok=True)

    def adopt(self, temporary: Path) -> tuple[str, int]:
        """Take a finished temporary file into the store under its hash."""
        sha256 = hash_file(temporary)
        size = temporary.stat().st_size
        final = self.path(sha256)
        make_folder(final.parent)
        with temporary.open("rb+") as whole:
            os.fsync(whole.fileno())
        fault("synced")
        temporary.replace(final)
        fault("renamed")
        sync_folder(final.parent)
        fault("folder-synced")
        return sha256, size

    def hashes(self) -> set[str]:
        """Every hash whose bytes lie here."""
        return {path.name for path in self.folder.glob("[0-9a-f][0-9a-f]/*")}

    def sweep(self, *, idle: timedelta = timedelta(0)) -> int:
        """Delete temporary files that a crash left behind; returns how many.

        ``idle`` spares what was written to within that time: another process may be at it.
        """
        left = [path for path in (self.folder / "incoming").glob("*") if _idle_seconds(path) >= idle.total_seconds()]
        for path in left:
            path.unlink(missing_ok=True)
        return len(left)


def _idle_seconds(path: Path) -> float:
    try:
        return abs(time.time() - path.stat().st_mtime)  # a clock that was set back must not keep it for ever
    except FileNotFoundError:  # its own process was quicker
        return 0


def keep(
    session: Session, *, sha256: str, size: int, media_type: str, kind: str, now: datetime, recipe: str | None = None
) -> KeptFile:
    """The row for stored bytes; the same bytes are kept once, and as a record as soon as they are one."""
    known = session.execute(select(KeptFile).where(KeptFile.sha256 == sha256)).scalar_one_or_none()
    if known is None:
        known = KeptFile(sha256=sha256, size=size, media_type=media_type, kind=kind, kept_at=now, recipe=recipe)
        session.add(known)
        session.flush()
    known.dropped_at = None
    if kind == "record":
        known.kind = kind
    return known


def sweep_orphans(session: Session, store: FileStore) -> int:
    """Delete bytes that no row knows, left when an act was refused after its file was drawn; returns how many.

    Only at start-up, and only what is older than an hour: a separate worker may
    be between storing its file and recording it.
    """
    kept = set(session.execute(select(KeptFile.sha256).where(KeptFile.dropped_at.is_(None))).scalars())
    orphans = {sha256 for sha256 in store.hashes() - kept if _idle_seconds(store.path(sha256)) > 3600}
    for sha256 in orphans:
        store.drop(sha256)
    return len(orphans)


def hash_file(path: Path) -> str:
    """SHA-256 of a file's bytes, in hex."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
