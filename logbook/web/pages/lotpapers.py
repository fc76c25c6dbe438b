"""Papers beside a lot: kept as they came, handed back for download only."""

from flask import Blueprint, abort, request, send_file, url_for
from werkzeug import Response

from logbook.actions import lotpapers
from logbook.actions.finding import by_code
from logbook.records.lotpapers import LotPaper
from logbook.records.materials import Lot
from logbook.refusals import Refused
from logbook.web.acting import act, reading, say
from logbook.web.gate import the_shop
from logbook.web.pages import stock

pages = Blueprint("lotpapers", __name__)


@pages.post("/lot/<code>/paper")
def attach(code: str) -> Response | tuple[str, int]:
    """Keep a delivery note or a data sheet beside its lot."""
    form = stock.PaperForm()
    sent = request.files.get("paper")
    if form.validate_on_submit():
        try:
            if sent is None or not sent.filename:
                raise Refused("Choose a file first.", field="paper")
            with lotpapers.received(the_shop().store, sent.filename, sent.stream) as paper:
                done = act(
                    form,
                    lambda session, by: lotpapers.attach(
                        session, by, lot=by_code(session, Lot, code), store=the_shop().store, paper=paper
                    ),
                    lambda _: url_for("stock.lot", code=code),
                )
            if done:
                return done
        except Refused as refusal:
            say(form, refusal)
    return stock.lot_page(code, paper_form=form)


@pages.get("/lot-paper/<code>")
def paper(code: str) -> Response:
    """The file exactly as it came, for download only: what a stranger wrote never runs in this app's pages."""
    with reading() as session:
        found = by_code(session, LotPaper, code)
        kept, name = found.file, found.name
    if not the_shop().store.has(kept.sha256):
        abort(404)
    response = send_file(
        the_shop().store.path(kept.sha256), mimetype=kept.media_type, as_attachment=True, download_name=name
    )
    response.headers["Content-Security-Policy"] = "sandbox; default-src 'none'"
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response
