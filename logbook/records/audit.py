"""The audit trail: one hash-chained entry for each act.

Every entry names who, what, when and every object it touched, and carries the
hash of the entry before it, so that a changed, removed, inserted or reordered
entry is found by recomputing the chain (``chain``). Triggers refuse UPDATE and DELETE.
Personal values never enter an entry: they appear as keyed hashes whose key
lies in the row that can be erased.
"""

import hashlib
import hmac
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, String, Text, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from logbook import __version__
from logbook.records.base import Base, UtcTime
from logbook.records.database import once

FORMAT = 1
DOMAIN = "lens-bench-logbook/audit/1"
ORIGIN_HASH = "0" * 64


@dataclass(frozen=True, slots=True)
class Actor:
    """Who acts, when and where: handed to every action by its entry point.

    ``now`` is an aware time; ``request_id`` is unique for each submitted form,
    so that a double click makes one record.
    """

    person_id: int | None
    name: str
    role: str
    now: datetime
    request_id: str | None = None
    place: str | None = None

    @property
    def day(self) -> date:
        """The shop's own day: what "today" means to whoever acts."""
        return self.now.astimezone().date()


class AuditEntry(Base):
    """One act. ``id`` is the sequence number, without gaps."""

    __tablename__ = "audit_entry"

    previous_hash: Mapped[str] = mapped_column(String(64))
    entry_hash: Mapped[str] = mapped_column(String(64), unique=True)
    at: Mapped[datetime] = mapped_column(UtcTime)
    action: Mapped[str] = mapped_column(String(60), index=True)
    person_id: Mapped[int | None]
    actor_name: Mapped[str] = mapped_column(String(120))
    request_id: Mapped[str | None] = mapped_column(String(64), unique=True)
    reason: Mapped[str | None] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)
    """Canonical JSON of everything that is hashed."""


class AuditObject(Base):
    """Which entry touched which object, for looking it up."""

    __tablename__ = "audit_object"
    __table_args__ = (
        Index("ix_audit_object_ref_entry", "ref", "entry_id"),
        # a form that is sent twice leads to what the first one touched
        Index("ix_audit_object_entry_id", "entry_id"),
        {"sqlite_autoincrement": True},
    )

    entry_id: Mapped[int] = mapped_column(ForeignKey("audit_entry.id"))
    ref: Mapped[str] = mapped_column(String(60))


APPEND_ONLY_TABLES = ("audit_entry", "audit_object")


@dataclass(frozen=True, slots=True)
class Act:
    """What an action has to say for the trail.

    ``objects`` are references such as ``job:7KQ2M9XA``; ``old`` and ``new`` hold
    plain values; ``files`` are SHA-256 sums; ``meaning`` is that of a signature
    (performed, checked, approved, released, rejected).
    """

    action: str
    objects: Sequence[str]
    new: Mapping[str, Any] = field(default_factory=dict)
    old: Mapping[str, Any] = field(default_factory=dict)
    reason: str | None = None
    meaning: str | None = None
    files: Sequence[str] = ()


def record(session: Session, by: Actor, act: Act) -> AuditEntry:
    """Append one entry; must be called inside ``database.writing()``."""
    last = session.execute(select(AuditEntry).order_by(AuditEntry.id.desc()).limit(1)).scalar_one_or_none()
    seq = 1 if last is None else last.id + 1
    previous = ORIGIN_HASH if last is None else last.entry_hash
    body = canonical(_content(seq, by, act, clock_back=last is not None and by.now < last.at))
    entry = AuditEntry(
        id=seq,
        previous_hash=previous,
        entry_hash=chain_hash(previous, body),
        at=by.now,
        action=act.action,
        person_id=by.person_id,
        actor_name=by.name,
        request_id=by.request_id,
        reason=act.reason,
        body=body,
    )
    session.add(entry)
    session.flush()
    session.add_all(AuditObject(entry_id=seq, ref=ref) for ref in dict.fromkeys(act.objects))
    session.flush()
    return entry


def _content(seq: int, by: Actor, act: Act, *, clock_back: bool) -> dict[str, Any]:
    return {
        "seq": seq,
        "format": FORMAT,
        "at": by.now.astimezone(UTC).isoformat(timespec="microseconds"),
        "clock_back": clock_back,
        "person": by.person_id,
        "name": by.name,
        "role": by.role,
        "place": by.place,
        "request": by.request_id,
        "action": act.action,
        "objects": list(dict.fromkeys(act.objects)),
        "old": dict(act.old),
        "new": dict(act.new),
        "reason": act.reason,
        "meaning": act.meaning,
        "files": list(act.files),
        "version": __version__,
    }


def canonical(content: Mapping[str, Any]) -> str:
    """JSON with sorted keys, no spaces, exact numbers as text."""
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)


def chain_hash(previous: str, body: str | bytes) -> str:
    """SHA-256 over the domain, the previous hash and the entry's body (UTF-8)."""
    content = body if isinstance(body, bytes) else body.encode()
    return hashlib.sha256(f"{DOMAIN}\n{previous}\n".encode() + content).hexdigest()


def keyed_hash(key: str, value: str) -> str:
    """What stands in the trail for a personal value: useless once the key is erased."""
    return "hmac-sha256:" + hmac.new(bytes.fromhex(key), value.encode(), hashlib.sha256).hexdigest()


@dataclass(frozen=True, slots=True)
class Head:
    """The newest entry: printed on travellers as an anchor outside the database."""

    seq: int
    hash: str
    at: datetime | None


def head(session: Session) -> Head:
    """The chain's head; sequence 0 and the origin hash for an empty trail."""
    columns = select(AuditEntry.id, AuditEntry.entry_hash, AuditEntry.at)
    last = once(session, "head", lambda: session.execute(columns.order_by(AuditEntry.id.desc()).limit(1)).first())
    return Head(0, ORIGIN_HASH, None) if last is None else Head(*last)


def entries_for(session: Session, ref: str) -> Iterator[AuditEntry]:
    """Every act that touched one object, oldest first."""
    return iter(
        session.execute(
            select(AuditEntry)
            .join(AuditObject, AuditObject.entry_id == AuditEntry.id)
            .where(AuditObject.ref == ref)
            .order_by(AuditEntry.id)
        ).scalars()
    )


def was_done(session: Session, request_id: str | None) -> bool:
    """Whether a form with this id made its entry already."""
    done = select(AuditEntry.id).where(AuditEntry.request_id == request_id)
    return request_id is not None and session.execute(done).first() is not None


def since(session: Session, seq: int, *, ref: str, actions: Sequence[str]) -> list[AuditEntry]:
    """The entries after a sequence number that did one of these things to one object, oldest first."""
    query = select(AuditEntry).join(AuditObject, AuditObject.entry_id == AuditEntry.id)
    query = query.where(AuditObject.ref == ref, AuditObject.entry_id > seq, AuditEntry.action.in_(actions))
    return list(session.execute(query.order_by(AuditEntry.id)).scalars())


def newest(session: Session, *, before: int | None, count: int) -> list[AuditEntry]:
    """The newest entries, or those before a sequence number, newest first."""
    query = select(AuditEntry).order_by(AuditEntry.id.desc()).limit(count)
    return list(session.execute(query.where(AuditEntry.id < before) if before else query).scalars())
