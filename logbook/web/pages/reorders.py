"""Ordering again exactly as before: first what has changed since, then the new order."""

from datetime import timedelta
from pathlib import Path

from flask import Blueprint, url_for
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import DateField, IntegerField, TextAreaField
from wtforms.validators import Length as TextLength
from wtforms.validators import NumberRange

from logbook.actions import reorders as actions
from logbook.actions.finding import by_code
from logbook.actions.heirlooms import Shelves, heirloom
from logbook.records.audit import Actor
from logbook.records.orders import Job, Order
from logbook.web.acting import act, page, reading
from logbook.web.fields import MAYBE, NEEDED, BenchForm
from logbook.web.gate import actor, the_shop

pages = Blueprint("reorders", __name__)


class AgainForm(BenchForm):
    """What is new about a reorder."""

    due = DateField("Due", [MAYBE])
    note = TextAreaField("Note", [MAYBE, TextLength(max=2000)])


class JobAgainForm(AgainForm):
    """One job again, perhaps another number of pieces."""

    quantity = IntegerField("Pieces", [NEEDED, NumberRange(min=1, max=1000)])


@pages.route("/order/<code>/again", methods=["GET", "POST"])
def of_order(code: str) -> Response | tuple[str, int]:
    """Every job of an order again."""
    form = AgainForm()

    def place(session: Session, by: Actor) -> Order:
        jobs = by_code(session, Order, code).jobs
        return actions.order_again(session, by, _shelves(), jobs=jobs, again=_again(form))

    if form.validate_on_submit() and (done := act(form, place, lambda order: _where(order))):
        return done
    with reading() as session:
        order = by_code(session, Order, code)
        return _page(session, form, order.jobs, url_for("reorders.of_order", code=code), order.number)


@pages.route("/job/<code>/again", methods=["GET", "POST"])
def of_job(code: str) -> Response | tuple[str, int]:
    """One job again, in an order of its own."""
    with reading() as session:
        form = JobAgainForm(data={"quantity": by_code(session, Job, code).quantity})

    def place(session: Session, by: Actor) -> Order:
        job = by_code(session, Job, code)
        return actions.order_again(session, by, _shelves(), jobs=[job], again=_again(form))

    if form.validate_on_submit() and (done := act(form, place, lambda order: _where(order))):
        return done
    with reading() as session:
        job = by_code(session, Job, code)
        return _page(session, form, [job], url_for("reorders.of_job", code=code), job.number)


def _again(form: AgainForm) -> actions.Again:
    quantity = form.quantity.data if isinstance(form, JobAgainForm) else None
    return actions.Again(due_on=form.due.data, note=form.note.data or "", quantity=quantity)


def _where(order: Order) -> str:
    """One job opens itself; several open their order."""
    if len(order.jobs) == 1:
        return url_for("jobs.job", code=order.jobs[0].code)
    return url_for("orders.order", code=order.code)


def _shelves() -> Shelves:
    own: Path = the_shop().settings.own_safety_path
    return Shelves(the_shop().store, own)


def _page(session: Session, form: AgainForm, jobs: list[Job], address: str, number: str) -> tuple[str, int]:
    left = [heirloom(session, actor(), _shelves(), job=job) for job in jobs]
    soon = actor().now.date() + timedelta(days=14)
    return page("reorder.html", form=form, left=left, address=address, number=number, soon=soon)
