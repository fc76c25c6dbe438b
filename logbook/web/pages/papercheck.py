"""A daily check that was done on paper: entered with a photograph of its page."""

from flask import Blueprint, request, url_for
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import DateTimeLocalField, FileField, SelectField

from logbook.actions import paperchecks
from logbook.actions.finding import by_code
from logbook.actions.pictures import Intake
from logbook.records.audit import Actor
from logbook.records.machines import Machine
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.web import choices, pinned
from logbook.web.acting import act, page, reading, say
from logbook.web.fields import NEEDED, BenchForm, typed_values
from logbook.web.gate import the_shop
from logbook.web.pages.machines import items_of
from logbook.web.uploads import taken_in

pages = Blueprint("papercheck", __name__)


class PaperCheckForm(BenchForm):
    """Who signed it, when, and its photograph; the answers stand beside it, named by their lines."""

    has_steps = True
    page = FileField("Photograph of the page", description="Kept with the record.")
    person = SelectField("Whose signature stands there", [NEEDED], validate_choice=False)
    at = DateTimeLocalField("Signed on paper at", [NEEDED])


@pages.route("/machine/<code>/check-from-paper", methods=["GET", "POST"])
def take_over(code: str) -> Response | tuple[str, int]:
    """Enter what the page says."""
    form = PaperCheckForm()
    form.signs = pinned.SAFETY
    with reading() as session:
        form.person.choices = [("", "choose"), *choices.people(session)]
    if form.validate_on_submit() and (done := _received(code, form)):
        return done
    with reading() as session:
        found = by_code(session, Machine, code)
        return page("from_paper_check.html", machine=found, form=form, items=items_of(found), typed=request.form)


def _received(code: str, form: PaperCheckForm) -> Response | None:
    try:
        with taken_in(request.files.getlist("page")) as taken:
            if not taken:
                raise Refused("Photograph the page first.", field="page")
            return act(
                form,
                lambda session, by: _enter(session, by, code, form, taken[0]),
                lambda _: url_for("machines.machine", code=code),
            )
    except Refused as refusal:
        say(form, Refused(refusal.sentence, field="page"))
        return None


def _enter(session: Session, by: Actor, code: str, form: PaperCheckForm, photograph: Intake) -> object:
    machine = by_code(session, Machine, code)
    said = paperchecks.CheckPage(
        person=by_code(session, Person, form.person.data, field="person"),
        at=form.at.data.astimezone(),
        photograph=photograph,
        store=the_shop().store,
        answers=typed_values(),
    )
    return paperchecks.take_over(session, by, machine=machine, items=items_of(machine), page=said)
