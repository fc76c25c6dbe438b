"""Finding again whatever a person remembers: a name, a note, a serial, the last three characters of a lot."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.records.base import Base
from logbook.records.dialects import Index, dialect_of
from logbook.records.dialects.letters import plain_letters
from logbook.records.floor import Print, Run, Sheet
from logbook.records.machines import Machine
from logbook.records.materials import Lot
from logbook.records.orders import Customer, Job, Order
from logbook.records.pitch import PitchOnRecord
from logbook.records.quotes import Quote, QuoteLine
from logbook.records.search import KINDS, Kind
from logbook.records.searchjobs import TABLE

MOST = 8
"""Hits of one kind; whoever needs more writes more."""
Row = TypeVar("Row", bound=Base)
_MOST_WORDS = 6
_SHORTEST_START, _SHORTEST_PART = 2, 3
_PITCH = re.compile(r"(\d{1,3})[.,](\d{1,10})")


@dataclass(frozen=True, slots=True)
class Hit:
    """One row that was found: what it is called, what it is about, and the object that it leads to."""

    title: str
    detail: str
    leads_to: str


@dataclass(frozen=True, slots=True)
class Group:
    """The hits of one kind, newest first; ``more`` says that there are others."""

    title: str
    hits: tuple[Hit, ...]
    more: bool


def seek(session: Session, words: str) -> list[Group]:
    """Everything that these words find, kind by kind; none for words without a letter or digit.

    Whoever types has written every word but the last to its end: only where that finds nothing are they all taken for
    beginnings, of which a large shop has very many.
    """
    several = len(words.split()) > 1
    told = (several and _found(session, words, cut=False)) or _found(session, words, cut=True)
    return [*_at_pitch(session, words), *told]


def _at_pitch(session: Session, words: str) -> Iterator[Group]:
    """Pitches on record and runs with the number that stands on screen or paper, whichever mark it is written with."""
    if (match := _PITCH.fullmatch(words.strip())) is None:
        return
    number = f"{match[1]}.{match[2]}"
    written = {number, number.rstrip("0").rstrip("."), *(number + "0" * more for more in range(1, 5 - len(match[2])))}
    values = [Decimal(one) for one in sorted(written)]
    tables: dict[str, type[PitchOnRecord | Run]] = {
        "Pitches of this number": PitchOnRecord, "Interlaced at this pitch": Run,
    }  # fmt: skip
    for title, table in tables.items():
        found = select(table).where(table.lpi.in_(values)).order_by(table.id.desc()).limit(MOST + 1)
        if rows := list(session.execute(found).scalars()):
            hits = (_of_run(row) if isinstance(row, Run) else _hit(row) for row in rows[:MOST])
            yield Group(title, tuple(hits), len(rows) > MOST)


def _of_run(run: Run) -> Hit:
    jobs = ", ".join(dict.fromkeys(piece.job.number for piece in run.pieces))
    return Hit(f"{jobs}, run {run.code}", f"{run.lpi} lines per inch, {run.asked_at.astimezone():%Y-%m-%d}", ref(run))


def _found(session: Session, words: str, *, cut: bool) -> list[Group]:
    """``cut``: every word may be the beginning of one, else only the last."""
    index = dialect_of(session).index
    told = [_group(session, word, kind, _matches(index, kind, words, cut)) for word, kind in KINDS.items()]
    found = [group for group in told if group is not None]
    together = _together(session, words, cut, found) if len(words.split()) > 1 else None
    return [*found, together] if together else found


def _together(session: Session, words: str, cut: bool, found: list[Group]) -> Group | None:
    """Jobs that have every word somewhere, in their own, order's, customer's or lots' words; none that stands above."""
    above = {hit.leads_to for group in found for hit in group.hits}
    ids = _ids_together(session, words, cut)
    rows = [row for row in _rows(session, Job, ids) if not {ref(row), ref(row.order)} & above]
    return Group("Jobs with all of these words", tuple(map(_hit, rows)), len(ids) > MOST) if rows else None


def _group(session: Session, word: str, kind: Kind, matches: Iterable[tuple[str, str]]) -> Group | None:
    ids = _ids(session, kind, matches)
    if not ids:
        return None
    table = _TABLES[word]
    standing = _rows(session, table, ids)
    hits = _of_customers(session, standing) if table is Customer else [_hit(row) for row in standing]
    return Group(_TITLES[word], tuple(hits), len(ids) > MOST) if hits else None


def _rows(session: Session, table: type[Row], ids: list[int]) -> list[Row]:
    """The first of these rows that are there, in their order."""
    rows = {row.id: row for row in session.execute(select(table).where(table.id.in_(ids[:MOST]))).scalars()}
    return [rows[one] for one in ids[:MOST] if one in rows]


