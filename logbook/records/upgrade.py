"""Bringing a database to this version's schema: all of it or nothing.

``python -m logbook.records.upgrade "what changes"`` writes a new migration from
the difference between the tables and the migrations; read it before keeping it.
"""

import sys
import tempfile
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Connection, text

from logbook.records import search
from logbook.records.audit import APPEND_ONLY_TABLES
from logbook.records.database import BUSY_TIMEOUT_MS, Database
from logbook.refusals import Refused

_CHANGES = ("UPDATE", "DELETE")


def upgrade(database: Database) -> None:
    """Apply every missing migration in one transaction, then check what must hold; nothing to do asks for no lock.

    Raises Refused when foreign keys are broken afterwards, or for a newer version's database; nothing is kept then.
    """
    if _is_current(database):
        return
    with database.engine.connect() as connection:
        # another process may be at it, and a first migration takes its time
        _wait_up_to(connection, PATIENCE * BUSY_TIMEOUT_MS)
        # outside the transaction: otherwise a rebuilt table deletes its children
        _set_foreign_keys(connection, "OFF")
        try:
            with connection.begin():
                _migrate(connection)
                _keep_append_only(connection)
                search.keep(connection)
                _check_foreign_keys(connection)
        finally:
            _set_foreign_keys(connection, "ON")
            _wait_up_to(connection, BUSY_TIMEOUT_MS)


PATIENCE = 12


def _migrate(connection: Connection) -> None:
    from alembic import command
    from alembic.util import CommandError

    try:
        command.upgrade(_config(connection), "head")
    except CommandError:
        raise Refused(
            "This database was written by a newer version of the logbook; it was left as it was. Start that version."
        ) from None


def _is_current(database: Database) -> bool:
    from alembic.migration import MigrationContext
    from alembic.script import ScriptDirectory

    with database.engine.connect().execution_options(reading=True) as connection:
        newest = ScriptDirectory.from_config(_config(connection)).get_current_head()
        triggers = text("SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'audit_%_no_%'")
        return (
            MigrationContext.configure(connection).get_current_revision() == newest
            and connection.execute(triggers).scalar_one() == len(APPEND_ONLY_TABLES) * len(_CHANGES)
            and search.is_kept(connection)
        )


def _set_foreign_keys(connection: Connection, state: str) -> None:
    _pragma(connection, f"foreign_keys = {state}")


def _wait_up_to(connection: Connection, milliseconds: int) -> None:
    _pragma(connection, f"busy_timeout = {milliseconds}")


def _pragma(connection: Connection, words: str) -> None:
    raw: Any = connection.connection.dbapi_connection
    raw.execute(f"PRAGMA {words}").close()


def _config(connection: Connection | None) -> Any:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "logbook:records/migrations")
    config.attributes["connection"] = connection
    return config


def _keep_append_only(connection: Connection) -> None:
    """Triggers that refuse to change the trail; made anew at every start, since a table rebuild would lose them."""
    for table in APPEND_ONLY_TABLES:
        for change in _CHANGES:
            connection.execute(
                text(
                    f"CREATE TRIGGER IF NOT EXISTS {table}_no_{change.lower()} BEFORE {change} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, 'the audit trail is append-only'); END"
                )
            )


def _check_foreign_keys(connection: Connection) -> None:
    if broken := connection.execute(text("PRAGMA foreign_key_check")).first():
        raise Refused(f"The database has a broken reference in table {broken[0]}; it was left as it was.")


def render_item(kind: str, item: Any, _context: Any) -> str | Literal[False]:
    """How our own column types are written in a migration."""
    if kind == "type" and type(item).__module__ == "logbook.records.base":
        return f"logbook.records.base.{type(item).__name__}()"
    return False


def _write_migration(message: str) -> None:
    from alembic import command

    with tempfile.TemporaryDirectory() as folder:
        database = Database(Path(folder) / "empty.sqlite")
        upgrade(database)
        with database.engine.connect() as connection:
            command.revision(_config(connection), message=message, autogenerate=True)


if __name__ == "__main__":
    _write_migration(sys.argv[1])
