"""Lists from elsewhere: customers and stock from a CSV file, looked at before anything is written."""

from io import BytesIO

from flask import Blueprint, url_for
from werkzeug import Response
from wtforms import FileField, HiddenField, RadioField

from logbook.actions import arriving as actions
from logbook.actions import takingin
from logbook.actions.arriving import Line
from logbook.actions.finding import by_code
from logbook.records.arrivals import Arrival
from logbook.refusals import Refused
from logbook.web.acting import act, page, reading, say
from logbook.web.fields import NEEDED, BenchForm
from logbook.web.gate import owner_only, the_shop
from logbook.web.howfar import how_far

pages = Blueprint("arriving", __name__)
_WHAT = {"customers": "customers", "stock": "lens, paper and adhesive"}
MOST_SHOWN = 200
"""Lines of a list that its page shows; nobody reads thousands of them, and the page stays light."""


class LookForm(BenchForm):
    """Which list, and its file."""

    what = RadioField("What is in it", [NEEDED], choices=_WHAT, default="customers")
    file = FileField(
        "File",
        description=f"CSV, UTF-8; commas or semicolons between the cells, at most {actions.MOST_BYTES // 10**6} MB and "
        f"{f'{actions.MOST_ROWS:_}'.replace('_', ' ')} lines.",
    )


class TakeForm(BenchForm):
    """What was looked at: which list, the word under which it is held, and the sum over what was shown."""

    what = HiddenField()
    held_file = HiddenField()
    seen = HiddenField()


class StopForm(BenchForm):
    """A button."""


@pages.get("/shop/arriving")
@owner_only
def arriving() -> tuple[str, int]:
    """Choose a file, or see how far the last one is."""
    with reading() as session:
        last = takingin.newest(session)
        unfinished = last.what if last is not None and last.state == "stopped" else "customers"
    return _page(LookForm(formdata=None, what=unfinished))


def _page(form: BenchForm, lines: list[Line] | None = None, take: TakeForm | None = None) -> tuple[str, int]:
    with reading() as session:
        return page(
            "arriving.html",
            form=form,
            lines=lines,
            faults=[line for line in lines or [] if line.fault],
            idle=sum(line.take is None and not line.fault for line in lines or []),
            most=MOST_SHOWN,
            take=take,
            columns={_WHAT[what]: names for what, names in actions.COLUMNS.items()},
            needed={_WHAT[what]: names for what, names in actions.NEEDED.items()},
            working=takingin.at_work(session),
            last=takingin.newest(session),
            in_words=takingin.in_words,
            whats=_WHAT,
        )


@pages.post("/shop/arriving")
@owner_only
def look() -> tuple[str, int]:
    """What every line would do; nothing is written yet, the file is held for an hour."""
    form = LookForm()
    if not form.validate_on_submit():
        return _page(form)
    try:
        if not form.file.data:
            raise Refused("Choose a file.", field="file")
        content = form.file.data.read(actions.MOST_BYTES + 1)
        with reading() as session:
            lines = actions.look(session, form.what.data, actions.text_of(content))
    except Refused as refusal:
        say(form, refusal)
        return _page(form)
    if any(line.fault for line in lines):
        return _page(form, lines)
    store = the_shop().store
    word = store.hold(store.receive(BytesIO(content)))
    take = TakeForm(formdata=None, what=form.what.data, held_file=word, seen=actions.seal(lines))
    return _page(form, lines, take)[0], 200


@pages.post("/shop/arriving/take")
@owner_only
def take() -> Response | tuple[str, int]:
    """Have everything that was looked at taken in, in the background."""
    form = TakeForm()
    what = form.what.data if form.what.data in _WHAT else "customers"
    held = the_shop().store.held(form.held_file.data or "")
    if form.validate_on_submit() and held is None:
        form.form_errors.append("The file is no longer held: that lasts an hour. Choose it again.")
    elif held is not None and not form.errors:
        text = actions.text_of(held.read_bytes())
        if done := act(
            form,
            lambda session, by: takingin.ask_for(session, by, what=what, text=text, seen=form.seen.data or ""),
            lambda _: url_for("arriving.arriving"),
        ):
            return done
    again = LookForm(formdata=None, what=what)
    again.form_errors.extend(form.form_errors or [one for some in form.errors.values() for one in some])
    return _page(again)


@pages.get("/shop/arriving/<code>.json")
@owner_only
def state(code: str) -> Response:
    """What the page polls."""
    with reading() as session:
        return how_far(by_code(session, Arrival, code))


@pages.post("/shop/arriving/<code>/stop")
@owner_only
def stop(code: str) -> Response | tuple[str, int]:
    """Leave off; what is in stays in."""
    form = StopForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: takingin.stop(session, by, arrival=by_code(session, Arrival, code)),
            lambda _: url_for("arriving.arriving"),
        )
    ):
        return done
    again = LookForm(formdata=None)
    again.form_errors.extend(form.form_errors)
    return _page(again)
