"""Erasing: what is personal goes, what was done stays. Owners only, with a reason, and what will go is shown first.

The trail holds keyed hashes of personal values; their keys go with them, so
that the chain verifies as before and nobody can try names against it. Bytes of
files go; their hashes, sizes and what was done with them stay.
"""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.backups import setup
from logbook.actions.finding import ref
from logbook.actions.recipes import pictures_of
from logbook.manner import counted
from logbook.records.audit import Act, Actor, canonical, record
from logbook.records.files import KeptFile
from logbook.records.floor import CustomersWord, Print, Run, RunPiece, StepRecord, TravellerIssue, Verdict
from logbook.records.lotpapers import LotPaper
from logbook.records.manifest import backups_in
from logbook.records.orders import Answer, Customer, Job, Order, Picture, Proof
from logbook.records.prooflinks import ProofLink
from logbook.records.quotes import Quote
from logbook.refusals import Refused
from logbook.rules.reasons import needed as reason_needed

ERASED_NAME = "erased"


@dataclass(frozen=True, slots=True)
class Going:
    """What will go: words for each kind, the files among it, and files that stay since something else needs them."""

    words: tuple[str, ...]
    files: tuple[KeptFile, ...]
    staying: int = 0


def still_holding(session: Session) -> list[str]:
    """Backups in the shop's folder: they hold whatever is erased now until they go themselves."""
    folder = setup(session).folder
    if folder is None or not folder.is_dir():
        return []
    return [path.name for path in backups_in(folder)]


def of_customer(session: Session, customer: Customer) -> Going:
    """What forgetting a customer takes away."""
    orders, answers, quotes = _orders(session, customer), _answers(session, customer), _quotes(session, customer)
    papers = _papers(session, customer)
    going = {
        "the name": bool(customer.name),
        "how to reach them": bool(customer.contact),
        "notes of {order}": sum(bool(order.note) for order in orders),
        "notes of {quote}": sum(bool(quote.note) for quote in quotes),
        "who answered and in which words, of {answer}": sum(bool(one.given_by or one.words) for one in answers),
        "what they said to {print} let go as made": len(_words(session, customer)),
        "{printed paper} with the name on (travellers, proof pages)": len(papers),
        "{link} to proofs, of no more use then": len(_open_links(session, customer)),
        "the keys of what the trail holds of them": bool(customer.hash_key),
    }
    return Going(tuple(_many(words, count) for words, count in going.items() if count), tuple(papers))


def _many(words: str, count: int) -> str:
    """Words with their number: the noun stands in braces, one of them or many."""
    return _NOUN.sub(lambda noun: counted(count, noun[1]), words)


_NOUN = re.compile(r"\{([^}]+)\}")


def _orders(session: Session, customer: Customer) -> list[Order]:
    return list(session.execute(select(Order).where(Order.customer_id == customer.id).order_by(Order.id)).scalars())


def _quotes(session: Session, customer: Customer) -> list[Quote]:
    return list(session.execute(select(Quote).where(Quote.customer_id == customer.id).order_by(Quote.id)).scalars())


def _answers(session: Session, customer: Customer) -> list[Answer]:
    mine = select(Answer).join(Proof).join(Job).join(Order).where(Order.customer_id == customer.id)
    return list(session.execute(mine.order_by(Answer.id)).scalars())


def _words(session: Session, customer: Customer) -> list[CustomersWord]:
    mine = select(CustomersWord).join(Verdict).join(Print, Verdict.print_id == Print.id).join(Job).join(Order)
    mine = mine.where(Order.customer_id == customer.id, CustomersWord.words.is_not(None))
    return list(session.execute(mine.order_by(CustomersWord.id)).scalars())


def _open_links(session: Session, customer: Customer) -> list[ProofLink]:
    mine = select(ProofLink).join(Proof).join(Job).join(Order).where(Order.customer_id == customer.id)
    return list(session.execute(mine.where(ProofLink.revoked_at.is_(None)).order_by(ProofLink.id)).scalars())


def _papers(session: Session, customer: Customer) -> list[KeptFile]:
    """Travellers and proof pages: they were printed with the name on them."""
    travellers = select(TravellerIssue.file_id).join(Job, Job.id == TravellerIssue.job_id).join(Order)
    pages = select(Proof.page_id).join(Job, Job.id == Proof.job_id).join(Order)
    wanted = travellers.where(Order.customer_id == customer.id).union(pages.where(Order.customer_id == customer.id))
    standing = select(KeptFile).where(KeptFile.id.in_(wanted), KeptFile.dropped_at.is_(None))
    return list(session.execute(standing.order_by(KeptFile.id)).scalars())


