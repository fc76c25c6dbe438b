"""The database: opening it, and the only two ways to work in it.

``writing()`` is the only place that commits, and one writer works at a time: two people never read the same state and
then both change it. ``reading()`` sees one state from its first question to its last. How each of the two databases
holds to that stands with its dialect.
"""

from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from sqlalchemy.orm import Session

from logbook.records.dialects import Place, dialect_for, is_address

_ANSWERS = "answers"
Answer = TypeVar("Answer")


class Database:
    """One shop's database: a file, or one of a PostgreSQL server."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.dialect = dialect_for(place)
        self.engine = self.dialect.engine(place)

    @property
    def path(self) -> Path | None:
        """The file; None for a database that a server keeps."""
        return None if is_address(self.place) else Path(self.place)

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A session that may write: committed at the end, rolled back on any exception."""
        with self.engine.connect() as connection, Session(connection, expire_on_commit=False) as session:
            connection.begin()
            yield session
            session.flush()
            try:
                connection.commit()
            except BaseException:
                # SQLAlchemy takes a commit that failed for ended and would give the open transaction, lock and all,
                # back to its pool: nobody could read or write any more
                if not connection.invalidated:
                    connection.connection.rollback()
                raise

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session for reading one consistent state; whatever it changed is thrown away."""
        with (
            self.engine.connect().execution_options(**self.dialect.reading) as connection,
            Session(connection, autoflush=False, info={_ANSWERS: {}}) as session,
        ):
            connection.begin()
            yield session
            connection.rollback()

    def close(self) -> None:
        """Give every connection back."""
        self.engine.dispose()


def reads_only(session: Session) -> bool:
    """Whether this session reads one consistent state and writes nothing."""
    return _ANSWERS in session.info


def once(session: Session, question: Hashable, ask: Callable[[], Answer]) -> Answer:
    """The answer to a question that several parts of a page ask: asked once while one state is read.

    Where something may be written it is asked each time. ``question`` names the question and what it is about.
    """
    if not reads_only(session):
        return ask()
    known: dict[Hashable, Answer] = session.info[_ANSWERS]
    if question not in known:
        known[question] = ask()
    return known[question]

