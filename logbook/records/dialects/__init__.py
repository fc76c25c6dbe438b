"""What differs between the two databases a shop may lie in: SQLite's file, or PostgreSQL for a shop that outgrew it.

Everything else in these rooms is written once, in SQL that both understand. A dialect is asked for by what is at
hand: a place (``dialect_for``), a session or a connection (``dialect_of``).
"""

from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from sqlalchemy import Connection, Engine
from sqlalchemy.orm import Session

from logbook.refusals import Refused

BUSY_TIMEOUT_MS = 5000
"""How long a writer waits for the one before it."""
PATIENCE = 12
"""How many times as long an upgrade waits: another process may be at it, and a first one takes its time."""
SCHEME = "postgresql://"
Place = Path | str
"""A file's path, or an address that begins with ``postgresql://``."""


NO_ADDRESS = "The address of the database does not read like postgresql://name@machine/database."


class Trigger(NamedTuple):
    """Statements that run with a change of a row; ``event`` and ``when`` in the words of ``CREATE TRIGGER``."""

    name: str
    event: str
    statements: Sequence[str]
    when: str = ""


class Index(Protocol):
    """How the index behind the search box is kept (see ``records.search``): its tables have a place and their words."""

    def lexemes(self, words: str) -> str:
        """SQL for words as the index holds them."""

    def parts(self, names: str) -> str:
        """SQL for names of which any part is found."""

    def joined(self, words: str) -> str:
        """SQL for the words of several rows, with spaces between them."""

    def make(self, connection: Connection, tables: Mapping[str, str]) -> None:
        """Empty tables, in place of whatever is there; each holds ``words`` or ``names``."""

    def keep(self, connection: Connection, triggers: Sequence[Trigger]) -> None:
        """Let the database keep the index from now on."""

    def is_kept(self, connection: Connection, tables: Mapping[str, str], triggers: Sequence[Trigger]) -> bool:
        """Whether every table and every trigger are there as they are meant."""

    def merged(self, table: str) -> list[str]:
        """Statements after which nothing that was taken out lingers in the index."""

    def has(self, table: str) -> str:
        """A condition on a table: its words match ``:match``."""

    def every_word(self, words: Sequence[tuple[str, bool]]) -> str:
        """The ``:match`` for all of these words; each may be the beginning of one."""

    def any_part(self, parts: Sequence[str]) -> str:
        """The ``:match`` for names with any of these characters inside."""


class Dialect(Protocol):
    """One of the two."""

    @property
    def index(self) -> Index:
        """How it keeps the search index."""

    @property
    def reading(self) -> Mapping[str, Any]:
        """Execution options of a connection that reads one state."""

    @property
    def mark(self) -> str:
        """How the driver marks a value in plain SQL."""

    def rows(self, session: Session, query: str, values: tuple[Any, ...]) -> list[Any]:
        """What plain SQL finds, as plainly as the driver tells it."""

    def engine(self, place: Place) -> Engine:
        """An engine whose transactions begin as the house needs them."""

    def own_name(self, engine: Engine) -> str:
        """What a database of a server is known by, wherever it moves; empty for one without a shop, and for a file."""

    def upgrading(self, connection: Connection) -> AbstractContextManager[None]:
        """One transaction that may change tables; waits longer than others."""

    def is_new(self, connection: Connection) -> bool:
        """Whether a place is made from the models, in one piece: nothing is there that migrations would go on from."""

    def settle(self, connection: Connection) -> None:
        """Give every column the type that the logbook's values need, and the trail a place for its number."""

    def keep_append_only(self, connection: Connection, tables: Sequence[str]) -> None:
        """Let the database itself refuse every change of these tables but a new row."""

    def is_append_only(self, connection: Connection, tables: Sequence[str]) -> bool:
        """Whether it does."""

    def broken_reference(self, connection: Connection) -> str | None:
        """A table with a reference to a row that is not there."""

    def as_bytes(self, column: str) -> str:
        """SQL for a column's value as UTF-8 bytes, whatever lies there."""

    def reached(self, at_hand: Session | Connection, table: str) -> int:
        """The highest number that a table ever gave out, 0 for none; rows that are gone count."""

    def set_reached(self, connection: Connection, table: str, number: int) -> None:
        """Let a table give out higher numbers only."""

    def pour(self, connection: Connection, table: Any, rows: Sequence[Sequence[Any]]) -> None:
        """Many rows into a table, values in the order of its columns."""

    def alone(self, engine: Engine, folder: Path, name: str) -> AbstractContextManager[bool]:
        """Whether nobody else is at work of this name for this shop; whoever gets True has it until the end."""

    def size(self, session: Session, place: Place) -> int:
        """Bytes that the database takes on its disk."""


def is_address(place: Place) -> bool:
    """Whether a place is the address of a PostgreSQL database."""
    return str(place).startswith(SCHEME)


def dialect_for(place: Place) -> Dialect:
    """That of a place; Refused for the address of another kind of database."""
    if isinstance(place, str) and "://" in place and not is_address(place):
        raise Refused(NO_ADDRESS)
    return _named("postgresql" if is_address(place) else "sqlite")


def dialect_of(at_hand: Session | Connection) -> Dialect:
    """That of what is at hand."""
    connection = at_hand.connection() if isinstance(at_hand, Session) else at_hand
    return _named(connection.dialect.name)


def _named(name: str) -> Dialect:
    """The second is loaded where it is asked for: most shops never need it."""
    if name == "postgresql":
        from logbook.records.dialects.postgresql import POSTGRESQL

        return POSTGRESQL
    from logbook.records.dialects.sqlite import SQLITE

    return SQLITE
