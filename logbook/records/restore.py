"""Bringing a backup back: into an empty folder, by its manifest only.

The backup is checked in all four stages first. Then only what the manifest
names is copied, each file opened without following links, cut off at the size
that the manifest gives and compared by its hash once more. The database comes
last: a restore that was broken off leaves no folder that looks like a shop.
"""

import os
import shutil
import stat
from dataclasses import dataclass
from pathlib import Path

from logbook.records.backup import Progress, pour
from logbook.records.backup_check import check_backup
from logbook.records.manifest import DATABASE, Item, Manifest
from logbook.records.syncing import make_folder, sync_folder
from logbook.refusals import Refused


@dataclass(frozen=True, slots=True)
class Restored:
    """A folder that holds what a backup held."""

    folder: Path
    manifest: Manifest


def restore_files(backup: Path, folder: Path, *, progress: Progress = lambda _part: None) -> Restored:
    """Copy a backup into a missing or empty folder; Refused with nothing left behind when anything is wrong."""
    _check_empty(folder)
    checked = check_backup(backup, progress=lambda part: progress(part / 2))
    if checked.manifest is None or checked.fault:
        raise Refused(f"Nothing was restored. {checked.fault}")
    was_there = folder.is_dir()
    try:
        _check_room(folder, checked.manifest)
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        _copy_all(backup, folder, checked.manifest, progress)
    except OSError as error:
        _leave_nothing(folder, was_there)
        raise Refused(f"It could not be restored into {folder}: {error.strerror or error}.") from None
    except BaseException:
        _leave_nothing(folder, was_there)
        raise
    return Restored(folder, checked.manifest)


def _check_empty(folder: Path) -> None:
    try:
        if folder.is_symlink() or (folder.exists() and (not folder.is_dir() or any(folder.iterdir()))):
            raise Refused(f"{folder} is not an empty folder; a restore never writes over anything.", field="folder")
    except OSError as error:
        raise Refused(f"{folder} cannot be used: {error.strerror}.", field="folder") from None


def _check_room(folder: Path, found: Manifest) -> None:
    there = next(place for place in (folder, *folder.absolute().parents) if place.is_dir())
    needed, free = sum(item.size for item in found.items), shutil.disk_usage(there).free
    if needed > free:
        raise Refused(f"{folder} has room for {free / 1e6:.1f} MB, and this backup needs {needed / 1e6:.1f} MB.")


def _copy_all(backup: Path, folder: Path, found: Manifest, progress: Progress) -> None:
    done, whole = 0, sum(item.size for item in found.items) or 1
    for item in sorted(found.items, key=lambda one: one.path == DATABASE):
        progress(0.5 + done / whole / 2)
        _copy_one(found.lies_at(backup, item), folder / item.path, item)
        done += item.size
    sync_folder(folder)
    progress(1)


def _copy_one(source: Path, target: Path, item: Item) -> None:
    make_folder(target.parent)
    handle = os.open(source, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    with os.fdopen(handle, "rb") as file, target.open("xb") as out:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise Refused(f"Nothing was restored. {item.path} is not a plain file.")
        told = pour(file, out, item.size)
        out.flush()
        os.fsync(out.fileno())
    if told != (item.sha256, item.size):
        raise Refused(f"Nothing was restored. {item.path} changed while it was read.")


def _leave_nothing(folder: Path, was_there: bool) -> None:
    for path in folder.iterdir() if folder.is_dir() else ():
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    if folder.is_dir() and not was_there:
        folder.rmdir()
