"""Papers in the browser and as PDF, safety cards, and the short addresses that QR codes open."""

from collections.abc import Callable
from functools import partial
from io import BytesIO
from typing import Any

from flask import Blueprint, abort, redirect, request, send_file, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug import Response

from logbook.actions import cutplans, quotepapers, smallpapers
from logbook.actions import papers as actions
from logbook.actions.finding import by_code, fact
from logbook.actions.shop import facts
from logbook.paper import customer, forms
from logbook.paper.cutplan import cut_plan_html
from logbook.paper.render import asset_address, media_type, shipped_assets
from logbook.paper.shelf import read_shelf
from logbook.paper.traveller import traveller_html
from logbook.paper.wallcards import Size, cards_html, first_aid_html
from logbook.records.floor import Print, Run, Sheet, TravellerIssue
from logbook.records.leaks import LeakSheet
from logbook.records.machines import Machine
from logbook.records.orders import Job
from logbook.refusals import Refused
from logbook.web import papering
from logbook.web.acting import act, reading, takes_writes
from logbook.web.fields import BenchForm
from logbook.web.gate import actor, own_manner, the_shop
from logbook.web.papering import asset_link, shop_address

pages = Blueprint("papers", __name__)
_GO = (
    (Sheet, "bench.sheet"),
    (Print, "bench.piece"),
    (Job, "jobs.job"),
    (Run, "runs.run"),
    (Machine, "machines.machine"),
    (LeakSheet, "leaks.sheet"),
)


class PrintForm(BenchForm):
    """A button."""


@pages.get("/go/<code>")
def go(code: str) -> Response:
    """What a scanned code opens: the sheet or piece at its current stage, or the job."""
    with reading() as session:
        for table, endpoint in _GO:
            if session.execute(select(table.id).where(table.code == code.upper())).first():
                return redirect(url_for(endpoint, code=code.upper()), 303)
    return abort(404)


@pages.get("/paper/<name>")
def asset(name: str) -> Response:
    """Stylesheets and sign drawings of the papers."""
    content = shipped_assets().get(name)
    if content is None:
        abort(404)
    return Response(content, mimetype=media_type(name).partition(";")[0])


@pages.get("/job/<code>/traveller")
def traveller(code: str) -> str:
    """The traveller in the browser: the same HTML as on paper."""
    with reading() as session:
        found = by_code(session, Job, code)
        gathered = _gathered(session, found)

    def link(name: str) -> str:
        return url_for("papers.view", code=code, name=name) if name in gathered.pictures else asset_link(name)

    return traveller_html(gathered.view, page=papering.page_size(), address=link)


def _gathered(session: Session, found: Job) -> actions.Gathered:
    shop = the_shop()
    return actions.traveller(
        session,
        actor(),
        job=found,
        store=shop.store,
        own_safety=shop.settings.own_safety_path,
        address=shop_address(session),
        manner=own_manner(),
    )


@pages.get("/job/<code>/view/<name>")
def view(code: str, name: str) -> Response:
    """One small view of a traveller."""
    with reading() as session:
        draw = actions.thumbnails(by_code(session, Job, code), the_shop().store).get(name)
    if draw is None:
        abort(404)
    return Response(draw(), mimetype="image/jpeg")


@pages.post("/job/<code>/traveller")
def issue(code: str) -> Response:
    """Print: the next revision is kept, with the cards it showed and the trail's head, and downloaded."""
    form = PrintForm()
    if not form.validate_on_submit():
        raise Refused("The page was too old; open the job again.")
    if not takes_writes(form):
        raise Refused(" ".join(form.form_errors))
    with reading() as session:
        gathered = _gathered(session, by_code(session, Job, code))
    pdf = actions.store_pdf(
        the_shop().store, papering.pdf(traveller_html(gathered.view, page=papering.page_size()), gathered.assets())
    )
    done = act(
        form,
        lambda session, by: actions.issue_traveller(
            session, by, job=by_code(session, Job, code), gathered=gathered, pdf=pdf
        ),
        lambda made: url_for("papers.issued", code=code, revision=made.revision),
    )
    if done is None:
        raise Refused(" ".join(form.form_errors))
    return done


