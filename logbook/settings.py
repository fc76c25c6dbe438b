"""Settings: where the shop's data lies and how the program was started.

One frozen object, made once by an entry point and handed down.
"""

from dataclasses import dataclass
from pathlib import Path

import platformdirs

MEGABYTE = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Settings:
    """The data folder and the limits that an owner may raise.

    ``data`` holds everything of one shop: database, kept files, own safety
    cards and step lists. ``request_bytes`` and ``upload_bytes`` bound one
    request without and with pictures.
    """

    data: Path
    request_bytes: int = MEGABYTE
    upload_bytes: int = 600 * MEGABYTE
    secure_cookies: bool = False

    @property
    def database_path(self) -> Path:
        """The SQLite file of the shop."""
        return self.data / "logbook.sqlite"

    @property
    def bell_path(self) -> Path:
        """The queue's own SQLite file; it may be lost at any time."""
        return self.data / "bell.sqlite"

    @property
    def files_path(self) -> Path:
        """Kept files, named by their SHA-256."""
        return self.data / "files"

    @property
    def own_safety_path(self) -> Path:
        """The shop's own safety cards and step lists; they win over shipped ones."""
        return self.data / "safety"


def default_data_folder() -> Path:
    """Where a shop's data lies when nobody says otherwise."""
    return Path(platformdirs.user_data_dir("lens-bench-logbook", appauthor=False))
