"""The audit trail recomputed: what was changed, removed, inserted or reordered is named by its first bad entry.

Both tables are read in the order in which they lie in the file, each page once:
objects are written together with their entry, so that both orders agree.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.records.audit import ORIGIN_HASH, AuditObject, chain_hash
from logbook.records.dialects import Dialect, dialect_of

_OBJECTS_AT_ONCE = 8192
_NO_ENTRY = 2**63
"""Stands for what is no number of an entry any more: beyond every one that can be there."""
_DIFFERS = "its columns differ from its hashed content"


@dataclass(frozen=True, slots=True)
class Link:
    """How far the chain was recomputed: the last good entry and its hash.

    ``object_id`` is the last object that was read, ``ahead`` those of entries still to come.
    """

    seq: int = 0
    hash: str = ORIGIN_HASH
    object_id: int = -(2**63)
    ahead: Mapping[int, list[bytes]] = field(default_factory=lambda: MappingProxyType({}))


def first_bad(session: Session) -> str | None:
    """Recompute the whole chain; None when sound, else a sentence naming the first bad entry."""
    link: Link | None = Link()
    while link is not None:
        fault, link = check_part(session, link)
        if fault:
            return fault
    return None


def check_part(session: Session, after: Link, *, count: int = 2000) -> tuple[str | None, Link | None]:
    """Recompute the next entries: what is wrong, if anything, and where to go on; None when that was the last part.

    Reads bytes as they lie in the file: what no longer is a time or a text is named like every other damage.
    Parts may be read in transactions of their own, since entries are only ever added.
    """
    rows = _entries(session, after.seq, count)
    last = len(rows) < count
    objects = dict(after.ahead)
    read = _add_objects(session, objects, after.object_id, until=None if last else rows[-1].id)
    previous, expected = after.hash, after.seq + 1
    for row in rows:
        fault = _fault(row, expected, previous, objects.pop(row.id, []))
        if fault:
            return _first_of(session, objects, read, expected, fault), None
        previous, expected = row.entry_hash.decode(), expected + 1
    fault = _left_over(session, objects, expected, last=last)
    return fault, None if last or fault else Link(expected - 1, previous, read, objects)


class _Row(NamedTuple):
    """An entry as it lies in the file."""

    id: int
    previous_hash: bytes
    entry_hash: bytes
    body: bytes
    repeated: tuple[bytes | None, ...]
    """The columns that repeat what the body says."""


_REPEATED = {"at": "at", "action": "action", "person_id": "person", "actor_name": "name", "request_id": "request",
             "reason": "reason"}  # fmt: skip
"""Columns that repeat what the body says, and what the body calls them."""
_NAMES = tuple(_REPEATED.values())
# plain SQL and plain tuples: a ten years' trail has a million entries and several objects for each of them


def _all(dialect: Dialect, table: str, plain: str, *as_bytes: str) -> str:
    told = ", ".join([plain, *map(dialect.as_bytes, as_bytes)])
    return f"SELECT {told} FROM {table} WHERE id > {dialect.mark} ORDER BY id LIMIT {dialect.mark}"  # noqa: S608 - our own names


def _entries(session: Session, after: int, count: int) -> list[_Row]:
    dialect = dialect_of(session)
    query = _all(dialect, "audit_entry", "id", "previous_hash", "entry_hash", "body", *_REPEATED)
    return [_Row(number, before, own, body or b"", tuple(repeated))
            for number, before, own, body, *repeated in dialect.rows(session, query, (after, count))]  # fmt: skip


def _add_objects(session: Session, objects: dict[int, list[bytes]], after: int, *, until: int | None) -> int:
    """Read objects until all of entry ``until`` (None: of every entry) are there; the last that was read.

    One stretch too many is read, so that a number that was changed hides nothing behind it.
    """
    dialect = dialect_of(session)
    query = _all(dialect, "audit_object", "id, entry_id", "ref")
    while True:
        lowest, found = _NO_ENTRY, dialect.rows(session, query, (after, _OBJECTS_AT_ONCE))
        for _, entry_id, ref in found:
            number = entry_id if isinstance(entry_id, int) else _NO_ENTRY
            if number < lowest:
                lowest = number
            if number in objects:
                objects[number].append(ref)
            else:
                objects[number] = [ref]
        after = found[-1][0] if found else after
        if len(found) < _OBJECTS_AT_ONCE or (until is not None and lowest > until):
            return after


def _fault(row: _Row, expected: int, previous: str, objects: list[bytes]) -> str | None:
    if row.id != expected:
        return f"missing, the next one there is {row.id}"
    if row.previous_hash != previous.encode():
        return "does not follow from the entry before it"
    if row.entry_hash != chain_hash(previous, row.body).encode():
        return "its content does not match its hash"
    content = _read_again(row.body)
    same = tuple(_told(content.get(name)) for name in _NAMES) == row.repeated
    same = same and content.get("seq") == row.id and _listed(content.get("objects")) == objects
    return None if same else _DIFFERS


def _read_again(body: bytes) -> dict[str, Any]:
    try:
        content = json.loads(body.decode())
    except (ValueError, RecursionError):
        return {}
    return content if isinstance(content, dict) else {}


def _listed(refs: Any) -> list[bytes | None] | None:
    return [_told(ref) for ref in refs] if isinstance(refs, list) else None


def _told(value: Any) -> bytes | None:
    return None if value is None else str(value).encode()


def _first_of(session: Session, objects: Iterable[int], read: int, number: int, fault: str) -> str:
    """The fault of an entry, unless an object that stands behind its place belongs to an earlier one."""
    unread = session.execute(select(func.min(AuditObject.entry_id)).where(AuditObject.id > read)).scalar()
    early = min([number, *objects, *([unread] if isinstance(unread, int) else [])])
    return f"Entry {number}: {fault}." if early >= number else f"Entry {early}: {_DIFFERS}."


def _left_over(session: Session, objects: Iterable[int], following: int, *, last: bool) -> str | None:
    """Objects without their entry, and entries cut off the end: the database remembers how far it once counted."""
    lowest = min(objects, default=_NO_ENTRY + 1)
    if lowest < following:
        return f"Entry {lowest}: {_DIFFERS}."
    if last and lowest <= _NO_ENTRY:
        return f"Entry {lowest}: objects are listed for an entry that is missing."
    if last and (reached := dialect_of(session).reached(session, "audit_entry")) >= following:
        return f"Entry {following}: missing, the trail once reached entry {reached}."
    return None
