"""Making a backup while the shop works.

The database is copied in one consistent state, kept files are added to a folder
that all backups share (what lies there already is not copied again), a manifest
names the exact set. Everything is written under a temporary name, synced and
renamed at the end: a backup is whole or it is not there.

What is in it: the database, originals, papers, proofs, previews, the shop's own
safety files. Left out: interlaced files, unless asked for, since each can be
made anew from its recipe and compared by its hash; files that were dropped.

How long: the newest ``keep`` backups stay. An older one goes only after a new
one is whole, and only when the new trail is sound from its first entry on and
continues that of the last backup.
"""

import hashlib
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import IO

from sqlalchemy import select
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from logbook import __version__
from logbook.records import audit, chain, manifest
from logbook.records.files import KeptFile
from logbook.records.manifest import DATABASE, PREFIX, SHARED, UNFINISHED, Anchor, Item, Manifest
from logbook.records.opened import DEMO_MARK, Shop
from logbook.records.snapshot import copy_database, reading_copy
from logbook.records.syncing import make_folder, sync_folder, write_synced
from logbook.refusals import Refused

KEEP = 14
_CHUNK = 1 << 20
Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class BackupWish:
    """Where to, how many backups stay there, and whether interlaced files come along."""

    folder: Path
    keep: int = KEEP
    with_interlaced: bool = False
    mount: Path | None = None
    """What must be mounted there, before the first byte and after the last; None: nothing."""


@dataclass(frozen=True, slots=True)
class Made:
    """A backup that is whole. ``copied`` counts files that did not lie there yet; ``size`` is everything in bytes."""

    backup: Path
    manifest: Manifest
    copied: int
    copied_bytes: int
    removed: tuple[str, ...]
    same_disk: bool

    @property
    def size(self) -> int:
        """Bytes of everything that belongs to it."""
        return sum(item.size for item in self.manifest.items)


@dataclass
class _Work:
    """A backup while it is made."""

    wish: BackupWish
    progress: Progress
    items: list[Item] = field(default_factory=list)
    absent: list[str] = field(default_factory=list)
    copied: int = 0
    copied_bytes: int = 0

    @property
    def unfinished(self) -> Path:
        return self.wish.folder / UNFINISHED


def back_up(shop: Shop, wish: BackupWish, *, now: datetime, progress: Progress = lambda _part: None) -> Made:
    """Make one backup. Refused with one sentence, earlier backups untouched, when that cannot be done.

    ``progress`` is told the part that is done, 0 to 1.
    """
    _check_destination(shop, wish)
    with shop.alone("backup") as mine:
        if not mine:
            raise Refused("Another backup is being made just now; wait until it is done.")
        snapshot = shop.store.temporary()
        try:
            _copy_state(shop, snapshot)
            return _to_folder(shop, snapshot, _Work(wish, progress), now)
        except OSError as error:
            raise Refused(
                f"The backup could not be written to {wish.folder}: {error.strerror or error}. "
                "Earlier backups there are as they were."
            ) from None
        finally:
            snapshot.unlink(missing_ok=True)


def _check_destination(shop: Shop, wish: BackupWish) -> None:
    if wish.keep < 1:
        raise Refused("At least one backup is kept.", field="keep")
    if not wish.folder.is_dir():
        raise Refused(f"The folder {wish.folder} is not there; is the stick in?", field="folder")
    _expect_mounted(wish)
    place, data = wish.folder.resolve(), shop.settings.data.resolve()
    if place == data or data in place.parents:
        raise Refused(
            "A backup inside the data folder would be lost with it; choose a folder elsewhere.", field="folder"
        )


def mount_of(folder: Path) -> Path | None:
    """The stick or disk on which a folder lies, by its mount point; None for the machine's own disk."""
    place = folder.absolute()
    found = next(one for one in (place, *place.parents) if os.path.ismount(one))
    return None if found == found.parent else found


def _expect_mounted(wish: BackupWish) -> None:
    """A stick that is not in leaves an empty folder behind, which would take a backup without a word."""
    if wish.mount is not None and not os.path.ismount(wish.mount):
        raise Refused(
            f"Nothing is mounted at {wish.mount} any more; put the stick in. No backup was made, and earlier ones are "
            "as they were.",
            field="folder",
        )


def _copy_state(shop: Shop, snapshot: Path) -> None:
    try:
        copy_database(shop.database, snapshot)
    except (sqlite3.Error, DatabaseError) as error:
        raise Refused(f"The database could not be copied: {_words(error)}. Earlier backups are as they were.") from None


def _words(error: Exception) -> str:
    """The database's own, on one line."""
    return str(getattr(error, "orig", error)).splitlines()[0]


