"""An order that was taken wrongly: whose it is, how to reach them, when it is due, what is to be known of it."""

from flask import Blueprint, url_for
from werkzeug import Response
from wtforms import DateField, StringField, TextAreaField
from wtforms.validators import Length as TextLength

from logbook.actions import orderchanges
from logbook.actions.finding import by_code, ref
from logbook.records.orders import Order
from logbook.web import meanwhile
from logbook.web.acting import act, page, reading
from logbook.web.fields import MAYBE, BenchForm
from logbook.web.pages.orders import known_names

pages = Blueprint("orderchange", __name__)


class ChangeForm(BenchForm):
    """What an order says beside its jobs."""

    customer = StringField("Customer", [MAYBE, TextLength(max=200)], description="Empty for a piece of the shop's own.")
    contact = StringField("How to reach them", [MAYBE, TextLength(max=300)])
    due = DateField("Due", [MAYBE])
    note = TextAreaField("Note", [MAYBE, TextLength(max=2000)])


@pages.route("/order/<code>/change", methods=["GET", "POST"])
def change(code: str) -> Response | tuple[str, int]:
    """Put an order right until it is closed."""
    with reading() as session:
        found = by_code(session, Order, code)
        whose, erased = found.customer, found.customer is not None and found.customer.name is None
        form = ChangeForm(
            customer=whose.name if whose else "",
            contact=whose.contact if whose else "",
            due=found.due_on,
            note=found.note,
        )
        meanwhile.watch(session, form, ref(found), "order changed")
        number, names = found.number, known_names(session)
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: orderchanges.change_order(
                session,
                by,
                order=by_code(session, Order, code),
                customer_name=None if erased else form.customer.data or "",
                contact=form.contact.data or "",
                due_on=form.due.data,
                note=form.note.data or "",
            ),
            lambda _: url_for("orders.order", code=code),
        )
    ):
        return done
    return page("order_change.html", form=form, code=code, number=number, names=names, erased=erased)
