"""A shop in a PostgreSQL server's database: one writer at a time here as well.

A writer takes the shop's lock first, READ COMMITTED: every statement after it sees what the writer before it has
committed. So nothing is ever read and then changed by two at once, and no row needs a lock of its own. A reader sees
one state (REPEATABLE READ, READ ONLY) and keeps nobody waiting.

Pools between the logbook and the server must keep a connection for one client (no pooling by transaction).
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError
from sqlalchemy.orm import Session

from logbook.records.dialects import BUSY_TIMEOUT_MS, NO_ADDRESS, PATIENCE, Place
from logbook.records.dialects.postgresql_index import PostgresqlIndex
from logbook.refusals import Refused

_OLDEST = 14
"""CREATE OR REPLACE TRIGGER came with it (PostgreSQL 14 release notes)."""
LOCK = 0x1E45_B00C
"""The number of the lock that writers take, of all that a database can give out."""
_CONNECTION = {
    "connect_timeout": 5, "client_encoding": "utf8", "application_name": "logbook",
    # a server that is gone is noticed within half a minute
    "keepalives_idle": 10, "keepalives_interval": 5, "keepalives_count": 3,
}  # fmt: skip
_SESSION = (
    f"SET lock_timeout = {BUSY_TIMEOUT_MS}",
    # a machine that went away with the lock must not stop the others' day
    "SET idle_in_transaction_session_timeout = 60000",
    "SET tcp_keepalives_idle = 10",
    "SET tcp_keepalives_interval = 5",
    "SET tcp_keepalives_count = 3",
)
_TEXT_OR_NUMBER = (
    "SELECT c.relname, a.attname, format_type(a.atttypid, NULL) FROM pg_attribute a "
    "JOIN pg_class c ON c.oid = a.attrelid AND c.relkind = 'r' AND c.relnamespace = current_schema()::regnamespace "
    "LEFT JOIN pg_collation o ON o.oid = a.attcollation WHERE a.attnum > 0 AND NOT a.attisdropped "
    "AND c.relname NOT LIKE 'bell_%' AND c.relname NOT LIKE 'search_%' AND (a.atttypid = 'integer'::regtype OR "
    "a.atttypid = 'varchar'::regtype OR (a.atttypid = 'text'::regtype AND o.collname <> 'C')) ORDER BY 1, 2"
)
_REACHED = "CREATE TABLE IF NOT EXISTS audit_reached (number bigint NOT NULL, name uuid NOT NULL)"
_REFUSING = (
    "CREATE OR REPLACE FUNCTION audit_refused() RETURNS trigger LANGUAGE plpgsql AS "
    "$$ BEGIN RAISE EXCEPTION 'the audit trail is append-only'; END $$"
)
_COUNTING = (
    "CREATE OR REPLACE FUNCTION audit_counted() RETURNS trigger LANGUAGE plpgsql AS "
    "$$ BEGIN UPDATE audit_reached SET number = NEW.id WHERE number < NEW.id; RETURN NULL; END $$"
)
COUNTED = "audit_entry"
"""It numbers itself."""


class Postgresql:
    """What is PostgreSQL's own."""

    index = PostgresqlIndex()
    reading: Mapping[str, Any] = {
        "reading": True, "isolation_level": "REPEATABLE READ", "postgresql_readonly": True,
    }  # fmt: skip
    mark = "%s"

    def rows(self, session: Session, query: str, values: tuple[Any, ...]) -> list[Any]:
        """With the errors that everybody knows."""
        return list(session.connection().exec_driver_sql(query, values))

    def engine(self, place: Place) -> Engine:
        """The database's at that address; Refused for one that cannot be read as an address."""
        try:
            url = make_url(str(place)).set(drivername="postgresql+psycopg")
            given = {name: value for name, value in _CONNECTION.items() if name not in url.query}
            # a connection that a server's restart has cut is replaced before it is used
            engine = create_engine(url, connect_args=given, pool_pre_ping=True, isolation_level="READ COMMITTED")
        except (ArgumentError, ValueError):  # or a port that is no number
            raise Refused(NO_ADDRESS) from None
        except ModuleNotFoundError:
            raise Refused(
                "What talks to a PostgreSQL database is not installed here: psycopg, the extra 'postgresql' of this "
                "package."
            ) from None
        event.listen(engine, "connect", _prepare_connection)
        event.listen(engine, "begin", _begin)
        return engine

    def own_name(self, engine: Engine) -> str:
        """It stands beside the trail's number."""
        with engine.connect().execution_options(**self.reading) as connection:
            if connection.execute(text("SELECT to_regclass('audit_reached')")).scalar_one() is None:
                return ""
            return str(connection.execute(text("SELECT name FROM audit_reached")).scalar_one())

    @contextmanager
    def upgrading(self, connection: Connection) -> Iterator[None]:
        """Tables change within a transaction like anything else."""
        connection.execution_options(patience=PATIENCE * BUSY_TIMEOUT_MS)
        with connection.begin():
            yield

    def is_new(self, connection: Connection) -> bool:
        """Whether no shop is there. A PostgreSQL shop cannot be older than the first version that knew PostgreSQL.

        So the migrations before that are history of SQLite's alone; those that come after it run on both. Alembic's
        own operations do; a migration that needs SQL of its own asks ``dialect_of`` as everybody does. Raises Refused
        where something else is kept already.
        """
        if connection.execute(text("SELECT to_regclass('alembic_version')")).scalar_one() is not None:
            return False
        if int(connection.execute(text("SHOW server_version_num")).scalar_one()) < _OLDEST * 10000:
            raise Refused(f"The PostgreSQL server is too old; version {_OLDEST} or newer is needed.")
        if connection.execute(text("SELECT current_setting('server_encoding')")).scalar_one() != "UTF8":
            raise Refused("The PostgreSQL database is not in UTF-8; make one with: createdb --encoding UTF8 NAME.")
        others = "SELECT count(*) FROM pg_tables WHERE schemaname = current_schema() AND tablename NOT LIKE 'bell_%'"
        if connection.execute(text(others)).scalar_one():
            raise Refused("The PostgreSQL database holds tables of something else; name one that is empty.")
        return True

    def settle(self, connection: Connection) -> None:
        """Text of any length in the order of its letters' numbers and integers of 64 bits, as in SQLite.

        A declared length is what a form takes; a database that had another opinion would refuse what the rules let in.
        How far the trail came is a row and no sequence: a number that was rolled back was none.
        """
        changes: dict[str, list[str]] = {}
        for table, column, kind in connection.execute(text(_TEXT_OR_NUMBER)):
            meant = "bigint" if kind == "integer" else 'text COLLATE "C"'
            changes.setdefault(table, []).append(f'ALTER COLUMN "{column}" TYPE {meant}')
        for table, columns in changes.items():
            connection.exec_driver_sql(f'ALTER TABLE "{table}" {", ".join(columns)}')
        connection.exec_driver_sql(_REACHED)
        connection.exec_driver_sql(
            f"INSERT INTO audit_reached SELECT coalesce(max(id), 0), gen_random_uuid() FROM {COUNTED} "  # noqa: S608
            "HAVING NOT EXISTS (SELECT 1 FROM audit_reached)"
        )

    def keep_append_only(self, connection: Connection, tables: Sequence[str]) -> None:
        """By triggers, whoever writes and however: TRUNCATE asks no row. And the trail's number is kept."""
        connection.exec_driver_sql(_REFUSING)
        for table in tables:
            for name, event_of in _refused(table).items():
                connection.exec_driver_sql(
                    f"CREATE OR REPLACE TRIGGER {name} {event_of} EXECUTE FUNCTION audit_refused()"
                )
        connection.exec_driver_sql(_COUNTING)
        connection.exec_driver_sql(
            f"CREATE OR REPLACE TRIGGER {COUNTED}_counted AFTER INSERT ON {COUNTED} FOR EACH ROW "
            "EXECUTE FUNCTION audit_counted()"
        )

    def is_append_only(self, connection: Connection, tables: Sequence[str]) -> bool:
        """Whether they are there and not switched off."""
        wanted = {name for table in tables for name in _refused(table)} | {f"{COUNTED}_counted"}
        found = text(
            "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled = 'O' AND tgname LIKE 'audit\\_%'"
        )
        return wanted <= set(connection.execute(found).scalars())

    def broken_reference(self, connection: Connection) -> str | None:
        """There is none: the server checks each with its statement."""
        return None

    def as_bytes(self, column: str) -> str:
        """Text in UTF-8, whatever its type."""
        return f"convert_to({column}::text, 'UTF8')"

    def reached(self, at_hand: Session | Connection, table: str) -> int:
        """A sequence remembers it, and the trail's own row."""
        if table == COUNTED:
            return int(at_hand.execute(text("SELECT max(number) FROM audit_reached")).scalar_one() or 0)
        asked = f"SELECT CASE WHEN is_called THEN last_value ELSE last_value - 1 END FROM {_sequence(at_hand, table)}"  # noqa: S608 - told by the server
        return int(at_hand.execute(text(asked)).scalar_one())

    def set_reached(self, connection: Connection, table: str, number: int) -> None:
        """The next one is higher by one."""
        if table == COUNTED:
            connection.execute(text("UPDATE audit_reached SET number = :number"), {"number": number})
        told = {"sequence": _sequence(connection, table), "next": number + 1}
        connection.execute(text("SELECT setval(CAST(:sequence AS regclass), :next, false)"), told)

    def pour(self, connection: Connection, table: Any, rows: Sequence[Sequence[Any]]) -> None:
        """By COPY, several times as quick as statements."""
        names = ", ".join(f'"{column.name}"' for column in table.columns)
        raw: Any = connection.connection.dbapi_connection
        try:
            with raw.cursor() as cursor, cursor.copy(f'COPY "{table.name}" ({names}) FROM STDIN') as copy:
                for row in rows:
                    copy.write_row(row)
        except connection.dialect.loaded_dbapi.DataError as error:
            words = str(error).splitlines()[0]
            raise Refused(f"A row of {table.name} cannot go across: {words}. Nothing was kept.") from None

    @contextmanager
    def alone(self, engine: Engine, folder: Path, name: str) -> Iterator[bool]:
        """On any machine: by a lock that the server gives up with its connection."""
        told = {"kind": LOCK, "name": name}
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT", reading=True) as connection:
            taken = connection.execute(text("SELECT pg_try_advisory_lock(:kind, hashtext(:name))"), told).scalar_one()
            try:
                yield bool(taken)
            finally:
                if taken:
                    # its connection is closed and not given back: so the lock is gone whatever happened meanwhile
                    connection.invalidate()

    def size(self, session: Session, place: Place) -> int:
        """As the server measures it."""
        return int(session.execute(text("SELECT pg_database_size(current_database())")).scalar_one())


