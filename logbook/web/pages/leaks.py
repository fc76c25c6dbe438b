"""Leak sheets: made at a pitch on record, read by taps, and what is measured for each lens, printer and paper."""

from io import BytesIO

from flask import Blueprint, Response, request, send_file, url_for
from werkzeug import Response as BaseResponse
from wtforms import RadioField, SelectField, StringField
from wtforms.validators import Length as TextLength

from logbook.actions import leaks as actions
from logbook.actions.finding import by_code
from logbook.engine.leak import PATCHES
from logbook.engine.leaksheet import WEDGE_STEPS
from logbook.engine.tone import SHARES
from logbook.records.leaks import LeakSheet
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from logbook.web.acting import act, page, reading, say
from logbook.web.fields import MAYBE, NEEDED, BenchForm
from logbook.web.gate import own_manner, the_shop
from logbook.web.papering import shop_address

pages = Blueprint("leaks", __name__)
_PATCH = {str(step): str(step) for step in range(PATCHES)}
_CORRECTED = {step: step for step in _PATCH if step != "0"}
_NO_PATCH = {actions.NONE: actions.NONE}
_GREYS = {str(step): str(step) for step in range(1, WEDGE_STEPS + 1)}
_PATTERNS = {8: "Top row of greys", 4: "Middle row of greys", 2: "Bottom row of greys"}


class MakeForm(BenchForm):
    """At which pitch."""

    pitch = SelectField("Pitch on record", [NEEDED])


class TapsForm(BenchForm):
    """Two taps for each row of patches, one for each row of greys."""

    note = StringField("Note", [MAYBE, TextLength(max=300)])

    def taps(self) -> actions.Taps:
        """As the action takes them."""
        rows = {row: (self[f"row_{row}_shows"].data, self[f"row_{row}_turned"].data) for row in actions.ROWS}
        greys = {share: int(self[f"match_{share}"].data) for share in SHARES}
        return actions.Taps(rows, greys, self.note.data or "")


for _row in actions.ROWS:
    _shows = RadioField("Last patch with the ghost", [NEEDED], choices=_NO_PATCH | _PATCH)
    _turned = RadioField("First patch with it reversed", [NEEDED], choices=_CORRECTED | _NO_PATCH)
    setattr(TapsForm, f"row_{_row}_shows", _shows)
    setattr(TapsForm, f"row_{_row}_turned", _turned)
for _share, _words in _PATTERNS.items():
    setattr(TapsForm, f"match_{_share}", RadioField(_words, [NEEDED], choices=_GREYS))


@pages.get("/leaks")
def listing() -> tuple[str, int]:
    """What is measured, sheets to be read, and a new one."""
    return _listing()


def _listing(form: MakeForm | None = None) -> tuple[str, int]:
    with reading() as session:
        rows = actions.may_serve(session)
        form = form or MakeForm(formdata=None, data={"pitch": request.args.get("pitch")})
        form.pitch.choices = {row.code: _told(row) for row in rows}
        return page(
            "leaks.html", form=form, rows=actions.that_count(session), sheets=actions.unread(session), pitches=rows
        )


def _told(row: PitchOnRecord) -> str:
    lens, mode = row.lens_lot, row.mode
    made_with = f"{lens.material.name}, {lens.label}; {mode.machine.name}, {mode.name}; {row.paper.name}"
    return f"{own_manner().number(row.lpi)} {row.axis}: {made_with}"


@pages.post("/leaks")
def make() -> BaseResponse | tuple[str, int]:
    """Draw a sheet and keep it."""
    form = MakeForm()
    with reading() as session:
        form.pitch.choices = {row.code: row.code for row in actions.may_serve(session)}
    if form.validate_on_submit():
        try:
            with reading() as session:
                chosen = by_code(session, PitchOnRecord, form.pitch.data)
                drawn = actions.draw(the_shop().store, chosen, address=shop_address(session))
        except Refused as refusal:
            say(form, Refused(refusal.sentence, field="pitch"))
            return _listing(form)
        if done := act(
            form,
            lambda session, by: actions.keep_sheet(
                session, by, pitch=by_code(session, PitchOnRecord, form.pitch.data), drawn=drawn
            ),
            lambda made: url_for("leaks.sheet", code=made.code),
        ):
            return done
    return _listing(form)


@pages.route("/leak-sheet/<code>", methods=["GET", "POST"])
def sheet(code: str) -> BaseResponse | tuple[str, int]:
    """One sheet: for the printer, how to read it, the taps, what was read."""
    form = TapsForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.read_sheet(
                session, by, made=by_code(session, LeakSheet, code), taps=form.taps()
            ),
            lambda _: url_for("leaks.sheet", code=code) + "#read",
        )
    ):
        return done
    with reading() as session:
        found = by_code(session, LeakSheet, code)
        told = [(row, actions.disagreement(row)) for row in reversed(found.readings)]
        return page("leak_sheet.html", sheet=found, readings=told, form=form)


@pages.get("/leak-sheet/<code>/file")
def sheet_file(code: str) -> Response:
    """The sheet's dots for the printer."""
    with reading() as session:
        made = by_code(session, LeakSheet, code)
        path = the_shop().store.path(made.raster.sha256)
        return send_file(path, mimetype="image/tiff", as_attachment=True, download_name=actions.file_name(made))


@pages.get("/leak-sheet/<code>.json")
def sheet_json(code: str) -> Response:
    """The sheet's own description, as it belongs beside the file."""
    with reading() as session:
        made = by_code(session, LeakSheet, code)
        name = actions.file_name(made).replace(".tif", ".json")
        return send_file(BytesIO(made.plan.encode()), mimetype="application/json", download_name=name)


@pages.get("/leak-sheet/<code>.pdf")
def sheet_pdf(code: str) -> Response:
    """The sheet as a PDF for one paper: a4, letter, roll 24in, 300mm x 400mm."""
    paper = request.args.get("paper", "a4")
    with reading() as session:
        drawn = actions.on_paper(by_code(session, LeakSheet, code), paper)
    return send_file(BytesIO(drawn()), mimetype="application/pdf", download_name=f"leak-sheet_{code}.pdf")
