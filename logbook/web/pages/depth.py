"""One tap that turns a sequence round whose depth is inside out."""

from flask import Blueprint, abort, redirect, url_for
from werkzeug import Response

from logbook.actions import depthorder
from logbook.actions.finding import by_code
from logbook.records.orders import Job
from logbook.web.acting import act
from logbook.web.fields import BenchForm

pages = Blueprint("depth", __name__)


@pages.post("/job/<code>/turn-round")
def turn_round(code: str) -> Response:
    """The last picture first."""
    form, back = BenchForm(), url_for("jobs.job", code=code) + "#pictures"
    if not form.validate_on_submit():
        abort(400)
    done = act(
        form, lambda session, by: depthorder.turn_round(session, by, job=by_code(session, Job, code)), lambda _: back
    )
    return done or redirect(back, 303)
