"""The index behind the search box: SQLite's own full-text search, kept by triggers.

Letters that are no accent but another letter (ø, ł, ß) are written as people type them who lack the key.

Triggers and not the acts: whatever writes a row, in whatever transaction, has written the index
with it, and what is erased is erased here by the same statement. Three tables: ``search_words`` finds
beginnings of words whatever their accents (unicode61), ``search_names`` finds any three characters
inside the names on labels (trigram), above all the last ones of a lot or serial; ``search_together``
(see ``searchjobs``) finds a job by words that stand in different rows.

A row's place is its kind's number and its own id, so that one kind is one range of places.
"""

from dataclasses import dataclass

from sqlalchemy import Connection, text

from logbook.records import searchjobs

_SHIFT = 1 << 40
_TYPED_AS = {
    "ø": "o", "Ø": "o", "ł": "l", "Ł": "l", "đ": "d", "Đ": "d", "ð": "d", "Ð": "d", "ı": "i",
    "ß": "ss", "æ": "ae", "Æ": "ae", "œ": "oe", "Œ": "oe", "þ": "th", "Þ": "th",
}  # fmt: skip
"""Letters without a Unicode decomposition, which unicode61 takes for letters of their own."""
_PLAIN = str.maketrans(_TYPED_AS)
_TABLES = {
    "search_words": "words, tokenize = 'unicode61 remove_diacritics 2', prefix = '2 3'",
    "search_names": "names, tokenize = 'trigram'",
    searchjobs.TABLE: searchjobs.COLUMNS,
}


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


def plain_letters(words: str) -> str:
    """Words as the index holds them: what is sought must be written the same way."""
    return words.translate(_PLAIN)


def _plain_sql(words: str) -> str:
    for letter, typed in _TYPED_AS.items():
        words = f"replace({words}, '{letter}', '{typed}')"
    return words


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
    found = text("SELECT name, sql FROM sqlite_master WHERE name LIKE 'search_%' AND type = 'trigger'")
    return {row.name: row.sql for row in connection.execute(found)} == dict(_triggers()) and _has_tables(connection)


def keep(connection: Connection) -> None:
    """Make the index where it is missing or another than meant, and fill it from the rows; part of an upgrade."""
    if is_kept(connection):
        return
    for name in (
        connection.execute(text("SELECT name FROM sqlite_master WHERE name LIKE 'search_%' AND type = 'trigger'"))
        .scalars()
        .all()
    ):
        _run(connection, f"DROP TRIGGER {name}")
    for table, columns in _TABLES.items():
        _run(connection, f"DROP TABLE IF EXISTS {table}")
        _run(connection, f"CREATE VIRTUAL TABLE {table} USING fts5({columns})")
    for kind in KINDS.values():
        for statement in _into(kind, "row", f" FROM {kind.table} AS row"):
            _run(connection, statement)
    _run(connection, searchjobs.filled(_plain_sql))
    for _, statement in _triggers():
        _run(connection, statement)


def _has_tables(connection: Connection) -> bool:
    found = text("SELECT name FROM sqlite_master WHERE type = 'table' AND name LIKE 'search_%'")
    return set(_TABLES) <= set(connection.execute(found).scalars())


def _run(connection: Connection, statement: str) -> None:
    connection.exec_driver_sql(statement)


def _into(kind: Kind, row: str, source: str = "") -> list[str]:
    """Statements that put a row into the index, or every row of ``source``."""
    words = _plain_sql(kind.words.format(row))
    made = [f"INSERT INTO search_words(rowid, words) SELECT {kind.first} + {row}.id, {words}{source}"]
    if kind.names:
        names = kind.names.format(row)
        made.append(f"INSERT INTO search_names(rowid, names) SELECT {kind.first} + {row}.id, {names}{source}")
    return made


def _out_of(kind: Kind, row: str) -> list[str]:
    """Statements that take a row out of the index."""
    tables = ["search_words", *(["search_names"] if kind.names else [])]
    return [f"DELETE FROM {table} WHERE rowid = {kind.first} + {row}.id" for table in tables]  # noqa: S608 - fixed names


def _triggers() -> list[tuple[str, str]]:
    """Name and statement of every trigger."""
    made = []
    for word, kind in KINDS.items():
        name = f"search_{word.replace(' ', '_')}"
        changed = [*_out_of(kind, "OLD"), *_into(kind, "NEW")]
        made.append(_trigger(f"{name}_new", f"AFTER INSERT ON {kind.table}", _into(kind, "NEW")))
        made.append(_trigger(f"{name}_changed", f"AFTER UPDATE OF {', '.join(kind.columns)} ON {kind.table}", changed))
        made.append(_trigger(f"{name}_gone", f"AFTER DELETE ON {kind.table}", _out_of(kind, "OLD")))
    made.extend(_trigger(*each) for each in searchjobs.triggers(_plain_sql))
    # a name that was erased would linger in older pieces of the index until these are merged
    merged = ["INSERT INTO search_words(search_words) VALUES ('optimize')", searchjobs.OPTIMIZE]
    erased = "AFTER UPDATE OF name, contact ON customer WHEN NEW.name IS NULL AND OLD.name IS NOT NULL"
    # triggers of one event run in no order that could be relied on: take it out here, too
    customer = KINDS["customer"]
    jobs = searchjobs.again(searchjobs.OF_CUSTOMER, _plain_sql)
    gone = [*_out_of(customer, "OLD"), *_into(customer, "NEW"), *jobs]
    made.append(_trigger("search_customer_erased", erased, [*gone, *merged]))
    return made


def _trigger(name: str, event: str, statements: list[str]) -> tuple[str, str]:
    return name, f"CREATE TRIGGER {name} {event} BEGIN {'; '.join(statements)}; END"


def is_ours(name: str | None, kind: str, _parents: object = None) -> bool:
    """Whether a schema comparison looks at an object: the index is no table of the models."""
    return not (kind == "table" and (name or "").startswith("search_"))
