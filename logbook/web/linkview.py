"""Links to a job's proofs, as its page shows them to staff."""

from dataclasses import dataclass
from datetime import datetime

from flask import session as cookie
from sqlalchemy.orm import Session
from wtforms import IntegerField
from wtforms.validators import NumberRange

from logbook.actions import prooflinks
from logbook.records.orders import Job
from logbook.records.prooflinks import ProofLink
from logbook.web.fields import NEEDED, BenchForm

_FRESH = "proof-link"


class LinkForm(BenchForm):
    """How long a link serves."""

    days = IntegerField(
        "Days that it serves",
        [NEEDED, NumberRange(1, prooflinks.MOST_DAYS, message=f"1 to {prooflinks.MOST_DAYS} days.")],
        default=prooflinks.DAYS,
    )


@dataclass(frozen=True, slots=True)
class Shown:
    """One link: ``state`` in words, and whether it can still be withdrawn."""

    link: ProofLink
    state: str
    open: bool


@dataclass(frozen=True, slots=True)
class LinkView:
    """``on`` while the owner has links turned on; ``fresh`` is the address that was just made, shown this once."""

    on: bool
    fresh: str
    rows: list[Shown]


def link_view(session: Session, job: Job, now: datetime) -> LinkView:
    """The links of a job, newest first."""
    rows = [_shown(link, now) for link in prooflinks.of_job(session, job)]
    return LinkView(bool(prooflinks.public_address(session)), _fresh(job), rows)


def _shown(link: ProofLink, now: datetime) -> Shown:
    if link.revoked_at is not None:
        return Shown(link, "withdrawn", open=False)
    if link.answer is not None:
        return Shown(link, "answered", open=now < link.until)
    if now >= link.until:
        return Shown(link, "ended", open=False)
    if prooflinks.answer_to(link) or prooflinks.is_overtaken(link.proof):
        return Shown(link, "takes no answer any more", open=True)
    return Shown(link, "waits for the answer", open=True)


def keep_fresh(job_code: str, address: str) -> None:
    """Hold an address for the next page of whoever made it: it is kept nowhere but in that browser."""
    cookie[_FRESH] = {job_code: address}


def _fresh(job: Job) -> str:
    held: dict[str, str] = cookie.get(_FRESH, {})
    if job.code not in held:
        return ""
    cookie.pop(_FRESH)
    return held[job.code]
