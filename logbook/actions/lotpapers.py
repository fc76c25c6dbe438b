"""A paper that came with a lot: kept as it came, under its hash; what it is is read from its first bytes alone."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.pictures import clean_name
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore, keep
from logbook.records.lotpapers import LotPaper
from logbook.records.materials import Lot
from logbook.refusals import Refused

MOST_BYTES = 20 * 1024 * 1024
"""Shop default, no source: a scanned delivery note has a few megabytes."""
MOST_PAPERS = 20
_BEGINNINGS = {
    # ISO 32000-1, 7.5.2; ISO/IEC 10918-1, annex B (SOI and the next marker); ISO/IEC 15948, 5.2
    b"%PDF-": "application/pdf",
    b"\xff\xd8\xff": "image/jpeg",
    b"\x89PNG\r\n\x1a\n": "image/png",
}


@dataclass(frozen=True, slots=True)
class Incoming:
    """A paper that was received and waits for the act that keeps it."""

    name: str
    waiting: Path
    media_type: str


@contextmanager
def received(store: FileStore, name: str, stream: IO[bytes]) -> Iterator[Incoming]:
    """A paper in a temporary file that is gone afterwards, unless it was kept.

    Raises Refused for what is neither PDF, JPEG nor PNG by its first bytes, for an empty and for a too large file.
    """
    waiting = store.receive(stream)
    try:
        yield Incoming(clean_name(name), waiting, _checked(waiting))
    finally:
        waiting.unlink(missing_ok=True)


def _checked(waiting: Path) -> str:
    if waiting.stat().st_size > MOST_BYTES:
        raise Refused(f"This file is larger than {MOST_BYTES // 1024**2} MB; scan it coarser.", field="paper")
    with waiting.open("rb") as file:
        first = file.read(16)
    found = next((kind for beginning, kind in _BEGINNINGS.items() if first.startswith(beginning)), None)
    if found is None:
        raise Refused("This is no PDF, JPEG or PNG file; save or scan it as one of these.", field="paper")
    return found


def attach(session: Session, by: Actor, *, lot: Lot, store: FileStore, paper: Incoming) -> LotPaper:
    """Keep a paper beside its lot; the same file twice is one."""
    known = papers_of(session, lot)
    if len(known) >= MOST_PAPERS:
        raise Refused(
            f"{MOST_PAPERS} papers stand beside this lot already; put several pages into one PDF.", field="paper"
        )
    sha256, size = store.adopt(paper.waiting)
    if any(one.file.sha256 == sha256 for one in known):
        raise Refused("This file stands beside the lot already.", field="paper")
    kept = keep(session, sha256=sha256, size=size, media_type=paper.media_type, kind="record", now=by.now)
    made = LotPaper(lot_id=lot.id, file=kept, name=paper.name, at=by.now, person_id=by.person_id)
    session.add(made)
    session.flush()
    record(session, by, Act("paper kept with a lot", [ref(lot), ref(made)], new={"size": size}, files=[sha256]))
    return made


def papers_of(session: Session, lot: Lot) -> list[LotPaper]:
    """The papers beside a lot, oldest first."""
    return list(session.execute(select(LotPaper).where(LotPaper.lot_id == lot.id).order_by(LotPaper.id)).scalars())
