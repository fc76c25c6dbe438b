"""Travellers of all open jobs: asked for here, written in the background, fetched as one PDF."""

from io import BytesIO

from flask import Blueprint, abort, send_file, url_for
from werkzeug import Response
from wtforms import RadioField

from logbook.actions import travellerbatches as actions
from logbook.actions.finding import by_code
from logbook.actions.papers import open_jobs
from logbook.paper.writer import joined
from logbook.records.batches import TravellerBatch
from logbook.web.acting import act, page, reading
from logbook.web.fields import NEEDED, BenchForm
from logbook.web.gate import the_shop
from logbook.web.howfar import how_far
from logbook.web.papering import page_size, shop_address

pages = Blueprint("batches", __name__)


class WriteForm(BenchForm):
    """On which paper."""

    page = RadioField("Paper", [NEEDED], choices={"A4": "A4", "Letter": "Letter"}, default="A4")


@pages.get("/travellers")
def overview() -> tuple[str, int]:
    """What is being written, and what was written last."""
    return _page(None)


def _page(form: WriteForm | None) -> tuple[str, int]:
    with reading() as session:
        last = actions.newest(session)
        return page(
            "travellers.html",
            form=form or WriteForm(formdata=None, page=page_size(session)),
            jobs=open_jobs(session),
            working=actions.at_work(session),
            last=last,
            kept=actions.kept(session, last) if last else [],
        )


@pages.post("/travellers")
def write() -> Response | tuple[str, int]:
    """Write all of them, in the background."""
    form = WriteForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.ask_for(session, by, page=form.page.data, address=shop_address(session)),
            lambda _: url_for("batches.overview"),
        )
    ):
        return done
    return _page(form)


@pages.get("/travellers/<code>.json")
def state(code: str) -> Response:
    """What the page polls."""
    with reading() as session:
        found = by_code(session, TravellerBatch, code)
        return how_far(found)


@pages.post("/travellers/<code>/stop")
def stop(code: str) -> Response | tuple[str, int]:
    """Leave off; what was written stays."""
    form = WriteForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.stop(session, by, batch=by_code(session, TravellerBatch, code)),
            lambda _: url_for("batches.overview"),
        )
    ):
        return done
    return _page(form)


@pages.get("/travellers/<code>.pdf")
def document(code: str) -> Response:
    """All of them in one PDF, in due order; what was erased since is left out."""
    with reading() as session:
        found = by_code(session, TravellerBatch, code)
        paths = [the_shop().store.path(row.file.sha256) for row in actions.kept(session, found)]
    if not paths:
        abort(404)
    content = joined(path.read_bytes() for path in paths)
    return send_file(BytesIO(content), mimetype="application/pdf", download_name=f"travellers_{code}.pdf")
