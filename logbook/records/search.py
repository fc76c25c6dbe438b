"""The index behind the search box, kept by triggers; what it is made of stands with each dialect.

Letters that are no accent but another letter (ø, ł, ß) are written as people type them who lack the key.

Triggers and not the acts: whatever writes a row, in whatever transaction, has written the index
with it, and what is erased is erased here by the same statement. Three tables: ``search_words`` finds
beginnings of words whatever their accents, ``search_names`` finds any three characters
inside the names on labels, above all the last ones of a lot or serial; ``search_together``
(see ``searchjobs``) finds a job by words that stand in different rows.

A row's place is its kind's number and its own id, so that one kind is one range of places.
"""

from dataclasses import dataclass

from sqlalchemy import Connection

from logbook.records import searchjobs
from logbook.records.dialects import Index, Trigger, dialect_of

_SHIFT = 1 << 40
_TABLES = {"search_words": "words", "search_names": "names", searchjobs.TABLE: "words"}


@dataclass(frozen=True, slots=True)
class Kind:
    """What of one table is found: SQL for its words and its names, ``{0}`` standing for the row."""

    place: int
    table: str
    columns: tuple[str, ...]
    words: str
    names: str = ""

    @property
    def first(self) -> int:
        """The first place of this kind; it holds no row."""
        return self.place * _SHIFT

    @property
    def last(self) -> int:
        """The last place of this kind."""
        return (self.place + 1) * _SHIFT - 1

    def row_id(self, place: int) -> int:
        """The row of a place."""
        return place - self.first


def _both(column: str) -> str:
    """A name as it is written, and run together: people leave out hyphens and spaces."""
    return f"{{0}}.{column} || ' ' || replace(replace({{0}}.{column}, '-', ''), ' ', '')"


_MATERIAL = "(SELECT name FROM material WHERE id = {0}.material_id)"
KINDS = {
    "customer": Kind(1, "customer", ("name", "contact"), "coalesce({0}.name, '') || ' ' || coalesce({0}.contact, '')"),
    "order": Kind(2, "order_", ("number", "note"), "{0}.number || ' ' || {0}.note", _both("number")),
    "job": Kind(3, "job", ("number", "artwork"), "{0}.number || ' ' || {0}.artwork", _both("number")),
    "print": Kind(4, "print", ("serial",), "{0}.serial", _both("serial")),
    "sheet": Kind(5, "sheet", ("number",), "{0}.number", _both("number")),
    "lot": Kind(
        6,
        "lot",
        ("label", "place", "material_id"),
        f"{{0}}.label || ' ' || {{0}}.place || ' ' || {_MATERIAL}",
        _both("label"),
    ),
    "machine": Kind(7, "machine", ("name",), "{0}.name", _both("name")),
    "pitch": Kind(8, "pitch_on_record", ("note",), "{0}.code || ' ' || {0}.note"),
    "quote": Kind(9, "quote", ("number", "note"), "{0}.number || ' ' || {0}.note", _both("number")),
    "quote line": Kind(10, "quote_line", ("artwork",), "{0}.artwork"),
}


def is_kept(connection: Connection) -> bool:
    """Whether every table and every trigger are there as they are meant."""
    index = dialect_of(connection).index
    return index.is_kept(connection, _TABLES, _triggers(index))


def keep(connection: Connection) -> None:
    """Make the index where it is missing or another than meant, and fill it from the rows; part of an upgrade."""
    index = dialect_of(connection).index
    triggers = _triggers(index)
    if index.is_kept(connection, _TABLES, triggers):
        return
    index.make(connection, _TABLES)
    for kind in KINDS.values():
        for statement in _into(index, kind, "row", f" FROM {kind.table} AS row"):
            connection.exec_driver_sql(statement)
    connection.exec_driver_sql(searchjobs.filled(index))
    index.keep(connection, triggers)


def _into(index: Index, kind: Kind, row: str, source: str = "") -> list[str]:
    """Statements that put a row into the index, or every row of ``source``."""
    words = index.lexemes(kind.words.format(row))
    made = [f"INSERT INTO search_words(rowid, words) SELECT {kind.first} + {row}.id, {words}{source}"]
    if kind.names:
        names = index.parts(kind.names.format(row))
        made.append(f"INSERT INTO search_names(rowid, names) SELECT {kind.first} + {row}.id, {names}{source}")
    return made


def _out_of(kind: Kind, row: str) -> list[str]:
    """Statements that take a row out of the index."""
    tables = ["search_words", *(["search_names"] if kind.names else [])]
    return [f"DELETE FROM {table} WHERE rowid = {kind.first} + {row}.id" for table in tables]  # noqa: S608 - fixed names


def _triggers(index: Index) -> list[Trigger]:
    made = []
    for word, kind in KINDS.items():
        name = f"search_{word.replace(' ', '_')}"
        new, gone = _into(index, kind, "NEW"), _out_of(kind, "OLD")
        made.append(Trigger(f"{name}_new", f"AFTER INSERT ON {kind.table}", new))
        changed = f"AFTER UPDATE OF {', '.join(kind.columns)} ON {kind.table}"
        made.append(Trigger(f"{name}_changed", changed, [*gone, *new]))
        made.append(Trigger(f"{name}_gone", f"AFTER DELETE ON {kind.table}", gone))
    return [*made, *searchjobs.triggers(index), _erasing(index)]


def _erasing(index: Index) -> Trigger:
    """A name that was erased must not linger in the index."""
    # triggers of one event run in no order that could be relied on: take it out here, too
    customer = KINDS["customer"]
    jobs = searchjobs.again(searchjobs.OF_CUSTOMER, index)
    gone = [*_out_of(customer, "OLD"), *_into(index, customer, "NEW"), *jobs]
    merged = [*index.merged("search_words"), *index.merged(searchjobs.TABLE)]
    return Trigger(
        "search_customer_erased", "AFTER UPDATE OF name, contact ON customer", [*gone, *merged],
        when="NEW.name IS NULL AND OLD.name IS NOT NULL",
    )  # fmt: skip


def is_ours(name: str | None, kind: str, _parents: object = None) -> bool:
    """Whether a schema comparison looks at an object: the index and a dialect's own rows are no table of the models."""
    return not (kind == "table" and (name or "").startswith(("search_", "audit_reached", "bell_")))
