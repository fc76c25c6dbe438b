"""Lists from elsewhere: customers and stock from a CSV file, looked at before anything is written."""

from flask import Blueprint, render_template, url_for
from werkzeug import Response
from wtforms import FileField, HiddenField, RadioField

from logbook.actions import arriving as actions
from logbook.actions.arriving import Line
from logbook.refusals import Refused
from logbook.web.acting import act, reading, say
from logbook.web.fields import NEEDED, BenchForm
from logbook.web.gate import owner_only

pages = Blueprint("arriving", __name__)
_WHAT = {"customers": "customers", "stock": "lens, paper and adhesive"}


class LookForm(BenchForm):
    """Which list, and its file."""

    what = RadioField("What is in it", [NEEDED], choices=_WHAT, default="customers")
    file = FileField(
        "File", description="CSV, UTF-8; commas or semicolons between the cells, at most 200 kB and 500 lines."
    )


class TakeForm(BenchForm):
    """What was looked at, sent once more."""

    what = HiddenField()
    text = HiddenField()
    seen = HiddenField()


@pages.get("/shop/arriving")
@owner_only
def arriving() -> tuple[str, int]:
    """Choose a file."""
    return _page(LookForm(formdata=None)), 200


def _page(form: BenchForm, lines: list[Line] | None = None, take: TakeForm | None = None) -> str:
    faults = [line for line in lines or [] if line.fault]
    columns = {_WHAT[what]: names for what, names in actions.COLUMNS.items()}
    return render_template("arriving.html", form=form, lines=lines, faults=faults, take=take, columns=columns)


@pages.post("/shop/arriving")
@owner_only
def look() -> tuple[str, int]:
    """What every line would do; nothing is written yet."""
    form = LookForm()
    if not form.validate_on_submit():
        return _page(form), 422
    try:
        if not form.file.data:
            raise Refused("Choose a file.", field="file")
        text = actions.text_of(form.file.data.read(actions.MOST_BYTES + 1))
        lines = _looked_at(form.what.data, text)
    except Refused as refusal:
        say(form, refusal)
        return _page(form), 422
    take = TakeForm(formdata=None, what=form.what.data, text=text, seen=actions.seal(lines))
    return _page(form, lines, take), 422 if any(line.fault for line in lines) else 200


def _looked_at(what: str, text: str) -> list[Line]:
    with reading() as session:
        return actions.look(session, what, text)


@pages.post("/shop/arriving/take")
@owner_only
def take() -> Response | tuple[str, int]:
    """Write everything that was looked at, or nothing."""
    form = TakeForm()
    what = form.what.data if form.what.data in _WHAT else "customers"
    where = "stock.listing" if what == "stock" else "shop.record"
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.take(
                session, by, what=what, text=form.text.data or "", seen=form.seen.data or ""
            ),
            lambda _: url_for(where),
        )
    ):
        return done
    again = LookForm(formdata=None, what=what)
    again.form_errors.extend(form.form_errors or [one for some in form.errors.values() for one in some])
    return _page(again), 422
