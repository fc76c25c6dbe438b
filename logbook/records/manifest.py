"""What a backup says of itself: every file with size and SHA-256, and an anchor of the trail.

A backup is a folder ``logbook-backup-…`` with the database, the shop's own
safety files and this manifest. Kept files lie beside the backups in one folder
``logbook-files``, each once, under their SHA-256: a manifest names all that
belong to its backup. A file of check sums, in the form that the common tools
read, guards the manifest itself.

A manifest may come from anybody: it is read with suspicion, and a path that is
not one of the few kinds a backup holds is refused before anything is opened.
"""

import hashlib
import json
import os
import re
import stat
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from logbook.refusals import Refused

FORMAT = "lens-bench-logbook/backup/1"
NAME, SUM_NAME = "manifest.json", "manifest.sha256"
DATABASE = "logbook.sqlite"
SHARED = "logbook-files"
PREFIX, UNFINISHED = "logbook-backup-", "logbook-unfinished"
MOST_MANIFEST_BYTES = 512 * 1024 * 1024
MOST_NAME_BYTES = 200

_HASH = re.compile(r"[0-9a-f]{64}")
_KEPT = re.compile(r"files/([0-9a-f]{2})/(\1[0-9a-f]{62})")
_PLAIN = ("logbook.sqlite", "this-is-a-demo")


@dataclass(frozen=True, slots=True)
class Item:
    """One file of a backup: its path in a data folder, its size in bytes, its SHA-256."""

    path: str
    size: int
    sha256: str

    @property
    def shared(self) -> bool:
        """Whether it is a kept file, which all backups in a folder share."""
        return self.path.startswith("files/")


@dataclass(frozen=True, slots=True)
class Anchor:
    """Where the trail stood: hash of its first entry, number of entries, hash and time of the last one."""

    origin: str
    entries: int
    head: str
    at: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """Everything a backup says of itself.

    ``left_out`` are hashes of interlaced files that can be made anew;
    ``absent`` names what the shop itself had lost when the backup was made.
    """

    made_at: datetime
    version: str
    anchor: Anchor
    items: tuple[Item, ...]
    left_out: tuple[str, ...] = ()
    absent: tuple[str, ...] = ()

    def lies_at(self, backup: Path, item: Item) -> Path:
        """Where the bytes of an item of this backup lie."""
        if item.shared:
            return backup.parent / SHARED / item.path.removeprefix("files/")
        return backup / item.path


def path_fault(path: str) -> str | None:
    """Why a path has no place in a backup; None for one that has.

    Only the database, the demo's mark, kept files under their hash and the
    shop's own safety files are known, so nothing can point outside a folder.
    """
    if path in _PLAIN or _KEPT.fullmatch(path):
        return None
    parts = path.split("/")
    if path.startswith("/") or "\\" in path or ":" in path:
        return "is not a path within a data folder"
    if any(part in ("", ".", "..") for part in parts):
        return "leads out of its folder"
    if parts[0] != "safety" or len(parts) < 2:
        return "is no file that a backup holds"
    if not all(part.isprintable() and len(part.encode()) <= MOST_NAME_BYTES for part in parts) or len(parts) > 8:
        return "has a name that cannot be kept"
    return None


def written(manifest: Manifest) -> bytes:
    """A manifest as the bytes of its file."""
    told = {
        "format": FORMAT,
        "made_at": manifest.made_at.astimezone(UTC).isoformat(timespec="microseconds"),
        "version": manifest.version,
        "anchor": asdict(manifest.anchor),
        "files": [asdict(item) for item in manifest.items],
        "left_out": list(manifest.left_out),
        "absent": list(manifest.absent),
    }
    return json.dumps(told, indent=1, ensure_ascii=False).encode()


def sum_line(content: bytes) -> bytes:
    """The line of check sums that lies beside a manifest."""
    return f"{hashlib.sha256(content).hexdigest()}  {NAME}\n".encode()