def _to_folder(shop: Shop, snapshot: Path, work: _Work, now: datetime) -> Made:
    before = _readable(work.wish.folder)
    try:
        with reading_copy(snapshot) as session:
            anchor = anchor_of(session)
            _check_continues(session, anchor, before)
            kept = [(row.sha256, row.size, row.kind) for row in session.execute(_STANDING)]
    except (DatabaseError, ValueError) as error:
        raise Refused(_not_sound(f"its database cannot be read: {getattr(error, 'orig', error)}")) from None
    _expect_mounted(work.wish)
    _tidy(work.wish.folder)
    make_folder(work.unfinished)
    try:
        made = _written(shop, snapshot, work, anchor, kept, now)
    except BaseException:
        shutil.rmtree(work.unfinished, ignore_errors=True)
        raise
    backup = _finish(work, made)
    _check_whole(backup, made, work.wish)
    removed = _let_old_ones_go(work.wish)
    same = work.wish.folder.stat().st_dev == shop.settings.data.stat().st_dev
    return Made(backup, made, work.copied, work.copied_bytes, tuple(removed), same)


_STANDING = (
    select(KeptFile.sha256, KeptFile.size, KeptFile.kind).where(KeptFile.dropped_at.is_(None)).order_by(KeptFile.id)
)


def anchor_of(session: Session) -> Anchor:
    """Where a trail stands; Refused for one that has not begun."""
    first = session.execute(select(audit.AuditEntry.entry_hash).order_by(audit.AuditEntry.id).limit(1)).scalar()
    head = audit.head(session)
    if first is None or head.at is None:
        raise Refused("There is nothing to back up yet: the shop has no owner.")
    return Anchor(first, head.seq, head.hash, head.at.isoformat(timespec="microseconds"))


def _readable(folder: Path) -> list[tuple[Path, Manifest]]:
    """Backups whose manifest is sound, oldest first; damaged ones are never touched."""
    found = []
    for path in manifest.backups_in(folder):
        try:
            found.append((path, manifest.read_manifest(path)))
        except Refused:
            continue
    return found


def _check_continues(session: Session, anchor: Anchor, before: list[tuple[Path, Manifest]]) -> None:
    """The trail must go on from the last backup's: a damaged history never pushes out a sound one."""
    last = before[-1][1].anchor if before else None
    if last is not None and last.origin != anchor.origin:
        raise Refused("That folder holds the backups of another shop; choose another folder.", field="folder")
    if last is not None:
        wanted = select(audit.AuditEntry.entry_hash).where(audit.AuditEntry.id == last.entries)
        if session.execute(wanted).scalar() != last.head:
            raise Refused(_not_sound(f"entry {last.entries} is not the one that {before[-1][0].name} holds"))
    if fault := chain.first_bad(session):
        raise Refused(_not_sound(fault.rstrip(".")))


def _not_sound(why: str) -> str:
    return (
        f"No backup was made, so that the sound ones stay: {why}. Run 'logbook verify'; "
        "where it agrees, restore the last backup, or make one into an empty folder."
    )


def _written(
    shop: Shop, snapshot: Path, work: _Work, anchor: Anchor, kept: list[tuple[str, int, str]], now: datetime
) -> Manifest:
    wanted = [(sha256, size) for sha256, size, kind in kept if work.wish.with_interlaced or kind != "interlaced"]
    left_out = tuple(sha256 for sha256, _, kind in kept if not work.wish.with_interlaced and kind == "interlaced")
    _check_room(snapshot, wanted, work.wish.folder)
    whole = sum(size for _, size in wanted) + snapshot.stat().st_size or 1
    _copy_in(snapshot, DATABASE, work)
    for path, source in _beside(shop):
        _copy_in(source, path, work)
    done = snapshot.stat().st_size
    for sha256, size in wanted:
        work.progress(done / whole)
        _add_kept(shop, sha256, size, work)
        done += size
    made = Manifest(now, __version__, anchor, tuple(work.items), left_out, tuple(work.absent))
    content = manifest.written(made)
    write_synced(work.unfinished / manifest.NAME, content)
    write_synced(work.unfinished / manifest.SUM_NAME, manifest.sum_line(content))
    sync_folder(work.unfinished)
    work.progress(1)
    return made


def _check_room(snapshot: Path, wanted: list[tuple[str, int]], folder: Path) -> None:
    needed = snapshot.stat().st_size + sum(size for sha256, size in wanted if not _shared(folder, sha256).is_file())
    free = shutil.disk_usage(folder).free
    if needed > free:
        raise Refused(
            f"{folder} has room for {_megabytes(free)}, and this backup needs {_megabytes(needed)} more. "
            "Earlier backups there are as they were.",
            field="folder",
        )


def _megabytes(size: int) -> str:
    return f"{size / 1e6:,.1f} MB".replace(",", " ")


def _beside(shop: Shop) -> Iterator[tuple[str, Path]]:
    """The shop's own safety files, and the mark of a demo."""
    data = shop.settings.data
    for source in [data / DEMO_MARK, *sorted(shop.settings.own_safety_path.rglob("*"))]:
        if source.is_file():
            yield source.relative_to(data).as_posix(), source


