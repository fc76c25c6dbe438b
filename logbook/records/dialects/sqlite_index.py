"""The search index in SQLite: its own full-text search, tables of a kind of their own."""

from collections.abc import Mapping, Sequence

from sqlalchemy import Connection, text

from logbook.records.dialects import Trigger
from logbook.records.dialects.letters import TYPED_AS

_COLUMNS = {
    "words": "words, tokenize = 'unicode61 remove_diacritics 2', prefix = '2 3'",
    "names": "names, tokenize = 'trigram'",
}
_FOUND = "SELECT name, sql FROM sqlite_master WHERE name LIKE 'search_%' AND type = 'trigger'"


class SqliteIndex:
    """``words``: beginnings of words whatever their accents (unicode61). ``names``: any three characters (trigram)."""

    def lexemes(self, words: str) -> str:
        """SQLite takes words apart itself."""
        for letter, typed in TYPED_AS.items():
            words = f"replace({words}, '{letter}', '{typed}')"
        return words

    def parts(self, names: str) -> str:
        """So it does with names."""
        return names

    def joined(self, words: str) -> str:
        """By its aggregate."""
        return f"group_concat({words}, ' ')"

    def make(self, connection: Connection, tables: Mapping[str, str]) -> None:
        """Tables without triggers."""
        for row in connection.execute(text(_FOUND)).all():
            connection.exec_driver_sql(f"DROP TRIGGER {row.name}")
        for table, held in tables.items():
            connection.exec_driver_sql(f"DROP TABLE IF EXISTS {table}")
            connection.exec_driver_sql(f"CREATE VIRTUAL TABLE {table} USING fts5({_COLUMNS[held]})")

    def keep(self, connection: Connection, triggers: Sequence[Trigger]) -> None:
        """By triggers."""
        for trigger in triggers:
            connection.exec_driver_sql(_made(trigger))

    def is_kept(self, connection: Connection, tables: Mapping[str, str], triggers: Sequence[Trigger]) -> bool:
        """By their text, which SQLite keeps."""
        there = {row.name: row.sql for row in connection.execute(text(_FOUND))}
        named = text("SELECT name FROM sqlite_master WHERE type = 'table' AND name LIKE 'search_%'")
        return there == {one.name: _made(one) for one in triggers} and set(tables) <= set(
            connection.execute(named).scalars()
        )

    def merged(self, table: str) -> list[str]:
        """What was deleted lingers in older pieces of the index until these are merged."""
        return [f"INSERT INTO {table}({table}) VALUES ('optimize')"]  # noqa: S608 - a fixed name

    def has(self, table: str) -> str:
        """Its own operator."""
        return f"{table} MATCH :match"

    def every_word(self, words: Sequence[tuple[str, bool]]) -> str:
        """Everything that was typed stands in quotes, so nothing of it is a command."""
        return " AND ".join(f'"{word}"{"*" * begun}' for word, begun in words)

    def any_part(self, parts: Sequence[str]) -> str:
        """So with parts."""
        return " OR ".join(f'"{part}"' for part in parts)


def _made(trigger: Trigger) -> str:
    when = f" WHEN {trigger.when}" if trigger.when else ""
    return f"CREATE TRIGGER {trigger.name} {trigger.event}{when} BEGIN {'; '.join(trigger.statements)}; END"
