"""A piece of work as the actions left it in the database, read so that it can be copied thousands of times.

Everything that came into being between two moments belongs to it: rows of every table, and entries of the trail.
A copy gets new row ids, codes, numbers and hashes, and its times are shifted; all else stays as the actions wrote it,
so that a copy satisfies what the tables and the actions ask for, whatever columns a later version adds.
"""

import re
import secrets
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from random import Random
from typing import Any

from sqlalchemy import Date, ForeignKeyConstraint

from logbook.records.base import CODE_ALPHABET, Base, UtcTime

TRAIL = ("audit_entry", "audit_object")
LEFT_OUT = {*TRAIL, "sign_in", "throttle", "step_list_revision"}
_TIMES = r"\d{4}-\d\d-\d\d(?:T\d\d:\d\d:\d\d(?:\.\d+)?\+00:00)?"


def highest_ids(connection: sqlite3.Connection) -> dict[str, int]:
    """The newest row id of every table, 0 for an empty one."""
    newest = "SELECT coalesce(max(id), 0) FROM {}"
    return {name: connection.execute(newest.format(name)).fetchone()[0] for name in Base.metadata.tables}


@dataclass
class Copy:
    """What is new in one copy: words by the words they stand for, row ids by table and old id, and the shift."""

    words: dict[str, str]
    ids: dict[tuple[str, int], int]
    shift: timedelta
    times: dict[str, str] = field(default_factory=dict)

    def time(self, text: str) -> str:
        """A time or a day, shifted, in the form in which it stood."""
        if text not in self.times:
            self.times[text] = _shifted(text, self.shift)
        return self.times[text]


def _shifted(text: str, shift: timedelta) -> str:
    if "T" not in text:
        return (date.fromisoformat(text) + shift).isoformat()
    return (datetime.fromisoformat(text) + shift).isoformat(timespec="microseconds" if "." in text else "seconds")


class Words:
    """A text taken apart at everything that changes from copy to copy."""

    def __init__(self, text: str, changing: re.Pattern[str]) -> None:
        self.parts = changing.split(text)

    def told(self, copy: Copy) -> str:
        """The text of a copy."""
        parts = list(self.parts)
        for index in range(1, len(parts), 2):
            part = parts[index]
            parts[index] = copy.words[part] if part in copy.words else copy.time(part)
        return "".join(parts)


@dataclass
class Row:
    """One row: what stays, and how each other column is made anew."""

    table: str
    old_id: int
    values: list[Any]
    anew: list[tuple[int, Callable[[Copy], Any]]]

    def told(self, copy: Copy) -> list[Any]:
        """The row of a copy."""
        values = list(self.values)
        for index, make in self.anew:
            values[index] = make(copy)
        return values


@dataclass
class Act:
    """One entry of the trail: its hashed body apart from sequence number and hash, and the objects it touched."""

    at: str
    columns: dict[str, Any]
    body: Words
    refs: list[Words]


@dataclass
class Pattern:
    """Rows in an order in which they may be inserted, acts in the order in which they were done."""

    rows: list[Row]
    acts: list[Act]
    fresh: list[str]
    """Codes and hashes: each copy draws its own."""
    began: datetime
    number: str = ""
    """The order's number, where it is one order."""

    def copy(self, rng: Random, shift: timedelta, ids: Callable[[str], int], **more: Any) -> Copy:
        """The words and ids of one more copy; ``words`` and ``known`` are those that its surroundings give it."""
        words = {old: drawn(rng, old) for old in self.fresh} | dict(more.get("words", {}))
        own = {(row.table, row.old_id): ids(row.table) for row in self.rows}
        return Copy(words, own | dict(more.get("known", {})), shift)


def drawn(rng: Random, old: str) -> str:
    """Another code or hash, as long as the old one."""
    if len(old) == len(secrets.token_hex(32)):
        return f"{rng.getrandbits(256):064x}"
    return "".join(rng.choices(CODE_ALPHABET, k=len(old)))


def read_pattern(
    connection: sqlite3.Connection,
    before: Mapping[str, int],
    *,
    given: list[str],
    known: set[tuple[str, int]],
    without: tuple[str, ...] = (),
) -> Pattern:
    """What came into being since ``before``. ``given`` words and ``known`` rows come from a copy's surroundings.

    ``without`` names tables whose rows, and acts whose names, are patterns of their own.
    """
    tables = [table for table in Base.metadata.sorted_tables if table.name not in {*LEFT_OUT, *without}]
    found = {
        table.name: connection.execute(f"SELECT * FROM {table.name} WHERE id > ?", (before[table.name],)).fetchall()
        for table in tables
    }
    fresh = _fresh_words(found)
    numbers = [row["number"] for row in found["order_"]]
    changing = _changing([*given, *fresh, *numbers])
    own = {(name, row["id"]) for name, rows in found.items() for row in rows} | known
    rows = [_row(table, row, changing, own) for table in tables for row in found[table.name]]
    acts = _acts(connection, before["audit_entry"], changing, without)
    return Pattern(rows, acts, fresh, datetime.fromisoformat(acts[0].at), *numbers)


def _fresh_words(found: Mapping[str, list[sqlite3.Row]]) -> list[str]:
    rows = [row for some in found.values() for row in some]
    codes = [row["code"] for row in rows if "code" in row.keys()]  # noqa: SIM118  (a Row's own iteration gives values)
    return [*codes, *(row["sha256"] for row in found["kept_file"])]


def _changing(words: list[str]) -> re.Pattern[str]:
    listed = "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))
    return re.compile(f"({listed}|{_TIMES})" if listed else f"({_TIMES})")


def _row(table: Any, row: sqlite3.Row, changing: re.Pattern[str], own: set[tuple[str, int]]) -> Row:
    values, anew = list(row), []
    keys = {
        element.parent.name: element.column.table.name
        for constraint in table.constraints
        if isinstance(constraint, ForeignKeyConstraint)
        for element in constraint.elements
    }
    for index, name in enumerate(row.keys()):
        target = (table.name, values[index]) if name == "id" else (keys.get(name, ""), values[index])
        if target in own:
            anew.append((index, lambda copy, target=target: copy.ids[target]))
        elif isinstance(values[index], str) and changing.search(values[index]):
            kind = table.columns[name].type
            if isinstance(kind, UtcTime | Date):
                anew.append((index, lambda copy, text=values[index]: copy.time(text)))
            else:
                anew.append((index, Words(values[index], changing).told))
    if table.name == "kept_file":  # a copy's bytes lie nowhere
        anew.append((row.keys().index("dropped_at"), lambda copy, text=row["kept_at"]: copy.time(text)))
    return Row(table.name, row["id"], values, anew)


def _acts(connection: sqlite3.Connection, after: int, changing: re.Pattern[str], without: tuple[str, ...]) -> list[Act]:
    acts = []
    for row in connection.execute("SELECT * FROM audit_entry WHERE id > ? ORDER BY id", (after,)).fetchall():
        if row["action"] in without:
            continue
        refs = connection.execute("SELECT ref FROM audit_object WHERE entry_id = ? ORDER BY id", (row["id"],))
        columns = {name: row[name] for name in ("action", "person_id", "actor_name", "reason")}
        acts.append(Act(row["at"], columns, Words(row["body"], changing), [Words(one[0], changing) for one in refs]))
    return acts
