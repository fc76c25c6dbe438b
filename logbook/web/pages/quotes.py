"""Quotes: the list, a new one, one quote and what the customer said to it."""

from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Any

from flask import Blueprint, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import DateField, IntegerField, RadioField, SelectField, StringField, TextAreaField
from wtforms.validators import Length as TextLength
from wtforms.validators import NumberRange

from logbook.actions import quotes as actions
from logbook.actions.finding import by_code
from logbook.actions.orders import DEFAULT_DISTANCE
from logbook.actions.quotepapers import EFFECTS, USES, quote_text
from logbook.records.audit import Actor
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.orders import Order
from logbook.records.quotes import Quote, QuoteLine
from logbook.web import choices
from logbook.web.acting import act, page, reading
from logbook.web.fields import MAYBE, NEEDED, BenchForm, LengthField, NumberField, SizeField
from logbook.web.gate import actor, own_manner, the_shop
from logbook.web.pages.orders import EFFECT_WORDS, FLIP_WORDS, known_names

pages = Blueprint("quotes", __name__)
PAGE_SIZE = 50
HOLDS = timedelta(days=30)


class LineForm(BenchForm):
    """One artwork at one size."""

    artwork = StringField("Artwork", [MAYBE, TextLength(max=200)])
    width = SizeField("Finished width", [NEEDED])
    height = SizeField("Finished height", [NEEDED])
    flip = RadioField("Flip", choices=dict(FLIP_WORDS), default="left-right")
    effect = RadioField("Effect", choices=EFFECT_WORDS, default="flip", validate_choice=False)
    use = RadioField("Use", choices={"wall": "on a wall", "hand": "in the hand"}, default="wall")
    distance = LengthField(
        "Viewing distance",
        [MAYBE],
        default=DEFAULT_DISTANCE,
        description="From the eye to the print where it will hang; 0.6 m is usual.",
    )
    quantity = IntegerField("Pieces", [NEEDED, NumberRange(min=1, max=1000)], default=1)
    lens_lot = SelectField("Lens", [NEEDED], description="One sheet for each piece, whatever its size.")
    waste_percent = NumberField(
        "Waste, %",
        [MAYBE],
        low=Decimal(0),
        high=Decimal(300),
        default=actions.DEFAULT_WASTE,
        description="Spare sheets, rounded up to whole ones.",
    )
    minutes = NumberField(
        "Minutes of work", [MAYBE], low=Decimal(0), high=Decimal(100000), description="For all pieces of this line."
    )
    price = NumberField(
        "Price of one piece", [MAYBE], low=Decimal(0), description="Without tax. Empty: what it costs to make."
    )

    def wish(self, session: Session) -> actions.LineWish:
        """As the action takes it."""
        return actions.LineWish(
            artwork=self.artwork.data or "",
            width=self.width.data,
            height=self.height.data,
            flip=self.flip.data,
            effect=self.effect.data or "",
            use=self.use.data,
            distance=self.distance.data or DEFAULT_DISTANCE,
            quantity=self.quantity.data,
            lens_lot=by_code(session, Lot, self.lens_lot.data, field="lens_lot"),
            minutes=self.minutes.data or Decimal(0),
            waste_percent=Decimal(0) if self.waste_percent.data is None else self.waste_percent.data,
            price=self.price.data,
        )


class QuoteForm(LineForm):
    """A quote with its first line."""

    customer = StringField("Customer", [NEEDED, TextLength(max=200)])
    contact = StringField("How to reach them", [MAYBE, TextLength(max=300)])
    valid_until = DateField("Valid until", [NEEDED])
    hourly_rate = NumberField("Price of an hour's work", [MAYBE], low=Decimal(0))
    note = TextAreaField("Note", [MAYBE, TextLength(max=2000)], description="Printed on the quote.")


class ProlongForm(BenchForm):
    """Until when it holds."""

    valid_until = DateField("Valid until", [NEEDED])


class AcceptForm(BenchForm):
    """What the order needs beside the quote."""

    due = DateField("Due", [MAYBE])
    mode = SelectField("Printer", [MAYBE])
    paper = SelectField("Paper", [MAYBE])


class ButtonForm(BenchForm):
    """Nothing to fill in."""


@pages.get("/quotes")
def listing() -> tuple[str, int]:
    """Quotes, newest first."""
    before = request.args.get("before", type=int)
    with reading() as session:
        query = select(Quote).order_by(Quote.id.desc()).limit(PAGE_SIZE + 1)
        rows = list(session.execute(query if before is None else query.where(Quote.id < before)).scalars())
        told = [(row, actions.state(row, actor().day), actions.total(row)) for row in rows[:PAGE_SIZE]]
        return page("quotes.html", quotes=told, more=rows[PAGE_SIZE - 1].id if len(rows) > PAGE_SIZE else None)


