"""Choosing the lens: what is in stock, ranked with its reasons in numbers; the person decides."""

from flask import Blueprint, request, url_for
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import HiddenField, IntegerField, RadioField, StringField
from wtforms.validators import Length as TextLength
from wtforms.validators import NumberRange

from logbook.actions import lenses as actions
from logbook.actions import orders
from logbook.actions.finding import by_code
from logbook.actions.jobs import materials_of
from logbook.engine.choosing import Use
from logbook.records.audit import Actor
from logbook.records.floor import LensChoice
from logbook.records.materials import Lot
from logbook.records.orders import Job
from logbook.web.acting import act, page, reading
from logbook.web.fields import MAYBE, NEEDED, BenchForm, LengthField, SizeField
from logbook.web.lenswords import Said, said
from logbook.web.pages.orders import EFFECT_WORDS, FLIP_WORDS

pages = Blueprint("lenses", __name__)


class UseForm(BenchForm):
    """What a print is to do, before there is an order."""

    width = SizeField("Finished width", [NEEDED])
    height = SizeField("Finished height", [NEEDED])
    distance = LengthField("Viewing distance", [NEEDED], default=orders.DEFAULT_DISTANCE)
    pictures = IntegerField("Pictures", [NEEDED, NumberRange(min=2, max=60)], default=2)
    use = RadioField("Use", choices={"wall": "on a wall", "hand": "in the hand"}, default="wall")
    flip = RadioField("Flip", choices=dict(FLIP_WORDS), default="left-right")
    effect = RadioField("Effect", choices=EFFECT_WORDS, default="flip", validate_choice=False)

    def asked(self) -> Use:
        """As the engine takes it, with the usual bleed."""
        bleed = 2 * float(orders.DEFAULT_BLEED.inches)
        return Use(
            width_in=float(self.width.data.inches) + bleed,
            height_in=float(self.height.data.inches) + bleed,
            distance_mm=float(self.distance.data.mm),
            flip=self.flip.data,
            use=self.use.data,
            effect=self.effect.data or "",
            pictures=self.pictures.data,
        )


class ChooseForm(BenchForm):
    """One lens type's lot, and why in the person's own words."""

    lot = HiddenField()
    reason = StringField("Why, in your own words", [MAYBE, TextLength(max=300)])


@pages.get("/lens")
def ask() -> tuple[str, int]:
    """For any size, distance, use and number of pictures; nothing is kept."""
    form = UseForm(request.args or None, meta={"csrf": False})
    ranked: list[tuple[actions.Offer, list[Said]]] | None = None
    if request.args and form.validate():
        with reading() as session:
            ranked = _ranked(session, form.asked())
            return page("lens.html", form=form, ranked=ranked)
    rendered, _ = page("lens.html", form=form, ranked=None)
    return rendered, 422 if request.args else 200


@pages.route("/job/<code>/lens", methods=["GET", "POST"])
def for_job(code: str) -> Response | tuple[str, int]:
    """For one job: ranked, and chosen."""
    form = ChooseForm()
    if form.validate_on_submit() and (
        done := act(form, lambda session, by: _choose(session, by, code, form), lambda where: where)
    ):
        return done
    with reading() as session:
        job = by_code(session, Job, code)
        use, chosen = actions.use_of(job), actions.choice_of(session, job)
        return page(
            "job_lens.html",
            form=form,
            blank=ChooseForm(formdata=None),
            job=job,
            use=use,
            ranked=_ranked(session, use),
            chosen=chosen,
            reasons=actions.reasons_of(chosen) if chosen else [],
        )


def _choose(session: Session, by: Actor, code: str, form: ChooseForm) -> str:
    """Keep the choice; where nothing else is chosen yet the materials' page comes next."""
    job, lot = by_code(session, Job, code), by_code(session, Lot, form.lot.data or "")
    use = actions.use_of(job)
    shown = next((one for offer, one in _ranked(session, use) if offer.material is lot.material), [])
    kept: LensChoice = actions.choose_lens(
        session, by, job=job, lot=lot, reasons=[one.kept for one in shown], reason=form.reason.data or ""
    )
    if materials_of(session, job) is None:
        return url_for("jobs.materials", code=code, lens_lot=kept.lot.code)
    return url_for("jobs.job", code=code) + "#materials"


def _ranked(session: Session, use: Use) -> list[tuple[actions.Offer, list[Said]]]:
    return [(offer, said(offer.looks, use)) for offer in actions.offers(session, use)]
