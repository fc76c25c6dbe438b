"""Taking back a wrong tap at the bench."""

from flask import Blueprint, url_for
from werkzeug import Response
from wtforms import IntegerField

from logbook.actions import takingback
from logbook.refusals import Refused
from logbook.web.acting import act
from logbook.web.fields import NEEDED, BenchForm

pages = Blueprint("takeback", __name__)


class TakeBackForm(BenchForm):
    """Which signature: the number of its entry in the trail."""

    entry = IntegerField("Entry", [NEEDED])


@pages.post("/bench/take-back")
def take_back() -> Response:
    """Correct a signature of the last minute, and show again what it signed."""
    form = TakeBackForm()
    if form.validate_on_submit():
        done = act(form, lambda session, by: takingback.take_back(session, by, seq=form.entry.data), _where_it_stands)
        if done:
            return done
    raise Refused(" ".join(form.form_errors) or "There is no such signature to take back; open the page again.")


def _where_it_stands(subjects: list[takingback.Subject]) -> str:
    if len(subjects) > 1:
        return url_for("bench.place_list")
    only = subjects[0]
    return url_for("bench.sheet" if isinstance(only, takingback.Sheet) else "bench.piece", code=only.code)
