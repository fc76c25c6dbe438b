"""A job's pictures as they stand on the print: how they fit, how fine they are then, laid over each other and moved."""

from fractions import Fraction

from flask import Blueprint, abort, request, url_for
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import HiddenField, IntegerField
from wtforms.validators import NumberRange

from logbook.actions import alignment as actions
from logbook.actions.finding import by_code
from logbook.actions.jobs import materials_of
from logbook.actions.machines import dots_per_inch
from logbook.actions.pictureneeds import bare_edges, needs_of
from logbook.actions.pictures import current
from logbook.engine import proofing
from logbook.engine.plan import NO_SHIFT, Shift
from logbook.lengths import INCH_IN_MM
from logbook.records.audit import Actor
from logbook.records.floor import JobMaterials
from logbook.records.machines import PrinterMode
from logbook.records.orders import FITS, Job, Picture, PictureShift
from logbook.refusals import Refused
from logbook.web.acting import act, page, reading
from logbook.web.fields import NEEDED, BenchForm
from logbook.web.gate import the_shop

pages = Blueprint("align", __name__)
SHOWN_LONG_SIDE = 900
FIT_WORDS = {"crop": "cut to fill", "pad": "white border", "stretch": "stretched"}
_DOTS = NumberRange(
    min=-actions.MOST_DOTS,
    max=actions.MOST_DOTS,
    message=f"At most {actions.MOST_DOTS} dots; cut it anew where it is further off.",
)


class MoveForm(BenchForm):
    """How far one picture is moved."""

    picture = HiddenField()
    dx = IntegerField("To the right, dots", [NEEDED, _DOTS], description="Less than 0: to the left.")
    dy = IntegerField("Down, dots", [NEEDED, _DOTS], description="Less than 0: up.")


@pages.route("/job/<code>/pictures-on-print", methods=["GET", "POST"])
def for_job(code: str) -> Response | tuple[str, int]:
    """Fits with their fineness, and one picture laid over the first and moved."""
    form = MoveForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: _move(session, by, code, form),
            lambda kept: url_for("align.for_job", code=code, picture=kept.picture.code) + "#lay",
        )
    ):
        return done
    with reading() as session:
        job = by_code(session, Job, code)
        return _page(session, job, form)


def _move(session: Session, by: Actor, code: str, form: MoveForm) -> PictureShift:
    job = by_code(session, Job, code)
    picture, mode = by_code(session, Picture, form.picture.data or ""), _materials(session, job).mode
    if picture.job is not job:
        raise Refused("That picture belongs to another job; open the page again.")
    return actions.move(session, by, picture=picture, mode=mode, dx=form.dx.data, dy=form.dy.data)


def _materials(session: Session, job: Job) -> JobMaterials:
    chosen = materials_of(session, job)
    if chosen is None:
        raise Refused("Choose the printer first: a picture is moved by its dots.")
    return chosen


def _page(session: Session, job: Job, form: MoveForm) -> tuple[str, int]:
    standing, chosen = current(job), materials_of(session, job)
    wanted = (form.picture.data if form.is_submitted() else None) or request.args.get("picture")
    moved = next((one for one in standing if one.code == wanted), standing[1] if len(standing) > 1 else None)
    if moved is not None and not form.is_submitted():
        laid = actions.newest(moved)
        form.dx.data, form.dy.data = (laid.dx, laid.dy) if laid else (0, 0)
    return page(
        "align.html",
        job=job,
        pictures=standing,
        moved=moved,
        form=form,
        chosen=chosen,
        fits=[(fit, FIT_WORDS[fit], needs_of(job, chosen, fit=fit)) for fit in FITS],
        bare=bare_edges(moved, chosen, actions.shift_dots(moved, chosen.mode)) if moved and chosen else {},
        dots=_shown_dots(job, chosen.mode) if chosen else None,
    )


def _shown_dots(job: Job, mode: PrinterMode) -> tuple[float, float]:
    """Dots of the whole finished piece across and down: what a pointer's way over the view is measured by."""
    across, down = dots_per_inch(mode.dpi_across), dots_per_inch(mode.dpi_down)
    return float(job.width.inches * across), float(job.height.inches * down)


@pages.get("/picture/<code>/blended.jpg")
def blended(code: str) -> Response:
    """A picture half and half over the first of its job, moved by ``dx`` and ``dy`` dots of the job's printer."""
    with reading() as session:
        picture = by_code(session, Picture, code)
        first = current(picture.job)[0]
        if not all(the_shop().store.has(one.preview.sha256) for one in (first, picture)):
            abort(404)
        moved = _asked(_materials(session, picture.job).mode)
        below = actions.on_piece(first, the_shop().store, long_side=SHOWN_LONG_SIDE)
        above = actions.on_piece(picture, the_shop().store, long_side=SHOWN_LONG_SIDE, shift=moved)
    return Response(proofing.jpeg(proofing.blended(below(), above())), mimetype="image/jpeg")


def _asked(mode: PrinterMode) -> Shift:
    right, down = (
        max(-actions.MOST_DOTS, min(actions.MOST_DOTS, request.args.get(name, 0, int))) for name in ("dx", "dy")
    )
    across, along = dots_per_inch(mode.dpi_across), dots_per_inch(mode.dpi_down)
    return Fraction(right) * INCH_IN_MM / across, Fraction(down) * INCH_IN_MM / along


@pages.get("/picture/<code>/fitted/<fit>.jpg")
def fitted(code: str, fit: str) -> Response:
    """A picture as another fit would show it."""
    if fit not in FITS:
        abort(404)
    with reading() as session:
        picture = by_code(session, Picture, code)
        if not the_shop().store.has(picture.preview.sha256):
            abort(404)
        view = actions.on_piece(picture, the_shop().store, long_side=SHOWN_LONG_SIDE // 2, fit=fit, shift=NO_SHIFT)
    return Response(proofing.jpeg(view()), mimetype="image/jpeg")