def forget_customer(session: Session, by: Actor, *, customer: Customer, reason: str) -> list[str]:
    """Erase who a customer was; returns hashes whose bytes the caller deletes after the transaction."""
    _check(by, reason)
    if customer.erased_at is not None:
        raise Refused(f"This customer was {customer.called} already.")
    going = of_customer(session, customer)
    touched: list[Order | Quote] = [*_orders(session, customer), *_quotes(session, customer)]
    for row in touched:
        row.note = ""
    answers = _answers(session, customer)
    for answer in answers:
        answer.given_by = answer.words = answer.hash_key = None
    said = _words(session, customer)
    for one in said:
        one.words = None
    links = _open_links(session, customer)
    for link in links:
        link.revoked_at = by.now
    _let_go(going.files, by)
    session.flush()
    # last: what keeps the search index forgets whatever was erased before
    customer.name = customer.contact = customer.hash_key = None
    customer.erased_at = by.now
    pieces = [session.get_one(Print, one.verdict.print_id) for one in said]
    refs = [ref(customer), *map(ref, touched), *dict.fromkeys(ref(answer.proof) for answer in answers)]
    refs += dict.fromkeys(map(ref, [*pieces, *links]))
    gone = [kept.sha256 for kept in going.files]
    record(session, by, Act("customer forgotten", refs, reason=reason.strip(), new={"files": len(gone)}, files=gone))
    return gone


def _check(by: Actor, reason: str) -> None:
    if by.role != "owner":
        raise Refused("Only an owner erases; ask the owner to do it.")
    reason_needed(reason, "Write down why; without naming the person.")


def _let_go(files: Iterable[KeptFile], by: Actor) -> None:
    for kept in files:
        kept.dropped_at, kept.recipe = by.now, None


def of_pictures(session: Session, job: Job) -> Going:
    """What forgetting a job's pictures takes away: originals, previews, proofs, interlaced files."""
    runs = _runs(session, job)
    groups = {
        "{original}": {picture.file_id for picture in job.pictures},
        "{preview}": {picture.preview_id for picture in job.pictures},
        "{proof}": {one for proof in job.proofs for one in (proof.animation_id, proof.page_id) if one},
        "{interlaced file}": {run.output_id for run in runs if run.output_id},
    }
    needed = _needed_elsewhere(session, job)
    standing = {
        kept.id: kept
        for kept in session.execute(
            select(KeptFile).where(KeptFile.id.in_(set().union(*groups.values())), KeptFile.dropped_at.is_(None))
        ).scalars()
    }
    going = [standing[one] for one in sorted(set(standing) - needed)]
    counts = {words: len(ids & set(standing) - needed) for words, ids in groups.items()}
    words = [_many(words, count) for words, count in counts.items() if count]
    if job.pictures:
        words.append(f"the file names of {counted(len(job.pictures), 'picture')}")
    return Going(tuple(words), tuple(going), len(set(standing) & needed))


def _runs(session: Session, job: Job) -> list[Run]:
    mine = select(Run).join(RunPiece).where(RunPiece.job_id == job.id).order_by(Run.id)
    return list(session.execute(mine).scalars().unique())


def _needed_elsewhere(session: Session, job: Job) -> set[int]:
    """Files of other jobs, and photographs that were signed at the bench: the same bytes are kept once."""
    needed: set[int] = set()
    for column in (Picture.file_id, Picture.preview_id):
        needed |= set(session.execute(select(column).where(Picture.job_id != job.id)).scalars())
    for page in (Proof.animation_id, Proof.page_id):
        needed |= {one for one in session.execute(select(page).where(Proof.job_id != job.id)).scalars() if one}
    # a shared sheet shows this job's pictures too: its file goes with them
    mine = select(RunPiece.run_id).where(RunPiece.job_id == job.id)
    outputs = select(Run.output_id).where(Run.id.not_in(mine), Run.output_id.is_not(None))
    needed |= {one for one in session.execute(outputs).scalars() if one}
    signed = select(KeptFile.id).join(StepRecord, StepRecord.value == KeptFile.sha256)
    judged = select(KeptFile.id).join(Verdict, Verdict.photo_sha256 == KeptFile.sha256)
    return needed | set(session.execute(signed.union(judged, select(LotPaper.file_id))).scalars())


def forget_pictures(session: Session, by: Actor, *, job: Job, reason: str) -> list[str]:
    """Erase what a job's pictures showed; returns hashes whose bytes the caller deletes after the transaction."""
    _check(by, reason)
    if job.pictures_erased_at is not None:
        raise Refused(f"The pictures of {job.number} were erased already.")
    runs = _runs(session, job)
    if any(run.state in ("waiting", "running") for run in runs):
        raise Refused("A run is at work on these pictures; stop it first.")
    going = of_pictures(session, job)
    for picture in job.pictures:
        picture.original_name, picture.remark = ERASED_NAME, ""
        picture.replaced_at = picture.replaced_at or by.now
    for run in runs:
        run.recipe = _nameless(run.recipe, job)
    _let_go(going.files, by)
    job.pictures_erased_at = by.now
    refs = [ref(job), *map(ref, job.pictures), *map(ref, runs)]
    gone = [kept.sha256 for kept in going.files]
    record(session, by, Act("pictures forgotten", refs, reason=reason.strip(), new={"files": len(gone)}, files=gone))
    return gone


def _nameless(recipe: str, job: Job) -> str:
    told = json.loads(recipe)
    for picture in pictures_of(told, job):
        picture["name"] = ERASED_NAME
    return canonical(told)