def read_manifest(backup: Path) -> Manifest:
    """A backup's manifest, its own check sum compared; Refused with what is wrong."""
    content = _read_plain(backup / NAME, MOST_MANIFEST_BYTES)
    if _read_plain(backup / SUM_NAME, 1000) != sum_line(content):
        raise Refused(f"The manifest of {backup.name} does not match its own check sum.")
    try:
        return _parsed(json.loads(content, object_pairs_hook=_no_key_twice))
    except (ValueError, TypeError, KeyError, RecursionError, AttributeError) as error:
        words = error.sentence if isinstance(error, Refused) else "it cannot be read"
        raise Refused(f"The manifest of {backup.name} is none that this version knows: {words}.") from None


def _read_plain(path: Path, most: int) -> bytes:
    """The bytes of a regular file, never through a link; Refused for everything else."""
    try:
        found = path.lstat()
        if not stat.S_ISREG(found.st_mode):
            raise Refused(f"{path.name} of {path.parent.name} is not a plain file.")
        if found.st_size > most:
            raise Refused(f"{path.name} of {path.parent.name} is too large to be read.")
        with os.fdopen(os.open(path, os.O_RDONLY | os.O_NOFOLLOW), "rb") as file:
            return file.read(most + 1)
    except FileNotFoundError:
        raise Refused(f"{path.parent.name} is no backup, or not a whole one: {path.name} is missing.") from None
    except OSError as error:
        raise Refused(f"{path.name} of {path.parent.name} cannot be read: {error.strerror}.") from None


def _no_key_twice(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise Refused("a word stands there twice")
    return found


def _parsed(told: dict[str, Any]) -> Manifest:
    if told["format"] != FORMAT:
        raise Refused(f"its format is {str(told['format'])[:60]!r}")
    made_at = datetime.fromisoformat(told["made_at"])
    if made_at.tzinfo is None:
        raise Refused("its time has no zone")
    items = tuple(_item(one) for one in told["files"])
    _check_paths(items)
    anchor = Anchor(**told["anchor"])
    if not (_is_hash(anchor.origin) and _is_hash(anchor.head) and type(anchor.entries) is int):
        raise Refused("its anchor is not readable")
    left_out = tuple(told["left_out"])
    if not all(_is_hash(one) for one in left_out):
        raise Refused("what it left out is not named by hashes")
    return Manifest(made_at, str(told["version"]), anchor, items, left_out, tuple(map(str, told["absent"])))


def _item(told: dict[str, Any]) -> Item:
    item = Item(**told)
    if not isinstance(item.path, str) or type(item.size) is not int or item.size < 0 or not _is_hash(item.sha256):
        raise Refused("one of its files is not described by path, size and hash")
    return item


def _is_hash(value: Any) -> bool:
    return isinstance(value, str) and _HASH.fullmatch(value) is not None


def _check_paths(items: tuple[Item, ...]) -> None:
    seen: set[str] = set()
    for item in items:
        if fault := path_fault(item.path):
            raise Refused(f"{item.path[:120]!r} {fault}")
        if item.shared and not item.path.endswith(item.sha256):
            raise Refused(f"{item.path!r} is not named by its hash")
        # some file systems do not tell A from a
        if item.path.casefold() in seen:
            raise Refused(f"{item.path!r} stands there twice")
        seen.add(item.path.casefold())
    if DATABASE not in seen:
        raise Refused("the database is not among its files")


def backups_in(folder: Path) -> list[Path]:
    """The finished backups in a folder, oldest first: their names tell the time."""
    return sorted(path for path in folder.glob(f"{PREFIX}*") if path.is_dir() and not path.is_symlink())


def newest_in(folder: Path) -> Path:
    """The backup that is meant: the folder itself, or the newest one in it; Refused where there is none."""
    if not folder.is_dir():
        raise Refused(f"There is no folder {folder}.")
    if (folder / NAME).exists() or folder.name.startswith(PREFIX):
        return folder
    found = backups_in(folder)
    if not found:
        raise Refused(f"There is no backup in {folder}.")
    return found[-1]