def _copy_in(source: Path, path: str, work: _Work) -> None:
    if fault := manifest.path_fault(path):
        work.absent.append(f"{path}: {fault}")
        return
    target = work.unfinished / path
    make_folder(target.parent)
    sha256, size = _copied(source, target)
    work.items.append(Item(path, size, sha256))
    work.copied_bytes += size


def _add_kept(shop: Shop, sha256: str, size: int, work: _Work) -> None:
    """A kept file's bytes, unless they lie in the folder already; what the shop lost is named."""
    there = _shared(work.wish.folder, sha256)
    if not (there.is_file() and there.stat().st_size == size):
        source, target = shop.store.path(sha256), work.unfinished / "files" / sha256[:2] / sha256
        if not source.is_file():
            work.absent.append(f"{sha256}: missing in the shop")
            return
        make_folder(target.parent)
        if _copied(source, target) != (sha256, size):
            target.unlink()
            work.absent.append(f"{sha256}: changed in the shop")
            return
        work.copied, work.copied_bytes = work.copied + 1, work.copied_bytes + size
    work.items.append(Item(f"files/{sha256[:2]}/{sha256}", size, sha256))


def _shared(folder: Path, sha256: str) -> Path:
    return folder / SHARED / sha256[:2] / sha256


def _copied(source: Path, target: Path) -> tuple[str, int]:
    """Copy and sync; returns SHA-256 and size of what was read."""
    with source.open("rb") as file, target.open("xb") as out:
        told = pour(file, out)
        out.flush()
        os.fsync(out.fileno())
    return told


def pour(file: IO[bytes], out: IO[bytes], most: int | None = None) -> tuple[str, int]:
    """Copy a stream; returns SHA-256 and size. Stops one byte beyond ``most``."""
    sums, size = hashlib.sha256(), 0
    while chunk := file.read(_CHUNK if most is None else min(_CHUNK, most + 1 - size)):
        sums.update(chunk)
        size += out.write(chunk)
    return sums.hexdigest(), size


def _finish(work: _Work, made: Manifest) -> Path:
    """Files first, then the backup's own name: whoever sees the name finds everything."""
    for waiting in sorted((work.unfinished / "files").glob("*/*")):
        final = _shared(work.wish.folder, waiting.name)
        make_folder(final.parent)
        waiting.replace(final)
    for folder in (work.wish.folder / SHARED).glob("*"):
        sync_folder(folder)
    shutil.rmtree(work.unfinished / "files", ignore_errors=True)
    sync_folder(work.unfinished)
    backup = _new_name(work.wish.folder, made.made_at)
    work.unfinished.rename(backup)
    sync_folder(work.wish.folder)
    return backup


def _check_whole(backup: Path, made: Manifest, wish: BackupWish) -> None:
    """A stick that is pulled out leaves its empty place behind, where writing goes on without an error."""
    try:
        _expect_mounted(wish)
    except Refused:
        shutil.rmtree(backup, ignore_errors=True)
        raise
    for item in made.items:
        path = made.lies_at(backup, item)
        if not path.is_file() or path.stat().st_size != item.size:
            shutil.rmtree(backup, ignore_errors=True)
            raise Refused(
                f"{backup.parent} is not what it was when the backup began ({path.name} is not there); was the stick "
                "taken out? No backup was made, and earlier ones are as they were."
            )


def _new_name(folder: Path, now: datetime) -> Path:
    """The time, counted on where one of that name is there, or a later one: their order is their age."""
    name = f"{PREFIX}{now.astimezone(UTC):%Y%m%dT%H%M%S}Z"
    last = max((path.name for path in folder.glob(f"{PREFIX}*")), default="")
    if name <= last:  # the clock was set back, or two in one second
        stem, _, number = last.partition("+")
        name = f"{stem}+{int(number or 1) + 1:04d}"
    return folder / name


def _let_old_ones_go(wish: BackupWish) -> list[str]:
    old = _readable(wish.folder)[: -wish.keep]
    for path, _ in old:
        # no manifest, no backup: nobody takes half of one for a whole one
        (path / manifest.NAME).unlink()
        shutil.rmtree(path, ignore_errors=True)
    if old:
        _tidy(wish.folder)
    return [path.name for path, _ in old]


def _tidy(folder: Path) -> None:
    """What a backup that never ended left, and kept files that no backup needs any more."""
    sound = _readable(folder)
    # while one manifest cannot be read, nobody knows what it needs
    if len(sound) == len(manifest.backups_in(folder)):
        needed = {item.sha256 for _, one in sound for item in one.items if item.shared}
        for path in (folder / SHARED).glob("[0-9a-f][0-9a-f]/*"):
            if path.name not in needed:
                path.unlink()
    shutil.rmtree(folder / UNFINISHED, ignore_errors=True)
