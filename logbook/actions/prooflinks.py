"""Links to a proof: off until the owner states the public address under which customers reach them.

A token has 256 random bits, is shown once and kept as its hash. A link serves
one proof until a day, takes one answer, and can be withdrawn at any time.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import proofs
from logbook.actions.finding import fact, ref
from logbook.actions.people import token_hash
from logbook.actions.travellernumbers import PLAIN
from logbook.engine import proofing, viewstack
from logbook.lengths import parse_length
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore
from logbook.records.orders import Answer, Job, Order, Proof
from logbook.records.prooflinks import ProofLink
from logbook.refusals import Refused

FACT = "proof address"
DAYS = 14
MOST_DAYS = 90
NAME_MOST, WORDS_MOST = 120, 2000
NEWS_FOR = timedelta(days=4)
"""How long an answer that came by link stands on the first page: over a long weekend."""
GONE = "This link serves no more; ask the workshop for a new one."


def public_address(session: Session) -> str:
    """Where customers open links, without a last slash; empty while links are off."""
    return fact(session, FACT)


# --- what staff do


def make_link(session: Session, by: Actor, *, proof: Proof, days: int = DAYS) -> tuple[ProofLink, str]:
    """A link to the newest proof of a job, and its address: the only time that anybody sees it."""
    base = public_address(session)
    if not base:
        raise Refused("Links are off; the owner turns them on where the shop writes down what it knows of itself.")
    if not 1 <= days <= MOST_DAYS:
        raise Refused(f"A link serves 1 to {MOST_DAYS} days; write a number between.", field="days")
    if is_overtaken(proof) or proof.animation.dropped_at is not None:
        raise Refused("Something changed after this proof; make a new one first.")
    token = secrets.token_urlsafe(32)
    link = ProofLink(proof=proof, token_hash=token_hash(token), made_at=by.now, made_by_id=by.person_id,
                     until=by.now + timedelta(days=days))  # fmt: skip
    session.add(link)
    session.flush()
    record(session, by, Act("proof link made", _touched(link), new={"until": link.until.isoformat()}))
    return link, f"{base}/p/{token}"


def revoke(session: Session, by: Actor, *, link: ProofLink) -> None:
    """The link serves no more, from now on."""
    if link.revoked_at is not None:
        raise Refused("This link was withdrawn already; nothing more is needed.")
    link.revoked_at = by.now
    record(session, by, Act("proof link withdrawn", _touched(link)))


def _touched(link: ProofLink) -> list[str]:
    return [ref(link.proof.job), ref(link.proof), ref(link)]


def of_job(session: Session, job: Job) -> list[ProofLink]:
    """Every link to a proof of this job, newest first."""
    mine = select(ProofLink).join(Proof).where(Proof.job_id == job.id)
    return list(session.execute(mine.order_by(ProofLink.id.desc())).scalars())


class News(NamedTuple):
    """An answer that came by a link, and the job it is about."""

    code: str
    number: str
    artwork: str
    verdict: str
    given_by: str | None
    at: datetime


def answers_since(session: Session, moment: datetime) -> list[News]:
    """What was answered by a link since then about jobs that are not over, newest first."""
    wanted = select(Job.code, Job.number, Job.artwork, Answer.verdict, Answer.given_by, ProofLink.answered_at)
    wanted = wanted.select_from(ProofLink).join(Answer, ProofLink.answer_id == Answer.id)
    wanted = wanted.join(Proof, ProofLink.proof_id == Proof.id).join(Job).join(Order)
    wanted = wanted.where(ProofLink.answered_at >= moment, Job.ended_at.is_(None), Order.cancelled_reason.is_(None))
    return [News(*row) for row in session.execute(wanted.order_by(ProofLink.answered_at.desc()))]  # type: ignore[arg-type]


# --- what a customer meets


def of_token(session: Session, token: str, now: datetime) -> ProofLink | None:
    """The link that a token opens; None where there is none, or none any more."""
    wanted = select(ProofLink).where(ProofLink.token_hash == token_hash(token))
    return _living(session, session.execute(wanted).scalar_one_or_none(), now)


def of_code(session: Session, code: str, now: datetime) -> ProofLink | None:
    """The link with this code, for somebody whose token was checked; None where it serves no more."""
    return _living(session, session.execute(select(ProofLink).where(ProofLink.code == code)).scalar_one_or_none(), now)


def _living(session: Session, link: ProofLink | None, now: datetime) -> ProofLink | None:
    if link is None or link.revoked_at is not None or now >= link.until or not public_address(session):
        return None
    return link if link.proof.animation.dropped_at is None else None


def is_overtaken(proof: Proof) -> bool:
    """Whether there is a newer proof, or what it shows is not what the job is now, or the job is over."""
    job = proof.job
    over = job.ended_at is not None or job.order.cancelled_reason is not None
    return over or proof is not job.proofs[-1] or not proofs.is_current(proof)


def answer_to(link: ProofLink) -> Answer | None:
    """The answer that closes a link: its own, or one that staff wrote down since it was made."""
    if link.answer is not None:
        return link.answer
    return next((one for one in reversed(link.proof.answers) if one.at >= link.made_at), None)


def decide(session: Session, by: Actor, *, link: ProofLink, verdict: str, given_by: str, words: str = "") -> Answer:
    """The customer's one answer through a link, in the same record as one that staff write down."""
    if _living(session, link, by.now) is None:
        raise Refused(GONE)
    if answer_to(link) is not None:
        raise Refused("This proof was answered already; call the workshop to change that.")
    if is_overtaken(link.proof):
        raise Refused(
            "This proof was overtaken: what it shows has changed since. Ask the workshop for a link to the new one."
        )
    if verdict not in ("approved", "change"):
        raise Refused("Choose one of the two.", field="verdict")
    given_by = " ".join(given_by.split())
    if not given_by or len(given_by) > NAME_MOST:
        raise Refused(f"Write your name, in at most {NAME_MOST} characters.", field="given_by")
    if len(words) > WORDS_MOST:
        raise Refused(f"At most {WORDS_MOST} characters, please.", field="words")
    answer = proofs.record_answer(
        session, by, proof=link.proof, verdict=verdict, how="link", given_by=given_by, words=words, through=link
    )
    link.answer, link.answered_at = answer, by.now
    return answer


