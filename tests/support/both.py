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
from logbook.records.copying import copy_shop
from logbook.records.database import Database
from logbook.records.opened import Shop, open_shop
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
        self._copied: dict[Path, str] = {}

    def copied(self, kept: Path, folder: Path) -> Settings:
        """A copy in ``folder`` of a shop that is ``kept`` in a file, with a database of its own on the server."""
        if kept not in self._moved:
            self._moved[kept] = self._move(kept)
        ashore, template = self._moved[kept]
        shutil.copytree(ashore, folder, dirs_exist_ok=True)
        os.environ[DATABASE_VARIABLE] = self.server.fresh(template)
        return Settings(data=folder)

    def kept_as_it_is(self) -> str:
        """A database like that of the running test, to be put back in other tests; nobody is connected to it."""
        return self.server.fresh(_name(os.environ[DATABASE_VARIABLE]), keep=True)

    def put_back(self, kept: str) -> None:
        """Let the running test's database be like one that was kept."""
        name = _name(os.environ[DATABASE_VARIABLE])
        self.server.tell(f"DROP DATABASE {name} WITH (FORCE)")
        self.server.tell(f"CREATE DATABASE {name} TEMPLATE {_name(kept)}")

    def template(self, kept: Path) -> str:
        """The address of a new database with the rows of one that is kept in a file."""
        if kept not in self._copied:
            self._copied[kept] = self.server.fresh(keep=True)
            source, target = Database(kept), Database(self._copied[kept])
            with (
                source.engine.connect() as old, old.begin(), target.engine.connect() as new,
                target.dialect.upgrading(new),
            ):  # fmt: skip
                copy_shop(old, new)
            source.close()
            target.close()
        return self.server.fresh(_name(self._copied[kept]))

    def _move(self, kept: Path) -> tuple[Path, str]:
        """Once for all of its copies."""
        ashore = Path(mkdtemp(prefix="moved-", dir=self.server.folder)) / "data"
        shutil.copytree(kept, ashore)
        address = self.server.fresh(keep=True)
        by = Actor(None, "tests", "owner", datetime(2026, 3, 2, 8, tzinfo=UTC))
        move_to_server(Settings(data=ashore, database=""), address, by)
        (ashore / "logbook.sqlite").unlink()
        return ashore, _name(address)


def _name(address: str) -> str:
    return address.rpartition("/")[2]


def copy_of(kept: Path, folder: Path) -> Database:
    """The database that is kept in a closed file, where the test wants it."""
    return Database(Harbour.now.template(kept) if Harbour.now else Path(shutil.copy(kept, folder)))


def database_at(path: Path) -> Database:
    """A database for a test of tables alone: a new file, or an empty one of the server."""
    return Database(Harbour.now.server.fresh() if Harbour.now else path)


def opened_copy(kept: Path, folder: Path) -> Shop:
    """The shop that is kept in a closed file, in a folder of the test's own and where the test wants its database."""
    if Harbour.now:
        return open_shop(Harbour.now.copied(kept, folder))
    shutil.copytree(kept, folder, dirs_exist_ok=True)
    return open_shop(Settings(data=folder))
