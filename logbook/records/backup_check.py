"""Whether a backup is whole and unchanged, in four stages; the first bad thing is named.

One: the manifest against its own check sum. Two: exactly the files it names,
with their sizes. Three: every file's SHA-256. Four: SQLite's own check of the
database, the trail recomputed from its first entry, its head compared with the
manifest's anchor, and every kept file of the database found in the manifest.
"""

import os
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select, text
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from logbook.records import chain, manifest
from logbook.records.backup import Progress, anchor_of
from logbook.records.files import KeptFile, hash_file
from logbook.records.manifest import DATABASE, SHARED, UNFINISHED, Item, Manifest
from logbook.records.snapshot import reading_copy
from logbook.refusals import Refused

STAGES = ("manifest", "files there", "files unchanged", "trail and database")


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check found: the sentence names the first bad thing, and ``stage`` (1 to 4) where it was found."""

    backup: Path
    manifest: Manifest | None
    stage: int
    fault: str | None

    @property
    def sound(self) -> bool:
        """Whether every stage passed."""
        return self.fault is None


def check_backup(backup: Path, *, progress: Progress = lambda _part: None) -> Checked:
    """Check one backup; never raises for what is wrong with it. ``progress`` is told 0 to 1."""
    try:
        found = manifest.read_manifest(backup)
    except Refused as refusal:
        return Checked(backup, None, 1, refusal.sentence)
    stages: tuple[Callable[[], Iterator[str]], ...] = (
        lambda: _set_faults(backup, found),
        lambda: _content_faults(backup, found, progress),
        lambda: _trail_faults(backup, found),
    )
    for number, faults in enumerate(stages, start=2):
        try:
            fault = next(faults(), None)
        except OSError as error:
            fault = f"{Path(error.filename or backup).name} cannot be read: {error.strerror}."
        if fault:
            return Checked(backup, found, number, fault)
    return Checked(backup, found, 4, None)


def _set_faults(backup: Path, found: Manifest) -> Iterator[str]:
    for item in found.items:
        yield from _item_faults(found.lies_at(backup, item), item)
    named = {item.path for item in found.items if not item.shared}
    named |= {manifest.NAME, manifest.SUM_NAME}
    for path, kind in _everything_in(backup):
        if kind != "folder" and (kind != "file" or path not in named):
            yield f"{path} lies in {backup.name} and its manifest does not name it."
    yield from _strangers(backup.parent / SHARED, _needed_beside(backup, found))


def _item_faults(path: Path, item: Item) -> Iterator[str]:
    try:
        there = path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        yield f"{item.path} is missing."
        return
    if not stat.S_ISREG(there.st_mode):
        yield f"{item.path} is not a plain file."
    elif there.st_size != item.size:
        yield f"{item.path} has {there.st_size} bytes and should have {item.size}."


def _everything_in(folder: Path) -> Iterator[tuple[str, str]]:
    """Path and kind of everything in a folder; links are named, never followed."""
    for where, folders, files in os.walk(folder):
        for name in folders + files:
            path = Path(where) / name
            mode = path.lstat().st_mode
            kind = "folder" if stat.S_ISDIR(mode) else "file" if stat.S_ISREG(mode) else "other"
            yield path.relative_to(folder).as_posix(), kind


def _needed_beside(backup: Path, found: Manifest) -> set[str] | None:
    """Kept files that any backup there names; None when one of them cannot say."""
    needed = {item.sha256 for item in found.items}
    if (backup.parent / UNFINISHED).exists():
        return None
    for other in manifest.backups_in(backup.parent):
        try:
            needed |= {item.sha256 for item in manifest.read_manifest(other).items}
        except Refused:
            return None
    return needed


def _strangers(shared: Path, needed: set[str] | None) -> Iterator[str]:
    for path, kind in _everything_in(shared):
        name = path.rpartition("/")[2]
        if kind == "folder":
            continue
        if kind != "file" or manifest.path_fault(f"files/{path}") or (needed is not None and name not in needed):
            yield f"{SHARED}/{path} belongs to no backup here."


def _content_faults(backup: Path, found: Manifest, progress: Progress) -> Iterator[str]:
    done, whole = 0, sum(item.size for item in found.items) or 1
    for item in found.items:
        progress(done / whole)
        if hash_file(found.lies_at(backup, item)) != item.sha256:
            yield f"{item.path} has changed."
        done += item.size
    progress(1)


def _trail_faults(backup: Path, found: Manifest) -> Iterator[str]:
    try:
        with reading_copy(backup / DATABASE) as session:
            answer = session.execute(text("PRAGMA integrity_check(1)")).scalar_one()
            if answer != "ok":
                yield f"The database of {backup.name} is damaged: {answer}."
            if fault := chain.first_bad(session):
                yield fault
            if anchor_of(session) != found.anchor:
                yield f"The trail in {backup.name} does not end where its manifest says."
            yield from _unnamed(session, found)
    except Refused as refusal:
        yield refusal.sentence
    except (DatabaseError, ValueError) as error:
        words = str(getattr(error, "orig", error)).splitlines()[0]
        yield f"The database of {backup.name} is damaged: {words}."


def _unnamed(session: Session, found: Manifest) -> Iterator[str]:
    """Kept files that the database counts on and the manifest does not name."""
    named = {item.sha256 for item in found.items if item.shared}
    named |= {line.partition(":")[0] for line in found.absent}
    standing = select(KeptFile.sha256, KeptFile.kind).where(KeptFile.dropped_at.is_(None)).order_by(KeptFile.id)
    for sha256, kind in session.execute(standing):
        # only what can be made anew may be left out
        if sha256 not in named and not (kind == "interlaced" and sha256 in found.left_out):
            yield f"The kept file {sha256} is on record and not in the manifest."
