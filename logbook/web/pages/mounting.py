"""Mounting only: the customer's own prints come in, and their lens is chosen."""

from flask import Blueprint, url_for
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import IntegerField, SelectField, StringField
from wtforms.validators import Length as TextLength
from wtforms.validators import NumberRange

from logbook.actions import sheets
from logbook.actions.finding import by_code
from logbook.records.audit import Actor
from logbook.records.floor import Sheet
from logbook.records.materials import Lot
from logbook.records.orders import Job
from logbook.web import choices
from logbook.web.acting import act, page, reading
from logbook.web.fields import MAYBE, NEEDED, BenchForm

pages = Blueprint("mounting", __name__)


class MountingForm(BenchForm):
    """What the customer's prints are mounted with."""

    lens_lot = SelectField("Lens", [NEEDED], description="Its pitch must be the print's: ask whoever interlaced it.")
    adhesive_lot = SelectField("Adhesive", [MAYBE])
    count = IntegerField("Prints to mount", [NEEDED, NumberRange(min=1, max=200)])
    note = StringField(
        "What is known of these prints",
        [MAYBE, TextLength(max=300)],
        description="Lines per inch, printer, paper, how long they have dried. It stays in the record: no names.",
    )


@pages.route("/job/<code>/mounting", methods=["GET", "POST"])
def begin(code: str) -> Response | tuple[str, int]:
    """Take the prints in; each becomes a sheet that waits for its adhesive."""
    form = MountingForm()
    with reading() as session:
        job = by_code(session, Job, code)
        number = job.number
        form.lens_lot.choices = choices.lots(session, "lens")
        form.adhesive_lot.choices = [*choices.lots(session, "adhesive"), choices.NONE]
        if not form.is_submitted():
            form.count.data = max(1, sheets.open_quantity(session, job))
    if form.validate_on_submit() and (
        done := act(form, lambda session, by: _begin(session, by, code, form), lambda _: url_for("jobs.job", code=code))
    ):
        return done
    return page("mounting.html", form=form, code=code, number=number)


def _begin(session: Session, by: Actor, code: str, form: MountingForm) -> list[Sheet]:
    glue = form.adhesive_lot.data
    what = sheets.Mounting(
        lens_lot=by_code(session, Lot, form.lens_lot.data, field="lens_lot"),
        adhesive_lot=by_code(session, Lot, glue, field="adhesive_lot") if glue else None,
        count=form.count.data or 1,
        note=form.note.data or "",
    )
    return sheets.start_mounting(session, by, job=by_code(session, Job, code), what=what)
