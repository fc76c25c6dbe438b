"""A photograph of a chart: taken in, read, shown with what was found in it, put on record."""

import json
from typing import Any

from flask import Blueprint, Response, send_file, url_for
from werkzeug import Response as BaseResponse
from wtforms import FileField, SelectField, StringField
from wtforms.validators import Length as TextLength

from logbook.actions import pitchphotos as actions
from logbook.actions.finding import by_code
from logbook.actions.pictures import Intake
from logbook.records.pitch import PitchChart, PitchPhoto
from logbook.refusals import Refused
from logbook.web import reasons, uploads
from logbook.web.acting import act, page, reading, say
from logbook.web.fields import MAYBE, NEEDED, BenchForm, LengthField, NumberField
from logbook.web.gate import the_shop
from logbook.web.turns import waiting

pages = Blueprint("pitchphotos", __name__)
_FIELDS = {"chart": "printed", "pictures": "photo"}
"""Where what reads a photograph names an input otherwise than the form does."""


class PhotographForm(BenchForm):
    """The picture, and what it was taken of."""

    photo = FileField(
        "Photograph", description="The whole chart sharp, with its four corner squares, the lens pressed flat on it."
    )
    printed = SelectField("What was printed", [NEEDED], description="The bands lie otherwise on each.")
    distance = LengthField(
        "Camera to lens", [NEEDED], description="Measured; the test's own distance, within 3 %. Do not zoom or crop."
    )
    thickness = LengthField("Lens thickness", [NEEDED], description="Ridge to back, as on the lens's page.")
    index = NumberField("Refractive index", [NEEDED], description="Of the lens; 1.49 to 1.59 is usual.")

    def view(self) -> actions.View:
        """As the action takes it."""
        return actions.View(self.printed.data, self.distance.data, self.thickness.data, self.index.data)


class AcceptForm(BenchForm):
    """Somebody has looked at the fringes; what asks, asks for a reason of its own beside it."""

    has_steps = True
    note = StringField("Note", [MAYBE, TextLength(max=300)])


@pages.route("/pitch/chart/<code>/photograph", methods=["GET", "POST"])
def take(code: str) -> BaseResponse | tuple[str, int]:
    """Give a photograph of this chart."""
    form = PhotographForm()
    with reading() as session:
        made = by_code(session, PitchChart, code)
        form.printed.choices = list(actions.printed_as(made).items())
        _prefill(form, made)
        owner = made.test.code
    if form.validate_on_submit() and (done := _read(code, form)):
        return done
    return page("pitch_photo_new.html", form=form, code=code, test=owner)


def _prefill(form: PhotographForm, made: PitchChart) -> None:
    if not form.is_submitted():
        lens = made.test.lens_lot.material
        form.distance.data, form.thickness.data = made.test.distance, lens.thickness
        form.index.data = lens.refractive_index


def _read(code: str, form: PhotographForm) -> BaseResponse | None:
    """Read it, then keep it; nothing is kept of a picture that cannot be read."""
    try:
        with uploads.taken_in([form.photo.data]) as taken:
            if not taken:
                raise Refused("Choose the photograph.", field="photo")
            with reading() as session:
                asked = actions.asked(by_code(session, PitchChart, code), form.view())
            told = waiting(uploads.opener().pitch)(taken[0].waiting, **asked)  # long work: no transaction is open
            return _kept(code, form, taken[0], told)
    except Refused as refusal:
        words = refusal.sentence.partition(": ")
        plain = words[2][:1].upper() + words[2][1:] if words[0] in ("photo", "chart", "distance") else refusal.sentence
        say(form, Refused(plain, field=_FIELDS.get(refusal.field or "", refusal.field)))
        return None


def _kept(code: str, form: PhotographForm, taken: Intake, told: dict[str, Any]) -> BaseResponse | None:
    return act(
        form,
        lambda session, by: actions.keep_photo(
            session,
            by,
            the_shop().store,
            made=by_code(session, PitchChart, code),
            taken=taken,
            view=form.view(),
            told=told,
        ),
        lambda photo: url_for("pitchphotos.show", code=photo.code),
    )


@pages.route("/pitch/photograph/<code>", methods=["GET", "POST"])
def show(code: str) -> BaseResponse | tuple[str, int]:
    """What was found, drawn over the picture; the button that puts it on record."""
    form = AcceptForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.accept(
                session,
                by,
                photo=by_code(session, PitchPhoto, code),
                note=form.note.data or "",
                reasons=reasons.given(),
            ),
            lambda pitch: url_for("pitch.on_record", code=pitch.code),
        )
    ):
        return done
    with reading() as session:
        photo = by_code(session, PitchPhoto, code)
        open_now = photo.chart.test.state == "open"
        found = actions.findings(session, photo) if open_now else []
        return page("pitch_photo.html", photo=photo, told=json.loads(photo.told), form=form, findings=found)


@pages.get("/pitch/photograph/<code>.jpg")
def picture(code: str) -> Response:
    """The photograph, small."""
    with reading() as session:
        kept = by_code(session, PitchPhoto, code).preview
        return send_file(the_shop().store.path(kept.sha256), mimetype="image/jpeg", max_age=86400)
