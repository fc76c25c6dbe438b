"""Texts to copy into a letter or a message; the owner words them."""

from flask import Blueprint, url_for
from werkzeug import Response
from wtforms import TextAreaField

from logbook.actions import texts as actions
from logbook.actions.finding import by_code
from logbook.actions.jobs import materials_of
from logbook.actions.pictureneeds import needs_of
from logbook.records.orders import Job
from logbook.web import meanwhile
from logbook.web.acting import act, page, reading
from logbook.web.fields import BenchForm
from logbook.web.gate import own_manner, owner_only

pages = Blueprint("texts", __name__)


class WordingForm(BenchForm):
    """One text box for each kind, named as the kind is."""

    small, proof, collect, sent, late = (
        TextAreaField(kind.title, render_kw={"rows": 9}) for kind in actions.KINDS.values()
    )


@pages.get("/job/<code>/texts")
def for_job(code: str) -> tuple[str, int]:
    """Every kind of text about one job."""
    with reading() as session:
        job = by_code(session, Job, code)
        return page(
            "texts.html",
            job=job,
            kinds=actions.KINDS,
            texts=actions.texts_for(session, job, own_manner()),
            needs=needs_of(job, materials_of(session, job)),
        )


@pages.route("/shop/texts", methods=["GET", "POST"])
@owner_only
def wording() -> Response | tuple[str, int]:
    """The shop's own wording of each kind."""
    with reading() as session:
        form = WordingForm(data=actions.wordings(session))
        meanwhile.watch(session, form, "shop:texts", "texts worded")
    typed = {kind: form[kind].data or "" for kind in actions.KINDS}
    if form.validate_on_submit() and (
        done := act(
            form, lambda session, by: actions.set_wordings(session, by, typed), lambda _: url_for("texts.wording")
        )
    ):
        return done
    return page("texts_wording.html", form=form, kinds=actions.KINDS, places=actions.PLACES)
