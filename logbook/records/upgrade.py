"""Bringing a database to this version's schema: all of it or nothing.

``python -m logbook.records.upgrade "what changes"`` writes a new migration from
the difference between the tables and the migrations; read it before keeping it.
"""

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Connection

from logbook.records import search
from logbook.records.audit import APPEND_ONLY_TABLES
from logbook.records.database import Database
from logbook.records.dialects import dialect_of
from logbook.refusals import Refused


def upgrade(database: Database) -> None:
    """Apply every missing migration in one transaction, then check what must hold; nothing to do asks for no lock.

    Raises Refused when foreign keys are broken afterwards, or for a newer version's database; nothing is kept then.
    """
    if _is_current(database):
        return
    with database.engine.connect() as connection, database.dialect.upgrading(connection):
        bring_up(connection)


def bring_up(connection: Connection, fill: Callable[[], None] = lambda: None) -> None:
    """Part of a transaction: every table, then what ``fill`` puts there, then what must hold for it."""
    dialect = dialect_of(connection)
    _migrate(connection)
    dialect.settle(connection)
    fill()
    dialect.keep_append_only(connection, APPEND_ONLY_TABLES)
    search.keep(connection)
    if broken := dialect.broken_reference(connection):
        raise Refused(f"The database has a broken reference in table {broken}; it was left as it was.")


def make_new(connection: Connection) -> None:
    """Every table in one piece, as if all migrations had been made."""
    from alembic import command

    from logbook.records.tables import Base

    Base.metadata.create_all(connection)
    command.stamp(_config(connection), "head")


def _migrate(connection: Connection) -> None:
    from alembic import command
    from alembic.util import CommandError

    if dialect_of(connection).is_new(connection):
        make_new(connection)
    try:
        command.upgrade(_config(connection), "head")
    except CommandError:
        raise Refused(
            "This database was written by a newer version of the logbook; it was left as it was. Start that version."
        ) from None


def _is_current(database: Database) -> bool:
    from alembic.migration import MigrationContext
    from alembic.script import ScriptDirectory

    with database.engine.connect().execution_options(**database.dialect.reading) as connection:
        newest = ScriptDirectory.from_config(_config(connection)).get_current_head()
        return (
            MigrationContext.configure(connection).get_current_revision() == newest
            and database.dialect.is_append_only(connection, APPEND_ONLY_TABLES)
            and search.is_kept(connection)
        )


def _config(connection: Connection | None) -> Any:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "logbook:records/migrations")
    config.attributes["connection"] = connection
    return config


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
