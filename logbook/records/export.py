"""A complete copy for an inspector: tables as CSV, the trail as it was hashed, kept files, a manifest.

Described in ``templates/export/FORMAT.txt``, which goes into the copy beside a
verifier that was written from that text. Nothing is repaired or left away on
the way: a damaged trail is copied as it is, and the copy's own check names it.
"""

import csv
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import LargeBinary, cast, column, func, select, table, text
from sqlalchemy.orm import Session

from logbook import __version__
from logbook.records import chain
from logbook.records.backup import Progress, pour
from logbook.records.base import Base
from logbook.records.cells import harmless
from logbook.records.dialects import dialect_of
from logbook.records.files import FileStore, KeptFile, hash_file
from logbook.records.manifest import NAME, SUM_NAME, Anchor, sum_line
from logbook.refusals import Refused

FORMAT = "lens-bench-logbook/export/1"
SECRET_TABLES = ("sign_in", "throttle", "pin")
SECRET_COLUMNS = ("password_hash", "hash_key", "token_hash", "enrol_hash", "pin_hash", "token")
_TRAIL = ("previous_hash", "entry_hash", "at", "action", "person_id", "actor_name", "request_id", "reason", "body")


@dataclass(frozen=True, slots=True)
class Copied:
    """What lies in a copy: rows of each table, number of kept files, files that the shop had lost."""

    tables: dict[str, int]
    kept: int
    absent: tuple[str, ...]


def tables_to_copy() -> dict[str, list[str]]:
    """Every table with its columns, secrets left out."""
    known = Base.metadata.tables
    return {
        name: [one.name for one in known[name].columns if one.name not in SECRET_COLUMNS]
        for name in sorted(known)
        if name not in SECRET_TABLES
    }


def copy_everything(session: Session, store: FileStore, folder: Path, *, progress: Progress) -> Copied:
    """Tables, trail and kept files into an empty folder."""
    (folder / "tables").mkdir()
    counts = {name: _copy_table(session, name, columns, folder) for name, columns in tables_to_copy().items()}
    _copy_trail(session, folder / "trail.jsonl")
    kept, absent = _copy_kept(session, store, folder, progress)
    return Copied(counts, kept, tuple(absent))


def _copy_table(session: Session, name: str, columns: list[str], folder: Path) -> int:
    count = 0
    rows = session.execute(select(*_as_bytes(*columns)).select_from(table(name)).order_by(text("rowid")))
    with (folder / "tables" / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file)
        out.writerow(columns)
        for row in rows:
            out.writerow([harmless(_readable(value)) for value in row])
            count += 1
    return count


def _as_bytes(*columns: str) -> list[Any]:
    """Values as they lie in the file: what a bit has changed must not stop the copy."""
    return [cast(column(name), LargeBinary).label(name) for name in columns]


def _readable(value: bytes | None) -> str | None:
    return None if value is None else value.decode(errors="backslashreplace")


def _copy_trail(session: Session, path: Path) -> None:
    rows = select(column("id").label("seq"), *_as_bytes(*_TRAIL)).select_from(table("audit_entry"))
    objects = _objects(session)
    waiting = next(objects, None)
    with path.open("w", encoding="utf-8", newline="") as file:
        for row in session.execute(rows.order_by(text("seq"))):
            told = {name: _readable(getattr(row, name)) for name in _TRAIL}
            told["person_id"] = _number(told["person_id"])
            mine = []
            while waiting is not None and waiting[0] <= row.seq:
                mine += [waiting[1]] if waiting[0] == row.seq else []
                waiting = next(objects, None)
            file.write(json.dumps({"seq": row.seq, **told, "objects": mine}, ensure_ascii=False) + "\n")


def _number(value: str | None) -> Any:
    return int(value) if value is not None and value.isdigit() else value


def _objects(session: Session) -> Iterator[tuple[int, str | None]]:
    """Which entry touched what, in the order of entries."""
    rows = select(column("entry_id"), *_as_bytes("ref")).select_from(table("audit_object"))
    for entry_id, ref in session.execute(rows.order_by(text("entry_id, id"))):
        yield entry_id, _readable(ref)


def _copy_kept(session: Session, store: FileStore, folder: Path, progress: Progress) -> tuple[int, list[str]]:
    standing = select(KeptFile.sha256, KeptFile.size).where(KeptFile.dropped_at.is_(None)).order_by(KeptFile.id)
    wanted = [(row.sha256, row.size) for row in session.execute(standing)]
    done, whole, absent = 0, sum(size for _, size in wanted) or 1, []
    for sha256, size in wanted:
        progress(done / whole)
        target = folder / "files" / sha256[:2] / sha256
        if store.has(sha256):
            target.parent.mkdir(parents=True, exist_ok=True)
            with store.path(sha256).open("rb") as file, target.open("xb") as out:
                pour(file, out)
        else:
            absent.append(sha256)
        done += size
    progress(1)
    return len(wanted) - len(absent), absent


def write_manifest(session: Session, folder: Path, now: datetime, anchor: Anchor) -> None:
    """Names every file that lies there; the last thing that is written."""
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    told = {
        "format": FORMAT,
        "made_at": now.astimezone(UTC).isoformat(timespec="seconds"),
        "version": __version__,
        "anchor": asdict(anchor),
        "reached": dialect_of(session).reached(session, "audit_entry"),
        "files": [
            {"path": path.relative_to(folder).as_posix(), "size": path.stat().st_size, "sha256": hash_file(path)}
            for path in paths
        ],
    }
    content = json.dumps(told, indent=1, ensure_ascii=False).encode()
    (folder / NAME).write_bytes(content)
    (folder / SUM_NAME).write_bytes(sum_line(content))


def ends_of(session: Session) -> Anchor:
    """Where the trail stands, read as it lies there even when it is damaged; Refused for an empty one."""
    entry = table("audit_entry")
    ends: Any = select(func.count(), func.min(column("id")), func.max(column("id"))).select_from(entry)
    count, first, last = session.execute(ends).one()
    if not count:
        raise Refused("There is nothing to copy yet: the shop has no owner.")
    wanted = select(column("id"), *_as_bytes("entry_hash", "at")).select_from(entry)
    rows = {row.id: row for row in session.execute(wanted.where(column("id").in_((first, last))))}
    told = [_readable(value) or "" for value in (rows[first].entry_hash, rows[last].entry_hash, rows[last].at)]
    return Anchor(told[0], count, told[1], told[2])


def order_lines(session: Session) -> Iterator[dict[str, Any]]:
    """Orders with customer and jobs, as the index page lists them."""
    found = session.execute(
        text(
            "SELECT o.id, o.number, o.placed_at, o.customer_id, c.name FROM order_ o "
            "LEFT JOIN customer c ON c.id = o.customer_id ORDER BY o.id"
        )
    )
    jobs: dict[int, list[str]] = {}
    for order_id, number, artwork in session.execute(text("SELECT order_id, number, artwork FROM job ORDER BY id")):
        jobs.setdefault(order_id, []).append(f"{number} {artwork}".strip())
    for order in found:
        customer = order.name or ("erased" if order.customer_id else "the shop's own")
        yield {"number": order.number, "customer": customer, "placed_at": order.placed_at[:16].replace("T", " "),
               "jobs": jobs.get(order.id, [])}  # fmt: skip


def first_fault(session: Session) -> str | None:
    """What is wrong with the trail at the moment of copying."""
    return chain.first_bad(session)