@pages.get("/job/<code>/traveller/<int:revision>.pdf")
def issued(code: str, revision: int) -> Response:
    """A traveller as it was printed."""
    with reading() as session:
        found = by_code(session, Job, code)
        row = (
            session.execute(
                select(TravellerIssue).where(TravellerIssue.job_id == found.id, TravellerIssue.revision == revision)
            )
            .scalars()
            .first()
        )
        if row is None:
            abort(404)
        return send_file(
            the_shop().store.path(row.file.sha256),
            mimetype="application/pdf",
            download_name=f"traveller_{found.number}_r{revision}.pdf",
        )


def _safety_cards(*, address: Callable[[str], str] = asset_address) -> str:
    """All hazard cards: large as they hang on the wall, or two a page to lie beside a traveller."""
    with reading() as session:
        shop, rule = fact(session, "shop name"), fact(session, "local rule")
    shelf = read_shelf(the_shop().settings.own_safety_path)
    size: Size = "traveller" if request.args.get("size") == "traveller" else "wall"
    page = papering.page_size()
    return cards_html(shelf.cards.values(), size=size, shop=shop, local_rule=rule, page=page, address=address)


@pages.get("/safety")
def safety() -> str:
    """The cards in the browser."""
    return _safety_cards(address=asset_link)


@pages.get("/safety.pdf")
def safety_pdf() -> Response:
    """The cards as PDF."""
    return send_file(
        BytesIO(papering.pdf(_safety_cards())), mimetype="application/pdf", download_name="safety-cards.pdf"
    )


@pages.get("/safety/first-aid")
def first_aid() -> str:
    """The first-aid card with the shop's own facts; a blank prints a line to write on."""
    with reading() as session:
        known, freeing = facts(session), _freeing(session)
    shelf = read_shelf(the_shop().settings.own_safety_path)
    own = {
        "Emergency number": known["emergency number"],
        "Address as an ambulance needs it": known["ambulance address"],
        "First-aider": known["first-aider"],
        "Dressings are kept": known["dressings"],
        "Eyewash is kept": known["eyewash"],
    }
    return first_aid_html(
        shelf.first_aid,
        facts=own,
        shop=known["shop name"],
        local_rule=known["local rule"],
        freeing=freeing,
        page=papering.page_size(),
        address=asset_link,
    )


def _freeing(session: Session) -> dict[str, str]:
    """Each machine's own procedure by its name: of rollers always, so that a gap is seen; of others if known."""
    rows = session.execute(select(Machine).order_by(Machine.name)).scalars()
    return {row.name: row.freeing_procedure for row in rows if row.kind == "laminator" or row.freeing_procedure}


_SMALL: dict[str, tuple[Callable[..., Any], Callable[..., str]]] = {
    "labels": (smallpapers.labels, forms.labels_html),
    "chart-note": (smallpapers.chart_note, forms.chart_note_html),
    "daily-check": (smallpapers.check_sheet, forms.check_sheet_html),
    "out-of-use": (smallpapers.out_of_use, forms.out_of_use_html),
    "care-card": (smallpapers.care_card, customer.care_card_html),
    "shipping-note": (smallpapers.shipping_note, customer.shipping_note_html),
    "inspection": (smallpapers.inspection, customer.inspection_report_html),
    "quote": (smallpapers.quote, customer.quote_html),
    "given-quote": (quotepapers.quote_paper, customer.quote_html),
    "today": (smallpapers.today, forms.today_html),
    "cut-plan": (cutplans.cut_plan, cut_plan_html),
}
"""Paper by name: how it is gathered and how it becomes HTML."""


def _small(kind: str, code: str) -> Callable[..., str]:
    if kind not in _SMALL:
        abort(404)
    gather, html = _SMALL[kind]
    with reading() as session:
        desk = smallpapers.Desk(actor(), the_shop().settings.own_safety_path, shop_address(session), own_manner())
        view = gather(session, desk, code)
    return partial(html, view, page=papering.page_size())


@pages.get("/print-out/<kind>/<code>")
def small(kind: str, code: str) -> str:
    """One small paper in the browser."""
    return _small(kind, code)(address=asset_link)


@pages.get("/print-out/<kind>/<code>.pdf")
def small_pdf(kind: str, code: str) -> Response:
    """The same paper as PDF."""
    return send_file(
        BytesIO(papering.pdf(_small(kind, code)())), mimetype="application/pdf", download_name=f"{kind}_{code}.pdf"
    )
