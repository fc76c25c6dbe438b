"""Writing that lasts: bytes and the names of files and folders are on the disk before anybody counts on them."""

import os
from pathlib import Path


def sync_folder(folder: Path) -> None:
    """Make the names in a folder last."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def make_folder(folder: Path) -> None:
    """Make it where it is missing, and its name as lasting as what will lie in it."""
    if not folder.is_dir():
        folder.mkdir(parents=True, exist_ok=True)
        sync_folder(folder.parent)


def write_synced(path: Path, content: bytes) -> None:
    """A small file, on the disk when this returns."""
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
