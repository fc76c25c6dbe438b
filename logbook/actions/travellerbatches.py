"""Every open job's traveller in one go: asked for at a page, written by the worker, stopped by whoever may write."""

import json
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import papers
from logbook.actions.finding import ref
from logbook.manner import counted
from logbook.records.audit import Act, Actor, record
from logbook.records.batches import TravellerBatch
from logbook.records.floor import TravellerIssue
from logbook.refusals import Refused

LEFT = "The machine or its worker stopped meanwhile; what was written until then is kept."


def ask_for(session: Session, by: Actor, *, page: str, address: str) -> TravellerBatch:
    """Somebody wants all of them; ``page`` is A4 or Letter, ``address`` what their QR codes open."""
    if at_work(session) is not None:
        raise Refused("They are being written already; wait for the end, or stop it.")
    if page not in ("A4", "Letter"):
        raise Refused("Choose A4 or Letter for the page.", field="page")
    if not papers.open_jobs(session):
        raise Refused("No job is open; take an order first.")
    assert by.person_id is not None
    made = TravellerBatch(state="waiting", page=page, address=address, asked_at=by.now, asked_by_id=by.person_id)
    session.add(made)
    session.flush()
    record(session, by, Act("travellers of all open jobs asked for", [ref(made)], new={"page": page}))
    return made


def at_work(session: Session) -> TravellerBatch | None:
    """The one that waits or is being written."""
    unfinished = select(TravellerBatch).where(TravellerBatch.state.in_(("waiting", "running")))
    return session.execute(unfinished.order_by(TravellerBatch.id)).scalars().first()


def newest(session: Session) -> TravellerBatch | None:
    """The newest that ended."""
    ended = select(TravellerBatch).where(TravellerBatch.ended_at.is_not(None))
    return session.execute(ended.order_by(TravellerBatch.id.desc())).scalars().first()


def begin(session: Session, now: datetime) -> TravellerBatch | None:
    """The one that waits, marked as being written."""
    found = at_work(session)
    if found is None or found.state != "waiting":
        return None
    found.state, found.started_at = "running", now
    return found


def written(session: Session, batch_id: int, *, issue: TravellerIssue | None, part: float) -> bool:
    """One more is done, kept as ``issue`` unless it could not be written; False where somebody stopped the work."""
    found = session.get_one(TravellerBatch, batch_id)
    if issue is not None:
        found.issues = json.dumps([*json.loads(found.issues), issue.id])
    found.progress = min(99, int(part * 100))
    return found.state == "running"


def end(session: Session, by: Actor, batch_id: int, *, sentence: str = "") -> None:
    """All were tried; ``sentence`` names what could not be written. Nothing, where it was stopped."""
    found = session.get_one(TravellerBatch, batch_id)
    if found.ended_at is not None:
        return
    found.state, found.progress, found.ended_at, found.sentence = "done", 100, by.now, sentence
    _record(session, by, "travellers of all open jobs written", found)


def stop(session: Session, by: Actor, *, batch: TravellerBatch) -> None:
    """Leave off: what was written until now is kept and can be fetched."""
    if batch.state not in ("waiting", "running"):
        raise Refused("It has ended already; there is nothing left to stop.")
    batch.state, batch.ended_at, batch.sentence = "stopped", by.now, "Stopped by hand."
    _record(session, by, "writing of travellers stopped", batch)


def fail(session: Session, by: Actor, batch_id: int, *, sentence: str) -> None:
    """It broke off; nothing, where it had ended."""
    found = session.get_one(TravellerBatch, batch_id)
    if found.ended_at is not None:
        return
    found.state, found.ended_at, found.sentence = "failed", by.now, sentence
    _record(session, by, "writing of travellers failed", found)


def _record(session: Session, by: Actor, words: str, batch: TravellerBatch) -> None:
    count = len(json.loads(batch.issues))
    record(session, by, Act(words, [ref(batch)], reason=batch.sentence or None, new={"travellers": count}))


def left_running(session: Session) -> list[int]:
    """Row ids of what says that it is being written; whoever asks holds the lock and knows that nobody does."""
    return list(session.execute(select(TravellerBatch.id).where(TravellerBatch.state == "running")).scalars())


def kept(session: Session, batch: TravellerBatch) -> list[TravellerIssue]:
    """The travellers of a batch that are still kept, in the order in which they were written."""
    rows = [session.get_one(TravellerIssue, one) for one in json.loads(batch.issues)]
    return [row for row in rows if row.file.dropped_at is None]


def in_words(session: Session, batch: TravellerBatch) -> str:
    """What came of it."""
    return counted(len(kept(session, batch)), "traveller")
