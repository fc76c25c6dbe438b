"""Forgetting a customer, or a job's pictures: what will go is shown first."""

from flask import Blueprint, g, url_for
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import StringField
from wtforms.validators import Length as TextLength

from logbook.actions import erasing
from logbook.actions.finding import by_code
from logbook.records.audit import Actor
from logbook.records.drawn import clear
from logbook.records.orders import Customer, Job
from logbook.web.acting import act, page, reading
from logbook.web.fields import NEEDED, BenchForm
from logbook.web.gate import owner_only, the_shop

pages = Blueprint("erasing", __name__)


class ForgetForm(BenchForm):
    """Why."""

    reason = StringField(
        "Why", [NEEDED, TextLength(max=300)],
        description="It stands in the record for good: without the person's name. “Asked for by mail” is enough.",
    )  # fmt: skip


@pages.route("/customer/<code>/forget", methods=["GET", "POST"])
@owner_only
def customer(code: str) -> Response | tuple[str, int]:
    """What a customer's erasing takes away, and the button that does it."""
    form = ForgetForm()

    def work(session: Session, by: Actor) -> None:
        found = by_code(session, Customer, code)
        g.gone = erasing.forget_customer(session, by, customer=found, reason=form.reason.data)

    if form.validate_on_submit() and (done := _forgotten(form, work, url_for("erasing.customer", code=code))):
        return done
    with reading() as session:
        found = by_code(session, Customer, code)
        return page(
            "forget.html", title="Forget a customer", what=found.called, form=form, erased_at=found.erased_at,
            going=erasing.of_customer(session, found), holding=erasing.still_holding(session),
            action=url_for("erasing.customer", code=code),
            stays=("orders, jobs and prints with their numbers and sizes", "prices and dates",
                   "names of artworks, and reasons that somebody typed: change or avoid what names the person there",
                   "pictures: they are forgotten job by job"),
        )  # fmt: skip


@pages.route("/job/<code>/forget-pictures", methods=["GET", "POST"])
@owner_only
def pictures(code: str) -> Response | tuple[str, int]:
    """What erasing a job's pictures takes away, and the button that does it."""
    form = ForgetForm()

    def work(session: Session, by: Actor) -> None:
        found = by_code(session, Job, code)
        g.gone = erasing.forget_pictures(session, by, job=found, reason=form.reason.data)

    if form.validate_on_submit() and (done := _forgotten(form, work, url_for("jobs.job", code=code))):
        return done
    with reading() as session:
        found = by_code(session, Job, code)
        return page(
            "forget.html", title="Forget a job's pictures", what=f"{found.number} {found.artwork}", form=form,
            erased_at=found.pictures_erased_at, going=erasing.of_pictures(session, found),
            holding=erasing.still_holding(session), action=url_for("erasing.pictures", code=code),
            stays=("hashes, sizes and recipes: which pitch made which print is still answered",
                   "photographs that were signed at the bench"),
        )  # fmt: skip


def _forgotten(form: ForgetForm, work: object, then: str) -> Response | None:
    """Do it; the bytes go once the transaction is safe, and a crash between the two is swept at the next start."""
    g.gone = []
    done = act(form, work, lambda _: then)  # type: ignore[arg-type]
    if done is not None:
        for sha256 in g.gone:
            the_shop().store.drop(sha256)
        clear(the_shop().store)
    return done
