"""Travellers of all open jobs: written one by one by the worker, each kept as soon as it is whole."""

import logging
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy.orm import Session

from logbook.actions import papers, people, travellerbatches
from logbook.background.compute import worker_actor
from logbook.background.rounds import Rounds
from logbook.paper.traveller import traveller_html
from logbook.paper.writer import PdfWriter
from logbook.records.audit import Actor
from logbook.records.batches import TravellerBatch
from logbook.records.opened import Shop
from logbook.records.orders import Job
from logbook.refusals import Refused

LOOK_SECONDS = 2
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class _Wish:
    batch_id: int
    page: str
    address: str
    jobs: list[int]


def write_forever(shop: Shop) -> None:
    """Look again and again for what is asked for."""
    Rounds(_log, "travellers", lambda: write_asked(shop)).forever(LOOK_SECONDS)


def write_asked(shop: Shop) -> bool:
    """Write the batch that waits; False when there is none, or another worker is at it."""
    with shop.alone("travellers") as mine:
        if not mine:
            return False
        with shop.database.reading() as session:
            if travellerbatches.at_work(session) is None:
                return False
        wish = _begun(shop)
        if wish is not None:
            _write(shop, wish)
        return wish is not None


def _begun(shop: Shop) -> _Wish | None:
    with shop.database.writing() as session:
        for left in travellerbatches.left_running(session):
            travellerbatches.fail(session, worker_actor(), left, sentence=travellerbatches.LEFT)
        batch = travellerbatches.begin(session, worker_actor().now)
        if batch is None:
            return None
        return _Wish(batch.id, batch.page, batch.address, [job.id for job in papers.open_jobs(session)])


def _write(shop: Shop, wish: _Wish) -> None:
    missing = []
    try:
        with PdfWriter() as writer:
            for done, job_id in enumerate(wish.jobs, start=1):
                trouble, goes_on = _one(shop, wish, job_id, writer, part=done / len(wish.jobs))
                missing.extend([trouble] if trouble else [])
                if not goes_on:
                    return
    except Exception as error:  # whatever it was, the batch must not stay "running"
        _log.exception("travellers, batch %s", wish.batch_id)
        words = f"Something unexpected happened ({type(error).__name__}); the worker's log has the details."
        with shop.database.writing() as session:
            travellerbatches.fail(session, worker_actor(), wish.batch_id, sentence=words)
        return
    with shop.database.writing() as session:
        travellerbatches.end(session, worker_actor(), wish.batch_id, sentence=" ".join(missing))


def _one(shop: Shop, wish: _Wish, job_id: int, writer: PdfWriter, *, part: float) -> tuple[str, bool]:
    """One job's traveller: what was wrong with it, if anything, and whether the work goes on."""
    trouble, issue = "", None
    with shop.database.reading() as session:
        batch = session.get_one(TravellerBatch, wish.batch_id)
        gathered = _gathered(shop, session, batch, session.get_one(Job, job_id))
    try:
        pdf = papers.store_pdf(shop.store, writer.pdf(traveller_html(gathered.view, page=wish.page), gathered.assets()))
    except Refused as refusal:
        trouble, pdf = f"{gathered.view.job}: {refusal.sentence}", None
    with shop.database.writing() as session:
        batch, job = session.get_one(TravellerBatch, wish.batch_id), session.get_one(Job, job_id)
        if pdf is not None and batch.state == "running":
            try:
                issue = papers.issue_traveller(session, _asker(batch), job=job, gathered=gathered, pdf=pdf)
            except Refused as refusal:
                trouble = f"{gathered.view.job}: {refusal.sentence}"
        return trouble, travellerbatches.written(session, wish.batch_id, issue=issue, part=part)


def _gathered(shop: Shop, session: Session, batch: TravellerBatch, job: Job) -> papers.Gathered:
    return papers.traveller(
        session,
        _asker(batch),
        job=job,
        store=shop.store,
        own_safety=shop.settings.own_safety_path,
        address=batch.address,
        manner=people.manner_of(batch.asked_by),
    )


def _asker(batch: TravellerBatch) -> Actor:
    """Whoever asked has printed them; the worker only holds the pen."""
    person = batch.asked_by
    return Actor(person.id, person.name, person.role, datetime.now(UTC))
