"""The search index in PostgreSQL: ordinary tables with an inverted index, kept by triggers.

Words are taken apart and folded by functions of our own: the server's go by the locale that it was set up with, and
would take a number with a hyphen or an e-mail address for one word.
"""

import hashlib
from collections.abc import Mapping, Sequence

from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError

from logbook.records.dialects import Trigger
from logbook.records.dialects.letters import LARGE, MARKS, SMALL, TYPED_AS, folded

_LONGEST = 200
"""Characters of a word that count; the server takes no word of more than 2046 bytes."""
_MARKS = "".join(f"\\u{first:04x}-\\u{last:04x}" for first, last in MARKS)
_IN_WORDS = r"0-9a-z\u00aa\u00b5\u00ba\u00c0-\u00d6\u00d8-\u00f6\u00f8-\u1fff\u2c00-\u2dff\u3040-\ud7ff\uf900-\ufdff"
_FUNCTION = "CREATE OR REPLACE FUNCTION {} LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$ {} $$"
_FOLDED = f"SELECT translate(regexp_replace(normalize(words, NFD), '[{_MARKS}]', '', 'g'), '{LARGE}', '{SMALL}')"
_TAKEN_APART = (
    f"SELECT array_to_tsvector(coalesce(array_agg(DISTINCT left(word, {_LONGEST})), '{{}}')) "  # noqa: S608 - our own
    f"FROM regexp_split_to_table(search_folded(words), '[^{_IN_WORDS}]+') AS word WHERE word <> ''"
)
_FUNCTIONS = (
    _FUNCTION.format("search_folded(words text) RETURNS text", _FOLDED),
    _FUNCTION.format("search_lexemes(words text) RETURNS tsvector", _TAKEN_APART),
)
_TYPES = {"words": "tsvector", "names": "text"}


class PostgresqlIndex:
    """``words``: beginnings of words, without marks and case. ``names``: any characters, likewise."""

    def lexemes(self, words: str) -> str:
        """By a function."""
        for letter, typed in TYPED_AS.items():
            words = f"replace({words}, '{letter}', '{typed}')"
        return f"search_lexemes({words})"

    def parts(self, names: str) -> str:
        """By a function."""
        return f"search_folded({names})"

    def joined(self, words: str) -> str:
        """By its aggregate."""
        return f"string_agg({words}, ' ')"

    def make(self, connection: Connection, tables: Mapping[str, str]) -> None:
        """Tables and functions without triggers."""
        for name, table in connection.execute(text(_FOUND)).all():
            connection.exec_driver_sql(f"DROP TRIGGER {name} ON {table}")
        for function in _FUNCTIONS:
            connection.exec_driver_sql(function)
        trigrams = _trigrams(connection)
        for table, held in tables.items():
            connection.exec_driver_sql(f"DROP TABLE IF EXISTS {table}")
            columns = f"rowid bigint PRIMARY KEY, {held} {_TYPES[held]} NOT NULL"
            connection.exec_driver_sql(f"CREATE TABLE {table} ({columns})")
            if held == "words":
                connection.exec_driver_sql(f"CREATE INDEX {table}_{held} ON {table} USING gin ({held})")
            elif trigrams:
                connection.exec_driver_sql(f"CREATE INDEX {table}_{held} ON {table} USING gin ({held} gin_trgm_ops)")

    def keep(self, connection: Connection, triggers: Sequence[Trigger]) -> None:
        """By triggers, each with a function of its name; what they are is noted beside them."""
        for trigger in triggers:
            for statement in _made(trigger):
                connection.exec_driver_sql(statement)
        connection.exec_driver_sql(f"COMMENT ON FUNCTION search_folded(text) IS '{_fingerprint(triggers)}'")

    def is_kept(self, connection: Connection, tables: Mapping[str, str], triggers: Sequence[Trigger]) -> bool:
        """By their names, and by what was noted when they were made."""
        there = {row.tgname for row in connection.execute(text(f"{_FOUND} AND tgenabled = 'O'"))}
        noted = "SELECT obj_description(to_regprocedure('search_folded(text)'))"
        named = text("SELECT tablename FROM pg_tables WHERE schemaname = current_schema()")
        return (
            there == {one.name for one in triggers}
            and connection.execute(text(noted)).scalar_one() == _fingerprint(triggers)
            and set(tables) <= set(connection.execute(named).scalars())
        )

    def merged(self, table: str) -> list[str]:
        """Nothing: what was deleted is found no more, and goes when the server's own vacuum comes by."""
        return []

    def has(self, table: str) -> str:
        """By the operator of the table's kind."""
        if table == "search_names":
            return "names LIKE ANY (CAST(:match AS text[]))"
        return "words @@ CAST(:match AS tsquery)"

    def every_word(self, words: Sequence[tuple[str, bool]]) -> str:
        """Everything that was typed stands in quotes, so nothing of it is a command."""
        told = [(part, begun) for word, begun in words for part in folded(word).replace("_", " ").split()]
        return " & ".join(f"'{part[:_LONGEST]}'{':*' * begun}" for part, begun in told)

    def any_part(self, parts: Sequence[str]) -> str:
        """An array of patterns, each in quotes."""
        return "{" + ",".join(f'"%{_literally(folded(part))}%"' for part in parts) + "}"


_FOUND = (
    "SELECT tgname, tgrelid::regclass::text FROM pg_trigger WHERE tgname LIKE 'search\\_%' AND NOT tgisinternal"
)


def _literally(part: str) -> str:
    """Within a pattern within an array, each of which has its own way with backslashes."""
    pattern = "".join(f"\\{one}" if one in "\\%_" else one for one in part)
    return pattern.replace("\\", "\\\\").replace('"', '\\"')


def _trigrams(connection: Connection) -> bool:
    """Whether any three characters are found by index; without, a shop's names are looked through one by one."""
    try:
        with connection.begin_nested():
            connection.exec_driver_sql("CREATE EXTENSION IF NOT EXISTS pg_trgm")
    except DBAPIError:
        return False
    return True


def _made(trigger: Trigger) -> list[str]:
    when = f" WHEN ({trigger.when})" if trigger.when else ""
    body = "; ".join(trigger.statements)
    return [
        f"CREATE OR REPLACE FUNCTION {trigger.name}() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN {body}; RETURN NULL; END $$",
        f"CREATE TRIGGER {trigger.name} {trigger.event} FOR EACH ROW{when} EXECUTE FUNCTION {trigger.name}()",
    ]


def _fingerprint(triggers: Sequence[Trigger]) -> str:
    told = [*_FUNCTIONS, *(statement for trigger in triggers for statement in _made(trigger))]
    return hashlib.sha256("\n".join(told).encode()).hexdigest()
