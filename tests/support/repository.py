"""What the project's own history tracks."""

import subprocess
from pathlib import Path


def tracked_files(root: Path) -> list[Path]:
    """Every tracked file that is there, relative to the root.

    Files that someone is still writing are not the project's yet.
    """
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=root, check=True, capture_output=True, text=True).stdout
    return [Path(name) for name in listed.split("\0") if name and (root / name).is_file()]


def text_of(path: Path) -> str | None:
    """The text of a file, or None for a binary one (it has a zero byte, as git judges)."""
    content = path.read_bytes()
    return None if b"\0" in content[:8000] else content.decode("utf-8")
