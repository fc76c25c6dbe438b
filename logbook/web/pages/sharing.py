"""Several jobs on one lens sheet: choose them, look how they lie, interlace them together."""

from flask import Blueprint, request, url_for
from markupsafe import Markup
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import RadioField

from logbook.actions import sharing as actions
from logbook.actions.cutplans import drawn
from logbook.actions.finding import by_code
from logbook.actions.jobs import materials_of
from logbook.actions.sharing import Candidate, Proposed, Share, SheetWish
from logbook.paper.cutplan import drawing
from logbook.records.audit import Actor
from logbook.records.floor import JobMaterials, Run
from logbook.records.orders import Job
from logbook.refusals import Refused
from logbook.rules.findings import Strength
from logbook.web import reasons
from logbook.web.acting import act, page, reading
from logbook.web.fields import NEEDED, BenchForm, LengthField
from logbook.web.gate import actor
from logbook.web.papering import shop_address
from logbook.web.ringing import ring

pages = Blueprint("sharing", __name__)
_COPIES = "copies_"


class ShareForm(BenchForm):
    """The lens sheet; how many copies of each job stands in plain fields beside it."""

    has_steps = True
    width = LengthField("Lens sheet, across", [NEEDED])
    height = LengthField("Lens sheet, down", [NEEDED])
    waste = RadioField(
        "Around the pieces",
        choices={"yes": "check bars, pitch strip, scale bar and label", "no": "nothing: the lens has no waste"},
        default="yes",
    )


@pages.route("/job/<code>/share", methods=["GET", "POST"])
def sheet(code: str) -> Response | tuple[str, int]:
    """How this job and others lie on one sheet; the button interlaces what is shown."""
    form = ShareForm()
    asked: list[int] = []

    def work(session: Session, by: Actor) -> Run:
        made = actions.ask_for(session, by, _wish(session, form))
        asked.append(made.id)
        return made

    wanted = form.validate_on_submit() and request.form.get("do") == "interlace"
    if wanted and (done := act(form, work, lambda made: url_for("runs.run", code=made.code))):
        for run_id in asked:
            ring(run_id)
        return done
    return _page(code, form)


def _wish(session: Session, form: ShareForm) -> SheetWish:
    shares = tuple(Share(by_code(session, Job, job), copies) for job, copies in _copies().items() if copies)
    sides, waste = (form.width.data, form.height.data), form.waste.data == "yes"
    return SheetWish(shares, *sides, waste=waste, address=shop_address(session), reasons=reasons.given())


def _copies() -> dict[str, int]:
    """How many of each job, by its code, in the order of the page; what is no number counts as none."""
    found = {name.removeprefix(_COPIES): words for name, words in request.form.items() if name.startswith(_COPIES)}
    return {job: int(words) if words.strip().isdecimal() else 0 for job, words in found.items()}


def _page(code: str, form: ShareForm) -> tuple[str, int]:
    with reading() as session:
        job = by_code(session, Job, code)
        known, why_not = _candidates(session, job)
        _suggest(form, materials_of(session, job))
        made = _proposed(session, form) if form.is_submitted() and not form.errors else None
        asked = [found for found in made.findings if found.strength is Strength.ASK] if made else []
        return page(
            "share.html",
            job=job,
            form=form,
            why_not=why_not,
            candidates=[one for one in known if not one.why_not],
            others=[one for one in known if one.why_not],
            copies=_copies() or {one.job.code: one.lacking if one.job is job else 0 for one in known},
            made=made,
            drawing=_drawing(made) if made else "",
            asks=asked,
            notes=[found for found in made.findings if found.strength is Strength.NOTE] if made else [],
        )


def _candidates(session: Session, job: Job) -> tuple[list[Candidate], str]:
    """Who may share; where this job cannot be interlaced itself, why."""
    try:
        return actions.candidates(session, actor(), job=job), ""
    except Refused as refusal:
        return [], refusal.sentence


def _suggest(form: ShareForm, chosen: JobMaterials | None) -> None:
    """The lens sheet's own size, where the lot says it."""
    if form.is_submitted() or chosen is None:
        return
    form.width.data, form.height.data = chosen.lens_lot.sheet_width, chosen.lens_lot.sheet_height


def _proposed(session: Session, form: ShareForm) -> Proposed | None:
    """How they lie; what stands against it is said at the form."""
    try:
        return actions.proposed(session, actor(), _wish(session, form))
    except Refused as refusal:
        if not form.form_errors and not form.beside:
            form.form_errors.append(refusal.sentence)
        return None


def _drawing(made: Proposed) -> Markup:
    return drawing(drawn(made.plan, tuple(job.number for job in made.jobs)))
