"""What was mended after a crash: on record, and told on the status page."""

import json
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.records.audit import Act, Actor, AuditEntry, AuditObject, record

MENDED = "shop:repairs"
"""Every entry about a repair touches this, beside the object itself."""


@dataclass(frozen=True, slots=True)
class Repair:
    """One repair; ``about`` is the reference of the object it concerns, if there is one."""

    at: datetime
    sentence: str
    about: str | None


def note_swept(session: Session, by: Actor, *, temporary: int, unknown: int = 0) -> None:
    """Files that a crash left behind and that are gone now: half-written ones, and whole ones that no act kept."""
    told = {"half-written files": temporary, "files that no act kept": unknown}
    record(session, by, Act("left-over files deleted", [MENDED], new=told))


def newest(session: Session, count: int) -> list[Repair]:
    """The last repairs, newest first."""
    mine = select(AuditObject.entry_id).where(AuditObject.ref == MENDED)
    found = session.execute(
        select(AuditEntry).where(AuditEntry.id.in_(mine)).order_by(AuditEntry.id.desc()).limit(count)
    )
    return [_told(entry) for entry in found.scalars()]


def _told(entry: AuditEntry) -> Repair:
    body = json.loads(entry.body)
    numbers = ", ".join(f"{what}: {count}" for what, count in body["new"].items() if count)
    about = next((ref for ref in body["objects"] if ref != MENDED), None)
    sentence = entry.action + (f" ({numbers})" if numbers else "") + (f": {entry.reason}" if entry.reason else "")
    return Repair(entry.at, sentence, about)
