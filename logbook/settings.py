"""Settings: where the shop's data lies and how the program was started.

One frozen object, made once by an entry point and handed down.
"""

import os
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import platformdirs

MEGABYTE = 1024 * 1024
DATABASE_VARIABLE = "LOGBOOK_DATABASE"


@dataclass(frozen=True, slots=True)
class Settings:
    """The data folder and the limits that an owner may raise.

    ``data`` holds everything of one shop: database, kept files, own safety
    cards and step lists. ``request_bytes`` and ``upload_bytes`` bound one
    request without and with pictures. ``database`` is the address of a
    PostgreSQL database in the words of its own library
    (``postgresql://name@machine/database``); empty for a file in the data
    folder. It may hold a password, so it comes from the environment, is shown
    to nobody, and every process that is started inherits it.
    """

    data: Path
    request_bytes: int = MEGABYTE
    upload_bytes: int = 600 * MEGABYTE
    secure_cookies: bool = False
    database: str = field(default_factory=lambda: os.environ.get(DATABASE_VARIABLE, ""), repr=False)

    @property
    def place(self) -> Path | str:
        """Where the database is: a file's path, or an address."""
        return self.database or self.database_path

    @property
    def place_in_words(self) -> str:
        """For sentences: no name and no password."""
        return f"at {without_secrets(self.database)}" if self.database else f"in {self.data}"

    @property
    def database_path(self) -> Path:
        """The SQLite file of the shop."""
        return self.data / "logbook.sqlite"

    @property
    def bell_path(self) -> Path:
        """The queue's own SQLite file; it may be lost at any time."""
        return self.data / "bell.sqlite"

    @property
    def mark_path(self) -> Path:
        """Stands in the data folder of a shop whose database is a server's: says which one's by its first entry."""
        return self.data / "database-of-this-folder"

    @property
    def files_path(self) -> Path:
        """Kept files, named by their SHA-256."""
        return self.data / "files"

    @property
    def own_safety_path(self) -> Path:
        """The shop's own safety cards and step lists; they win over shipped ones."""
        return self.data / "safety"


def without_secrets(address: str) -> str:
    """An address of a database as it may be shown: machine and name."""
    try:
        parts = urlsplit(address)
        port = f":{parts.port}" if parts.port else ""
    except ValueError:
        return "the address given"
    return f"{parts.hostname or 'this machine'}{port}{parts.path}"


def default_data_folder() -> Path:
    """Where a shop's data lies when nobody says otherwise."""
    return Path(platformdirs.user_data_dir("lens-bench-logbook", appauthor=False))
