"""Looking things up by their codes, with a sentence when they are not there."""

from collections.abc import Iterable, Mapping
from typing import TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.records.base import Base, Coded
from logbook.records.database import once, reads_only
from logbook.records.people import ShopFact
from logbook.refusals import Refused

Row = TypeVar("Row", bound=Base)


def by_code(session: Session, table: type[Row], code: str, *, field: str | None = None) -> Row:
    """The row with this code; Refused where there is none."""
    assert issubclass(table, Coded)
    row = session.execute(select(table).where(table.code == code)).scalar_one_or_none()
    if row is None:
        raise Refused(
            f"There is no {words(table)} with the code {code!r}; look for it by name under Find.", field=field
        )
    return row


def words(table: type[Base]) -> str:
    """A table's name as people say it."""
    names = {
        "Order": "order",
        "PitchOnRecord": "pitch",
        "PrinterMode": "printer mode",
        "ProofLink": "link",
        "LeakSheet": "leak sheet",
    }
    return names.get(table.__name__, table.__name__.lower())


def ref(row: Base) -> str:
    """How the audit trail names a row: ``job:7KQ2M9XA``."""
    return f"{type(row).__name__.lower()}:{getattr(row, 'code', row.id)}"


def fact(session: Session, key: str, default: str = "") -> str:
    """One of the shop's own facts."""
    return _known(session, [key]).get(key) or default


def facts(session: Session, keys: Mapping[str, str]) -> dict[str, str]:
    """Several of the shop's own facts at once, by the names that their keys have here; empty where nothing is known."""
    known = _known(session, keys.values())
    return {name: known.get(key) or "" for name, key in keys.items()}


def _known(session: Session, keys: Iterable[str]) -> Mapping[str, str]:
    """Those that are known of these and, where a page only reads, of all others: their questions come one by one."""
    columns = select(ShopFact.key, ShopFact.value)
    wanted = columns if reads_only(session) else columns.where(ShopFact.key.in_(list(keys)))
    return once(session, "facts", lambda: dict(session.execute(wanted).all()))