# --- what is shown


@dataclass(frozen=True, slots=True)
class Facts:
    """What a customer reads of a proof: nothing that is not on the page that is mailed."""

    shop: str
    title: str
    code: str
    size: str
    quantity: str
    way: str
    """left-right or up-down."""
    revision: int
    files: str
    views: int
    shape: tuple[int, int]
    """Dots of one view, wide and high."""


def facts(session: Session, store: FileStore, proof: Proof) -> Facts:
    """Of a proof as it was made, not of what its job became since."""
    told = proofs.shown(proof)
    path = store.path(proof.animation.sha256)
    return Facts(
        shop=fact(session, "shop name"),
        title=told["artwork"],
        code=proof.job.number,
        size=" × ".join(PLAIN.length(parse_length(told[side])) for side in ("width", "height")),
        quantity=str(told["quantity"]),
        way=told["flip"],
        revision=proof.revision,
        files=" ".join(one[:8] for one in proof.picture_hashes.split()),
        views=_count(proof),
        shape=proofing.size_of_moving(path),
    )


def _count(proof: Proof) -> int:
    return len(viewstack.chosen(len(proof.picture_hashes.split())))


def strip(path: Path, proof: Proof) -> bytes:
    """All views below each other as one JPEG, from the pixels of the moving proof."""
    return viewstack.of_moving(path, _count(proof))


def still(path: Path, proof: Proof, number: int) -> bytes | None:
    """One view as JPEG, counted from 1; None where there is none with that number."""
    views = viewstack.views_of_moving(path, _count(proof))
    return proofing.jpeg(views[number - 1]) if 1 <= number <= len(views) else None
