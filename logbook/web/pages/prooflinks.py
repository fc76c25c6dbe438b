"""Links to proofs, as staff make and withdraw them; what a customer meets is ``web.proofsite``."""

from flask import Blueprint, url_for
from sqlalchemy.orm import Session
from werkzeug import Response

from logbook.actions import prooflinks as actions
from logbook.actions.finding import by_code
from logbook.records.audit import Actor
from logbook.records.orders import Proof
from logbook.records.prooflinks import ProofLink
from logbook.web.acting import act, reading
from logbook.web.fields import BenchForm
from logbook.web.linkview import LinkForm, keep_fresh
from logbook.web.pages.jobs import job_page

pages = Blueprint("prooflinks", __name__)


class WithdrawForm(BenchForm):
    """One button."""


@pages.post("/proof/<code>/link")
def make(code: str) -> Response | tuple[str, int]:
    """A link to a proof; its address is shown on the next page and never again."""
    form = LinkForm()
    with reading() as session:
        owner = by_code(session, Proof, code).job.code

    def work(session: Session, by: Actor) -> None:
        _, address = actions.make_link(session, by, proof=by_code(session, Proof, code), days=form.days.data)
        keep_fresh(owner, address)

    if form.validate_on_submit() and (done := act(form, work, lambda _: f"{url_for('jobs.job', code=owner)}#proof")):
        return done
    return job_page(owner, link_form=form)


@pages.post("/proof-link/<code>/withdraw")
def withdraw(code: str) -> Response | tuple[str, int]:
    """A link serves no more."""
    form = WithdrawForm()
    with reading() as session:
        owner = by_code(session, ProofLink, code).proof.job.code
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.revoke(session, by, link=by_code(session, ProofLink, code)),
            lambda _: f"{url_for('jobs.job', code=owner)}#proof",
        )
    ):
        return done
    return job_page(owner, proof_form=form)
