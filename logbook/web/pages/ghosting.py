"""How much the pictures of a job ghost through each other, what would help, the leak corrected, the owner's figures."""

from decimal import Decimal
from io import BytesIO
from typing import Any

import numpy as np
from flask import Blueprint, abort, url_for
from PIL import Image
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import HiddenField

from logbook.actions import ghosting as actions
from logbook.actions import leakcorrections
from logbook.actions.finding import by_code
from logbook.actions.jobs import materials_of
from logbook.engine import ghosting as model
from logbook.lengths import parse_length
from logbook.records.orders import Job
from logbook.refusals import Refused
from logbook.web.acting import act, page, reading, say
from logbook.web.fields import MAYBE, NEEDED, BenchForm, LengthField, NumberField
from logbook.web.gate import owner_only, the_shop

pages = Blueprint("ghosting", __name__)


class CorrectionForm(BenchForm):
    """A button beside each picture."""

    which = HiddenField()


class FiguresForm(BenchForm):
    """What mixes the pictures; the description says what is usual."""

    ink_spread = LengthField(
        "Spread of the ink", [NEEDED], description="How far a sharp edge blurs; 0.02 mm where nobody measured it."
    )
    registration = NumberField(
        "Lens beside its place",
        [NEEDED],
        low=Decimal(0),
        high=Decimal("0.5"),
        description="In lenticules, as your mounting usually ends; 0.02 where nobody measured it.",
    )
    floor_percent = NumberField(
        "Stray light in per cent",
        [NEEDED],
        low=Decimal(0),
        high=Decimal(50),
        description="What shines through from everywhere; 1 where nobody measured it.",
    )
    radius = LengthField(
        "Radius of the ridges", [MAYBE], description="From the lens maker's sheet; empty: as if focused on its back."
    )


@pages.get("/job/<code>/ghosting")
def for_job(code: str) -> tuple[str, int]:
    """Number, picture, what would help."""
    return _page(code)


def _page(code: str, form: FiguresForm | None = None, chosen: CorrectionForm | None = None) -> tuple[str, int]:
    with reading() as session:
        job = by_code(session, Job, code)
        materials = materials_of(session, job)
        looked = actions.looked_at(session, the_shop().store, job)
        in_force = leakcorrections.in_force(session, job)
        return page(
            "ghosting.html",
            job=job,
            materials=materials,
            measured=actions.measured_for(session, materials) if materials is not None else None,
            looked=looked,
            ghosts=actions.ghosts_of(looked) if looked else None,
            remedies=actions.remedies_of(looked) if looked else (),
            offered=leakcorrections.offered(looked) if looked else None,
            in_force=in_force,
            in_force_words=leakcorrections.correction_of(in_force).in_words() if in_force else "",
            troubles=leakcorrections.findings(session, job),
            correction_form=chosen or CorrectionForm(formdata=None),
            words=model.in_words,
            limits=(model.visible_delta_l(), model.disturbing_delta_l()),
            form=form or FiguresForm(formdata=None, data=_known(session, job)),
            size=_shown_size(job),
        )


def _shown_size(job: Job) -> tuple[int, int]:
    scale = 300 / max(job.width.mm, job.height.mm)
    return max(1, round(job.width.mm * scale)), max(1, round(job.height.mm * scale))


def _known(session: Session, job: Job) -> dict[str, Any]:
    materials = materials_of(session, job)
    figures = actions.figures_of(session, materials) if materials is not None else None
    if figures is None:
        return {
            "ink_spread": parse_length("0.02mm"), "registration": Decimal("0.02"), "floor_percent": Decimal("1"),
            "radius": None,
        }  # fmt: skip
    return {
        "ink_spread": figures.ink_spread, "registration": figures.registration,
        "floor_percent": figures.floor_percent, "radius": figures.radius,
    }  # fmt: skip


@pages.post("/job/<code>/ghosting/figures")
@owner_only
def figures(code: str) -> Response | tuple[str, int]:
    """The owner's figures for this lens type, printer and paper."""
    form = FiguresForm()
    if form.validate_on_submit():
        done = act(
            form,
            lambda session, by: actions.set_figures(
                session,
                by,
                job=by_code(session, Job, code),
                radius=form.radius.data,
                ink_spread=form.ink_spread.data,
                registration=form.registration.data,
                floor_percent=form.floor_percent.data,
            ),
            lambda _: url_for("ghosting.for_job", code=code),
        )
        if done:
            return done
    return _page(code, form)


@pages.post("/job/<code>/ghosting/correction")
def correct(code: str) -> Response | tuple[str, int]:
    """Print the pictures corrected, or as they are."""
    form = CorrectionForm()
    if form.validate_on_submit():
        try:
            with reading() as session:
                looked = actions.looked_at(session, the_shop().store, by_code(session, Job, code))
            offered = leakcorrections.offered(looked) if looked else None
            choice = (offered or leakcorrections.Offered()).of(form.which.data or "")
        except Refused as refusal:
            say(form, Refused(refusal.sentence))
            return _page(code, chosen=form)
        if done := act(
            form,
            lambda session, by: leakcorrections.choose(session, by, job=by_code(session, Job, code), choice=choice),
            lambda _: url_for("ghosting.for_job", code=code) + "#correction",
        ):
            return done
    return _page(code, chosen=form)


@pages.get("/job/<code>/ghosting/<kind>.png")
def drawn(code: str, kind: str) -> Response:
    """The picture that ghosts most, as it is seen, or where the others show in it."""
    with reading() as session:
        looked = actions.looked_at(session, the_shop().store, by_code(session, Job, code))
    pixels = _pixels(looked, kind) if looked is not None else None
    if pixels is None:
        abort(404)
    out = BytesIO()
    Image.fromarray(pixels).save(out, "PNG")
    return Response(out.getvalue(), mimetype="image/png")


def _pixels(looked: actions.Looked, kind: str) -> np.ndarray | None:
    """One of the page's pictures; None where there is none of this kind."""
    ghosts = actions.ghosts_of(looked)
    if kind == "seen":
        return ghosts.seen
    if kind == "where":
        return model.where_it_shows(looked.pictures()[ghosts.worst], ghosts.delta_l)
    offered = leakcorrections.offered(looked)
    return next((one.seen for one in offered.choices if one.key == kind), None) if offered else None