@pages.route("/quotes/new", methods=["GET", "POST"])
def new() -> Response | tuple[str, int]:
    """Give a quote."""
    with reading() as session:
        usual = {"valid_until": actor().day + HOLDS, "hourly_rate": actions.usual_rate(session)}
        form = QuoteForm(data=usual)
        form.lens_lot.choices, names = choices.lots(session, "lens"), known_names(session)

    def give(session: Session, by: Actor) -> Quote:
        return actions.give_quote(
            session,
            by,
            customer_name=form.customer.data,
            contact=form.contact.data or "",
            valid_until=form.valid_until.data,
            hourly_rate=form.hourly_rate.data,
            note=form.note.data or "",
            line=form.wish(session),
        )

    if form.validate_on_submit() and (done := act(form, give, lambda quote: _address(quote.code))):
        return done
    return page("quote_new.html", form=form, names=names)


def _address(code: str) -> str:
    return url_for("quotes.quote", code=code)


@pages.get("/quote/<code>")
def quote(code: str) -> tuple[str, int]:
    """One quote."""
    return _page(code)


def _page(code: str, **forms: Any) -> tuple[str, int]:
    with reading() as session:
        found = by_code(session, Quote, code)
        accept, line = forms.get("accept_form") or AcceptForm(formdata=None), forms.get("line_form")
        accept.mode.choices = [*choices.modes(session), choices.NONE]
        accept.paper.choices = [*choices.papers(session), choices.NONE]
        line = line or LineForm(formdata=None)
        line.lens_lot.choices = choices.lots(session, "lens")
        return page(
            "quote.html",
            quote=found,
            state=actions.state(found, actor().day),
            total=actions.total(found),
            effects=EFFECTS,
            uses=USES,
            uncovered=partial(actions.uncovered, manner=own_manner()),
            text=quote_text(session, found, own_manner()),
            accept_form=accept,
            line_form=line,
            prolong_form=forms.get("prolong_form") or ProlongForm(formdata=None, valid_until=actor().day + HOLDS),
            button_form=forms.get("button_form") or ButtonForm(formdata=None),
        )


@pages.post("/quote/<code>/line")
def add_line(code: str) -> Response | tuple[str, int]:
    """Another artwork or size."""
    form = LineForm()
    with reading() as session:
        form.lens_lot.choices = choices.lots(session, "lens")
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.add_line(
                session, by, quote=by_code(session, Quote, code), line=form.wish(session)
            ),
            lambda _: _address(code),
        )
    ):
        return done
    return _page(code, line_form=form)


@pages.post("/quote-line/<code>/out")
def take_line_out(code: str) -> Response | tuple[str, int]:
    """A line no longer stands."""
    form = ButtonForm()
    with reading() as session:
        owner = by_code(session, QuoteLine, code).quote.code
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.take_line_out(session, by, line=by_code(session, QuoteLine, code)),
            lambda _: _address(owner),
        )
    ):
        return done
    return _page(owner, button_form=form)


@pages.post("/quote/<code>/prolong")
def prolong(code: str) -> Response | tuple[str, int]:
    """It holds longer."""
    form = ProlongForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.prolong(
                session, by, quote=by_code(session, Quote, code), valid_until=form.valid_until.data
            ),
            lambda _: _address(code),
        )
    ):
        return done
    return _page(code, prolong_form=form)


@pages.post("/quote/<code>/decline")
def decline(code: str) -> Response | tuple[str, int]:
    """The customer does not want it."""
    form = ButtonForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.decline(session, by, quote=by_code(session, Quote, code)),
            lambda _: _address(code),
        )
    ):
        return done
    return _page(code, button_form=form)


@pages.post("/quote/<code>/accept")
def accept(code: str) -> Response | tuple[str, int]:
    """The customer takes it: the order with its jobs."""
    form = AcceptForm()
    with reading() as session:
        form.mode.choices = [*choices.modes(session), choices.NONE]
        form.paper.choices = [*choices.papers(session), choices.NONE]
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: _accept(session, by, code, form),
            lambda order: url_for("orders.order", code=order.code),
        )
    ):
        return done
    return _page(code, accept_form=form)


def _accept(session: Session, by: Actor, code: str, form: AcceptForm) -> Order:
    more = actions.Acceptance(
        due_on=form.due.data,
        mode=by_code(session, PrinterMode, form.mode.data) if form.mode.data else None,
        paper=by_code(session, Material, form.paper.data) if form.paper.data else None,
    )
    own = the_shop().settings.own_safety_path
    return actions.accept_quote(session, by, own, quote=by_code(session, Quote, code), more=more)
