"""Drawn views: images that pages show and that are drawn anew whenever they are missing.

They stand in no row and in no backup. A view's name is the hash of everything it
was drawn from, so that another picture or another run never finds it.
"""

import hashlib
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from logbook.records.files import FileStore

MOST_KEPT = 400
"""The ones that nobody looked at for longest go first."""


def name_of(*parts: str) -> str:
    """The name of a view that was drawn from these; 32 hex digits."""
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:32]


def drawn(store: FileStore, name: str, draw: Callable[[], bytes]) -> bytes:
    """The view of that name, drawn now if it is not there; where nothing can be written it is only shown."""
    path = _folder(store) / f"{name}.jpg"
    with suppress(OSError):
        content = path.read_bytes()
        path.touch()
        return content
    content = draw()
    with suppress(OSError):
        _keep(store, path, content)
    return content


def _keep(store: FileStore, path: Path, content: bytes) -> None:
    path.parent.mkdir(exist_ok=True)
    temporary = store.temporary()
    try:
        temporary.write_bytes(content)
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)
    for old in sorted(path.parent.glob("*.jpg"), key=_looked_at, reverse=True)[MOST_KEPT:]:
        old.unlink(missing_ok=True)


def _looked_at(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except FileNotFoundError:  # another process was quicker
        return 0


def clear(store: FileStore) -> None:
    """Delete all of them: what was forgotten must not live on in a view, and at start-up nobody knows what was."""
    for path in _folder(store).glob("*.jpg"):
        path.unlink(missing_ok=True)


def _folder(store: FileStore) -> Path:
    return store.folder / "drawn"
