"""When it goes wrong: what becomes of a print, or of a whole sheet, with a photograph of what was wrong."""

from collections.abc import Callable

from flask import Blueprint, request, url_for
from sqlalchemy.orm import Session
from werkzeug import Response

from logbook.actions import leaving
from logbook.actions.finding import by_code
from logbook.records.audit import Actor
from logbook.records.floor import Print, Sheet
from logbook.refusals import Refused
from logbook.web import pinned
from logbook.web.acting import act, say
from logbook.web.gate import the_shop
from logbook.web.pages import bench
from logbook.web.uploads import taken_in
from logbook.web.verdictforms import DefectFields, SpoiledForm, VerdictForm

pages = Blueprint("verdicts", __name__)
Work = Callable[[Session, Actor, leaving.Defect], object]


@pages.post("/print/<code>/verdict")
def of_print(code: str) -> Response | tuple[str, int]:
    """Decide about a print that did not pass."""
    form = VerdictForm()

    def work(session: Session, by: Actor, defect: leaving.Defect) -> None:
        leaving.decide(
            session,
            by,
            piece=by_code(session, Print, code),
            kind=form.kind.data,
            reason=form.reason.data,
            word=form.word.data or "",
            defect=defect,
        )

    return _decided(form, work, url_for("bench.piece", code=code)) or bench.piece_page(code, verdict_form=form)


@pages.post("/sheet/<code>/verdict")
def of_sheet(code: str) -> Response | tuple[str, int]:
    """A sheet was spoiled before it was cut apart."""
    form = SpoiledForm()

    def work(session: Session, by: Actor, defect: leaving.Defect) -> None:
        leaving.decide_sheet(
            session,
            by,
            sheet=by_code(session, Sheet, code),
            kind=form.kind.data,
            reason=form.reason.data,
            defect=defect,
        )

    return _decided(form, work, url_for("bench.sheet", code=code)) or bench.sheet_page(code, spoiled_form=form)


def _decided(form: DefectFields, work: Work, home: str) -> Response | None:
    form.signs = pinned.HOLD
    if not form.validate_on_submit():
        return None
    try:
        with taken_in(request.files.getlist("photo")[:1]) as taken:
            defect = leaving.Defect(form.cause.data or "", taken[0] if taken else None, the_shop().store)
            return act(form, lambda session, by: work(session, by, defect), lambda _: home)
    except Refused as refusal:
        say(form, Refused(refusal.sentence, field="photo"))
        return None
