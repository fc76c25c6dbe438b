"""Tests that run twice: with shops whose database is a file, and with shops whose database is a server's.

``pytestmark = pytest.mark.both_databases`` makes a module one of them. On a server, ``LOGBOOK_DATABASE`` names an empty
database of the test's own, so that whatever opens a shop there opens it on the server; a small shop gets a copy of one
that was moved to the server once.
"""

import os
import shutil
from datetime import UTC, datetime
from pathlib import Path
from tempfile import mkdtemp

from logbook.actions.moving import move_to_server
from logbook.records.audit import Actor
from logbook.records.database import Database
from logbook.settings import DATABASE_VARIABLE, Settings
from support.server import Server

KINDS = ("file", "server")


class Harbour:
    """The server of a session of tests, and the shops that lie there already."""

    now: "Harbour | None" = None
    """That of the test that runs now; None for one whose shops lie in files."""

    def __init__(self, server: Server) -> None:
        self.server = server
        self._moved: dict[Path, tuple[Path, str]] = {}

    def copied(self, kept: Path, folder: Path) -> Settings:
        """A copy in ``folder`` of a shop that is ``kept`` in a file, with a database of its own on the server."""
        if kept not in self._moved:
            self._moved[kept] = self._move(kept)
        ashore, template = self._moved[kept]
        shutil.copytree(ashore, folder, dirs_exist_ok=True)
        os.environ[DATABASE_VARIABLE] = self.server.fresh(template)
        return Settings(data=folder)

    def _move(self, kept: Path) -> tuple[Path, str]:
        """Once for all of its copies."""
        ashore = Path(mkdtemp(prefix="moved-", dir=self.server.folder)) / "data"
        shutil.copytree(kept, ashore)
        address = self.server.fresh()
        by = Actor(None, "tests", "owner", datetime(2026, 3, 2, 8, tzinfo=UTC))
        move_to_server(Settings(data=ashore, database=""), address, by)
        (ashore / "logbook.sqlite").unlink()
        return ashore, address.rpartition("/")[2]


def database_at(path: Path) -> Database:
    """A database for a test of tables alone: a new file, or an empty one of the server."""
    return Database(Harbour.now.server.fresh() if Harbour.now else path)