def _ids(session: Session, kind: Kind, matches: Iterable[tuple[str, str]]) -> list[int]:
    """Rows whose words begin so, newest first, then those whose name ends or goes on so."""
    found: list[int] = []
    for table, match in matches:
        places = _places(session, table, match, kind.first, kind.last)
        found.extend(kind.row_id(place) for place in places)
    return list(dict.fromkeys(found))


def _ids_together(session: Session, words: str, cut: bool) -> list[int]:
    match = dialect_of(session).index.every_word(_every_word(_typed(words), cut))
    return _places(session, TABLE, match, 0, 2**62) if match else []


def _places(session: Session, table: str, match: str, first: int, last: int) -> list[int]:
    query = text(
        f"SELECT rowid FROM {table} WHERE {dialect_of(session).index.has(table)} "  # noqa: S608 - fixed names
        "AND rowid BETWEEN :first AND :last ORDER BY rowid DESC LIMIT :most"
    )
    return list(session.execute(query, {"match": match, "first": first, "last": last, "most": MOST + 1}).scalars())


def _typed(words: str) -> list[str]:
    return re.findall(r"\w+", plain_letters(words))[:_MOST_WORDS]


def _every_word(typed: list[str], cut: bool) -> list[tuple[str, bool]]:
    """Words, and whether each may be the beginning of one."""
    last = len(typed) - 1
    return [(word, (cut or place == last) and len(word) >= _SHORTEST_START) for place, word in enumerate(typed)]


def _matches(index: Index, kind: Kind, words: str, cut: bool) -> Iterator[tuple[str, str]]:
    """Table and what is sought there."""
    typed = _typed(words)
    if typed and (match := index.every_word(_every_word(typed, cut))):
        yield "search_words", match
    whole = words.strip().replace('"', "")
    if kind.names and len(whole) >= _SHORTEST_PART and len(typed) > 0:
        run_together = "".join(typed)
        parts = {whole, run_together if len(run_together) >= _SHORTEST_PART else whole}
        yield "search_names", index.any_part(sorted(parts))


_TABLES: dict[str, type[Base]] = {
    "customer": Customer,
    "order": Order,
    "job": Job,
    "print": Print,
    "sheet": Sheet,
    "lot": Lot,
    "machine": Machine,
    "pitch": PitchOnRecord,
    "quote": Quote,
    "quote line": QuoteLine,
}
_TITLES = {
    "customer": "Customers and their newest orders",
    "order": "Orders",
    "job": "Jobs",
    "print": "Prints",
    "sheet": "Sheets",
    "lot": "Lots",
    "machine": "Machines",
    "pitch": "Pitches",
    "quote": "Quotes",
    "quote line": "Lines of quotes",
}


def _hit(row: Base) -> Hit:
    title, detail = _told(row)
    return Hit(title, detail, ref(row.quote if isinstance(row, QuoteLine) else row))


def _of_customers(session: Session, found: list[Base]) -> list[Hit]:
    """Their newest orders and quotes, which is what people look for; who has none is found alone."""
    ids = [customer.id for customer in found]
    orders = select(Order).where(Order.customer_id.in_(ids)).order_by(Order.id.desc()).limit(2 * MOST)
    quotes = select(Quote).where(Quote.customer_id.in_(ids)).order_by(Quote.id.desc()).limit(MOST)
    rows = [*session.execute(orders).scalars(), *session.execute(quotes).scalars()]
    asked = {row.customer_id for row in rows}
    alone = [one for one in found if isinstance(one, Customer) and one.id not in asked]
    return [_of_customer(row) for row in rows] + [Hit(one.called, "nothing ordered yet", ref(one)) for one in alone]


def _of_customer(row: Order | Quote) -> Hit:
    what = "order" if isinstance(row, Order) else "quote"
    return Hit(f"{row.customer.called if row.customer else ''}: {row.number}", what, ref(row))


def _told(row: Base) -> tuple[str, str]:
    """What a row is called and what it is about."""
    match row:
        case Order():
            what = row.note or ", ".join(job.artwork for job in row.jobs)
            return row.number, f"{row.customer.called}: {what}" if row.customer else what
        case Job():
            return f"{row.number} {row.artwork}", row.order.customer.called if row.order.customer else ""
        case Print():
            return row.serial, row.job.artwork
        case Sheet():
            return row.number, ", ".join(dict.fromkeys(piece.job.artwork for piece in row.prints))
        case Lot():
            return row.label, f"{row.material.name}{', ' if row.place else ''}{row.place}"
        case Machine():
            return row.name, row.kind
        case PitchOnRecord():
            return f"{row.lpi} ({row.code})", row.note or f"{row.origin}, lot {row.lens_lot.label}"
        case Quote():
            return row.number, row.customer.called
        case QuoteLine():
            return row.artwork, f"quote {row.quote.number}"
    raise TypeError(f"{type(row).__name__} is not searched")
