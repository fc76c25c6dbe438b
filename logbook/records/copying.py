"""A whole shop from one database into another, whichever of the two kinds either is: all of it, checked, or nothing.

Rows are copied as they lie there, table after table in the order of their references, in stretches. Then the new
database is counted, and its trail recomputed from the first entry to the head.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Boolean, Connection, Date, MetaData, column, func, select, table
from sqlalchemy.orm import Session

from logbook.records import audit, chain
from logbook.records.dialects import dialect_of
from logbook.records.upgrade import bring_up
from logbook.refusals import Refused

_AT_ONCE = 2000
_COPYING = 0.8
"""The part of the time that copying takes; the rest is for recomputing the trail. A guess that only moves a bar."""
Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class CopiedShop:
    """What was copied and found again: rows of each table, entries of the trail and its head."""

    rows: dict[str, int]
    head: audit.Head


def copy_shop(source: Connection, target: Connection, progress: Progress = lambda _part: None) -> CopiedShop:
    """Inside a transaction of each: ``source`` reads one state, ``target`` may change tables and holds no row.

    Raises Refused when what arrived is not what was sent; nothing is to be kept then.
    """
    counts: dict[str, int] = {}
    bring_up(target, lambda: counts.update(_rows_across(source, target, progress)))
    for name, count in counts.items():
        if (arrived := _count(target, name)) != count:
            raise Refused(f"Of {count} rows of {name} {arrived} arrived; nothing was kept.")
    return CopiedShop(counts, _same_head(source, target, progress))


def is_empty(connection: Connection) -> bool:
    """Whether no table of a shop holds a row; tables that are not there hold none."""
    there = MetaData()
    there.reflect(connection, only=lambda name, _: name in _tables())
    return not any(connection.execute(select(one).limit(1)).first() for one in there.tables.values())


def _tables() -> dict[str, Any]:
    """Every table, the ones that others refer to first, with plain columns: values go across as they lie there.

    Only what is a truth value and a date is read as one: the two databases write them down differently.
    """
    from logbook.records.tables import Base

    plain = (Boolean, Date)
    return {
        one.name: table(
            one.name, *(column(its.name, its.type if isinstance(its.type, plain) else None) for its in one.columns)
        )
        for one in Base.metadata.sorted_tables
    }


def _rows_across(source: Connection, target: Connection, progress: Progress) -> dict[str, int]:
    tables = _tables()
    counts = {name: _count(source, name) for name in tables}
    done, whole = 0, sum(counts.values()) or 1
    for name, one in tables.items():
        for rows in _stretches(source, one):
            dialect_of(target).pour(target, one, rows)
            done += len(rows)
            progress(_COPYING * done / whole)
        # also beyond rows that are gone: a number is never given out twice
        dialect_of(target).set_reached(target, name, dialect_of(source).reached(source, name))
    return counts


def _stretches(source: Connection, one: Any) -> Iterator[list[Any]]:
    asked = select(*one.columns).order_by(one.c.id).limit(_AT_ONCE)
    place = [its.name for its in one.columns].index("id")
    rows = list(source.execute(asked))
    while rows:
        yield rows
        rows = list(source.execute(asked.where(one.c.id > rows[-1][place])))


def _count(connection: Connection, name: str) -> int:
    return int(connection.execute(select(func.count()).select_from(table(name))).scalar_one())


def _same_head(source: Connection, target: Connection, progress: Progress) -> audit.Head:
    """The head of the trail in the new database, recomputed there."""
    sent, arrived = (audit.head(Session(one)) for one in (source, target))
    link: chain.Link | None = chain.Link()
    while link is not None:
        fault, link = chain.check_part(Session(target), link)
        if fault:
            raise Refused(f"The trail does not follow from its first entry: {fault} Nothing was kept.")
        progress(_COPYING + (1 - _COPYING) * (link.seq / (arrived.seq or 1) if link else 1))
    if arrived != sent:
        raise Refused("The trail that arrived does not end where the other one does; nothing was kept.")
    return arrived