def _refused(table: str) -> dict[str, str]:
    events = {f"{table}_no_{change.lower()}": f"BEFORE {change} ON {table} FOR EACH ROW"
              for change in ("UPDATE", "DELETE")}  # fmt: skip
    return {**events, f"{table}_no_truncate": f"BEFORE TRUNCATE ON {table} FOR EACH STATEMENT"}


def _sequence(at_hand: Session | Connection, table: str) -> str:
    asked = text("SELECT pg_get_serial_sequence(:name, 'id')")
    return str(at_hand.execute(asked, {"name": table}).scalar_one())


def _prepare_connection(connection: Any, _record: Any) -> None:
    connection.adapters.register_loader("numeric", _whole_numbers())
    for words in _SESSION:
        connection.execute(words)
    connection.commit()


def _whole_numbers() -> Any:
    """The sum of large integers is numeric to the server; no column of the logbook is."""
    from psycopg.adapt import Loader

    class Whole(Loader):
        def load(self, data: Any) -> int | Decimal:
            told = Decimal(bytes(data).decode())
            return int(told) if told == int(told) else told

    return Whole


def _begin(connection: Connection) -> None:
    options = connection.get_execution_options()
    if options.get("reading", False):
        return
    if patience := options.get("patience"):
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {patience}")
    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK})")


POSTGRESQL = Postgresql()
