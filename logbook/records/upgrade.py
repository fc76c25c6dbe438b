"""Bringing a database to this version's schema: all of it or nothing.

``python -m logbook.records.upgrade "what changes"`` writes a new migration from
the difference between the tables and the migrations; read it before keeping it.
"""

import sys
import tempfile
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Connection, text

from logbook.records.audit import APPEND_ONLY_TABLES
from logbook.records.database import Database
from logbook.refusals import Refused


def upgrade(database: Database) -> None:
    """Apply every missing migration in one transaction, then check what must hold.

    Raises Refused when foreign keys are broken afterwards; nothing is kept then.
    """
    from alembic import command

    with database.engine.connect() as connection:
        # outside the transaction: otherwise a rebuilt table deletes its children
        _set_foreign_keys(connection, "OFF")
        try:
            with connection.begin():
                command.upgrade(_config(connection), "head")
                _keep_append_only(connection)
                _check_foreign_keys(connection)
        finally:
            _set_foreign_keys(connection, "ON")


def _set_foreign_keys(connection: Connection, state: str) -> None:
    raw: Any = connection.connection.dbapi_connection
    raw.execute(f"PRAGMA foreign_keys = {state}").close()


def _config(connection: Connection | None) -> Any:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "logbook:records/migrations")
    config.attributes["connection"] = connection
    return config


def _keep_append_only(connection: Connection) -> None:
    """Triggers that refuse to change the trail; made anew at every start, since a table rebuild would lose them."""
    for table in APPEND_ONLY_TABLES:
        for change in ("UPDATE", "DELETE"):
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
