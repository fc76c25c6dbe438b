"""Pitch: what is on record, tests with charts and readings, values carried over."""

from collections.abc import Callable
from datetime import UTC, datetime, time
from decimal import Decimal
from io import BytesIO

from flask import Blueprint, g, redirect, request, send_file, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import BooleanField, DateField, IntegerField, RadioField, SelectField, StringField, TextAreaField
from wtforms.validators import Length as TextLength
from wtforms.validators import NumberRange

from logbook.actions import chartscales, pitchcharts, pitchreadings, printers, strips, trace
from logbook.actions import pitch as actions
from logbook.actions.finding import by_code, ref
from logbook.engine import chart as charts
from logbook.engine.fit import Fit
from logbook.lengths import Length
from logbook.records.audit import Actor, entries_for
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchTest
from logbook.refusals import Refused
from logbook.rules.signing import UNIT_FIELD, plain_number
from logbook.web import choices, reasons, vdrawing
from logbook.web.acting import act, page, reading, say
from logbook.web.fields import MAYBE, NEEDED, BenchForm, LengthField, NumberField, own_units
from logbook.web.gate import own_manner, the_shop
from logbook.web.papering import shop_address

pages = Blueprint("pitch", __name__)
PAGE_SIZE = 50


def _usual_distance() -> Length:
    """An arm's length or so, in the reader's own unit."""
    return Length(Decimal(24), "in") if own_units() == "in" else Length(Decimal("0.6"), "m")


class ConditionsForm(BenchForm):
    """What a pitch belongs to."""

    lens_lot = SelectField("Lens lot", [NEEDED])
    mode = SelectField("Printer and mode", [NEEDED])
    paper = SelectField("Paper", [NEEDED])
    paper_lot = SelectField("Paper lot", [MAYBE])
    axis = RadioField(
        "Lines run across",
        choices={"across": "the carriage's way (left – right flips)", "down": "the paper's way (up – down flips)"},
        default="across",
    )
    distance = LengthField(
        "Read from",
        [MAYBE],
        default=_usual_distance,
        description="From your eye to the lens, head held still.",
    )
    lens_loose = BooleanField("The lens lay loose on the paper (not bonded)", default=True)
    temperature_c = NumberField("Room, °C", [MAYBE], low=Decimal(-20), high=Decimal(60))
    humidity_percent = NumberField("Humidity, % RH", [MAYBE], low=Decimal(0), high=Decimal(100))

    def offer(self, session: Session) -> None:
        """Fill the lists."""
        self.lens_lot.choices, self.mode.choices = choices.lots(session, "lens"), choices.modes(session)
        self.paper.choices = choices.papers(session)
        self.paper_lot.choices = [choices.NONE, *choices.lots(session, "paper")]

    def conditions(self, session: Session) -> actions.Conditions:
        """As the action takes them."""
        return actions.Conditions(
            lens_lot=by_code(session, Lot, self.lens_lot.data),
            mode=by_code(session, PrinterMode, self.mode.data),
            paper=by_code(session, Material, self.paper.data),
            axis=self.axis.data,
            paper_lot=by_code(session, Lot, self.paper_lot.data) if self.paper_lot.data else None,
            distance=self.distance.data,
            lens_loose=self.lens_loose.data,
            temperature_c=self.temperature_c.data,
            humidity_percent=self.humidity_percent.data,
        )


class TestForm(ConditionsForm):
    """A new test; what asks, asks for a reason of its own beside it."""

    has_steps = True


class CarryForm(ConditionsForm):
    """A value from before the logbook."""

    lpi = NumberField(
        "Pitch, lines per inch",
        [NEEDED],
        low=Decimal(5),
        high=Decimal(200),
        description="As it was printed at, up to six decimals.",
    )
    known_since = DateField("Known since", [NEEDED])
    distance = LengthField(
        "Read from", [MAYBE], description="From the eye to the lens, as it is told; empty where nobody knows."
    )
    note = TextAreaField(
        "Where it comes from", [NEEDED, TextLength(max=500)], description="The old notebook's page, who measured it."
    )


class ChartForm(BenchForm):
    """Which chart to print."""

    centre = NumberField("Centre, lines per inch", [NEEDED])
    step = NumberField(
        "Step, lines per inch",
        [NEEDED],
        low=Decimal("0.0001"),
        high=Decimal(5),
        description="Coarse 0.1, fine 0.01 (common practice).",
    )
    bands = IntegerField("Bands", [NEEDED, NumberRange(min=2, max=61)])
    width = LengthField(
        "Length across the lines",
        [NEEDED],
        description="The widest that printer and lens take; 190 mm fits A4 and Letter.",
    )

    def wish(self) -> pitchcharts.ChartWish:
        """As the action takes it."""
        return pitchcharts.ChartWish(
            centre_lpi=self.centre.data, step_lpi=self.step.data, bands=self.bands.data, width=self.width.data
        )


class SlidingForm(BenchForm):
    """One band whose pitch slides."""

    length = LengthField(
        "Length across the lines", [NEEDED], default=charts.DEFAULT_LENGTH, description="190 mm fits A4 and Letter."
    )


class AcceptForm(BenchForm):
    """Put the fit on record; what asks, asks for a reason of its own beside it."""

    has_steps = True
    note = StringField("Note", [MAYBE, TextLength(max=300)])


class PlainForm(BenchForm):
    """A button, with a note."""

    note = StringField("Note", [MAYBE, TextLength(max=300)])


class WithdrawForm(BenchForm):
    """Why a pitch no longer serves."""

    reason = StringField("What is wrong with it", [NEEDED, TextLength(max=300)])


@pages.route("/pitch")
def listing() -> tuple[str, int]:
    """Pitches on record, newest first, and tests under way."""
    before = request.args.get("before", type=int)
    with reading() as session:
        query = select(PitchOnRecord).order_by(PitchOnRecord.id.desc()).limit(PAGE_SIZE + 1)
        found = query.where(PitchOnRecord.id < before) if before is not None else query
        rows = list(session.execute(found).scalars())
        tests = list(
            session.execute(select(PitchTest).where(PitchTest.state == "open").order_by(PitchTest.id.desc())).scalars()
        )
        more = rows[PAGE_SIZE - 1].id if len(rows) > PAGE_SIZE else None
        return page("pitch.html", pitches=rows[:PAGE_SIZE], tests=tests, more=more)


@pages.route("/pitch/new", methods=["GET", "POST"])
def new() -> Response | tuple[str, int]:
    """Start a test under stated conditions."""
    form = TestForm()
    with reading() as session:
        form.offer(session)
        _prefill(form)
        _ask_which(form)
        findings = _of_printer(session, form)
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: pitchcharts.start_test(
                session, by, conditions=form.conditions(session), reasons=reasons.given()
            ),
            lambda test: url_for("pitch.test", code=test.code),
        )
    ):
        return done
    return page("pitch_new.html", form=form, carry=False, typed=request.form, **findings)


def _of_printer(session: Session, form: ConditionsForm) -> dict[str, object]:
    """What asks about the printer that is chosen, by itself the first, and where that is mended."""
    offered = [code for code, _ in form.mode.choices]
    chosen = form.mode.data if form.mode.data in offered else next(iter(offered), None)
    if chosen is None:
        return {"findings": []}
    mode = by_code(session, PrinterMode, chosen)
    return {"findings": printers.findings(session, mode), "printer": (mode.machine.name, mode.machine.code)}


def _prefill(form: ConditionsForm) -> None:
    """From a job's page the materials are known already."""
    if not form.is_submitted():
        for name in ("lens_lot", "mode", "paper", "axis"):
            if request.args.get(name):
                form[name].data = request.args[name]


def _ask_which(form: ConditionsForm) -> None:
    """Where there are several and none is known yet, nobody gets the first by looking away."""
    for listed in (form.lens_lot, form.paper):
        if len(listed.choices) > 1 and not listed.data:
            listed.choices = [("", "choose"), *listed.choices]


@pages.route("/pitch/carry", methods=["GET", "POST"])
def carry() -> Response | tuple[str, int]:
    """A pitch known from before."""
    form = CarryForm()
    with reading() as session:
        form.offer(session)
    _prefill(form)
    _ask_which(form)
    if form.validate_on_submit() and (
        done := act(
            form, lambda session, by: _carry(session, by, form), lambda row: url_for("pitch.on_record", code=row.code)
        )
    ):
        return done
    return page("pitch_new.html", form=form, carry=True, findings=[])


def _carry(session: Session, by: Actor, form: CarryForm) -> PitchOnRecord:
    since = datetime.combine(form.known_since.data, time(12)).astimezone(UTC)
    return actions.carry_over(
        session,
        by,
        conditions=form.conditions(session),
        lpi=form.lpi.data,
        note=form.note.data or "",
        known_since=since,
    )


@pages.route("/pitch/test/<code>")
def test(code: str) -> tuple[str, int]:
    """A test: its charts, what was read, what fits."""
    return _test_page(code)


def _test_page(code: str, read_now: str = "", **forms: BenchForm) -> tuple[str, int]:
    """``read_now``: the chart whose counts were refused; they stay in its form alone."""
    with reading() as session:
        found = by_code(session, PitchTest, code)
        fit, trouble = _fit(found)
        chart_form = forms.get("chart_form") or ChartForm(formdata=None, **_suggested(session, found, fit))
        made = [_chart_shown(one, fit) for one in found.charts]
        accepted = session.execute(select(PitchOnRecord).where(PitchOnRecord.test_id == found.id)).scalars().first()
        return page(
            "pitch_test.html",
            test=found,
            fit=fit,
            trouble=trouble,
            charts=made,
            chart_form=chart_form,
            accepted=accepted,
            reading_form=forms.get("reading_form") or PlainForm(formdata=None),
            read_now=read_now,
            counts=request.form,
            plain_form=PlainForm(formdata=None),
            accept_form=forms.get("accept_form") or AcceptForm(formdata=None),
            sliding_form=forms.get("sliding_form") or SlidingForm(formdata=None),
            accept_findings=pitchreadings.accept_findings(session, found) if fit else [],
            blind=any(one["blind"] for one in made),
            waiting=pitchreadings.jobs_waiting_for(session, found)
            if fit and not (accepted and accepted.withdrawal)
            else [],
            two_u=2 * fit.u_lpi if fit else 0.0,
            drawing=vdrawing.drawing(fit) if fit else "",
        )


def _chart_shown(made: PitchChart, fit: Fit | None) -> dict[str, object]:
    """A chart with its readings; ``blind`` while others have read it and the signed-in person has not."""
    readings = pitchreadings.readings_of(made)
    mine = any(row.reader_id == g.me.id for row in readings)
    open_now = made.test.state == "open" and g.me.may_write
    again = open_now and mine and request.args.get("again") == made.code
    blind = open_now and bool(readings) and (again or not mine) and request.args.get("show") != "all"
    missed = {(one.lpi, one.reader): one.residual for one in fit.residuals} if fit else {}
    told = [
        {
            "row": row,
            "by": pitchreadings.said_by(row),
            "missed": missed.get((row.lpi, pitchreadings.said_by(row))) if row.band else None,
        }
        for row in readings
    ]
    return {
        "chart": made,
        "bands": pitchcharts.bands_of(made),
        "middle": charts.middle_numbers(made.bands),
        "scales": chartscales.in_words(made),
        "measured": chartscales.measured(made),
        "scaled": list(chartscales.off(made)),
        "readings": told,
        "blind": blind,
        "mine": mine,
        "again": again,
    }


def _fit(found: PitchTest) -> tuple[Fit | None, str]:
    try:
        return pitchreadings.fit_of(found), ""
    except Refused as refusal:
        return None, refusal.sentence


def _suggested(session: Session, found: PitchTest, fit: Fit | None) -> dict[str, object]:
    """The chart to print next, filled in."""
    following = getattr(fit, "next_chart", None)
    if following is not None:
        return {
            "centre": following.centre_lpi,
            "step": following.step_lpi,
            "bands": following.bands,
            "width": found.charts[-1].width,
        }
    width = found.charts[-1].width if found.charts else charts.DEFAULT_LENGTH
    wish = pitchcharts.wish_around(found, fit.lpi, width) if fit else pitchcharts.wish_after_others(session, found)
    return {"centre": wish.centre_lpi, "step": wish.step_lpi, "bands": wish.bands, "width": width}


@pages.post("/pitch/test/<code>/chart")
def make_chart(code: str) -> Response | tuple[str, int]:
    """Draw a chart of bands and keep it."""
    form = ChartForm()

    def draw(found: PitchTest, address: str) -> pitchcharts.Drawn:
        return pitchcharts.draw_chart(the_shop().store, found, form.wish(), address=address)

    return _make(code, form, draw)


@pages.post("/pitch/test/<code>/sliding")
def make_sliding(code: str) -> Response | tuple[str, int]:
    """Draw a sliding band and keep it."""
    form = SlidingForm()

    def draw(found: PitchTest, address: str) -> pitchcharts.Drawn:
        return pitchcharts.draw_sliding(the_shop().store, found, width=form.length.data, address=address)

    return _make(code, form, draw)


def _make(
    code: str, form: ChartForm | SlidingForm, draw: Callable[[PitchTest, str], pitchcharts.Drawn]
) -> Response | tuple[str, int]:
    name = "chart_form" if isinstance(form, ChartForm) else "sliding_form"
    if form.validate_on_submit():
        try:
            with reading() as session:
                drawn = draw(by_code(session, PitchTest, code), shop_address(session))
        except Refused as refusal:
            say(form, Refused(refusal.sentence, field=_FIELDS.get(refusal.field or "", refusal.field)))
            return _test_page(code, **{name: form})
        if done := act(
            form,
            lambda session, by: pitchcharts.keep_chart(
                session, by, test=by_code(session, PitchTest, code), drawn=drawn
            ),
            lambda _: url_for("pitch.test", code=code),
        ):
            return done
    return _test_page(code, **{name: form})


_FIELDS = {"lpi": "centre", "length": "width"}
"""Where the engine's name of an input is another one than the form's."""


@pages.get("/pitch/chart/<code>/read")
def read_again(code: str) -> Response:
    """The reading form's address, as a refusal leaves it in the bar: a chart has no page but its test's."""
    with reading() as session:
        return redirect(url_for("pitch.test", code=by_code(session, PitchChart, code).test.code))


@pages.post("/pitch/chart/<code>/read")
def read(code: str) -> Response | tuple[str, int]:
    """Write down what was counted."""
    form = PlainForm()
    with reading() as session:
        owner = by_code(session, PitchChart, code).test.code
    counts = {
        int(name.removeprefix("band_")): value
        for name, value in request.form.items()
        if name.startswith("band_") and name[5:].isdigit()
    }
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: pitchreadings.record_readings(
                session,
                by,
                made=by_code(session, PitchChart, code),
                counts=counts,
                spot=_with_a_point(request.form.get("spot", "")),
                again=request.form.get("again") == "yes",
                scales=_scales(),
            ),
            lambda _: url_for("pitch.test", code=owner) + "#result",
        )
    ):
        return done
    return _test_page(owner, read_now=code, reading_form=form)


def _with_a_point(words: str) -> str:
    """A number in the manner of whoever typed it; anything else, and what may be a thousand, stays as it is."""
    return words.strip() if plain_number(words, own_manner().mark) is None else words.strip().replace(",", ".")


def _scales() -> dict[str, str]:
    """The long scales as they were typed; one without a unit is in the unit that stood beside its field."""
    typed = {axis: _with_a_point(request.form.get(f"scale_{axis}", "")) for axis in chartscales.AXES}
    units = {axis: request.form.get(f"scale_{axis}{UNIT_FIELD}", "mm") for axis in typed}
    bare = {axis for axis, words in typed.items() if plain_number(words) is not None and units[axis] != "mm"}
    return {axis: f"{words} {units[axis]}" if axis in bare else words for axis, words in typed.items()}


@pages.get("/pitch/chart/<code>/on-paper.pdf")
def on_paper(code: str) -> Response:
    """The chart as a PDF for one paper: a4, letter, roll 24in, 300mm x 400mm."""
    paper = request.args.get("paper", "a4")
    with reading() as session:
        drawn = pitchcharts.on_paper(by_code(session, PitchChart, code), paper)
    return send_file(BytesIO(drawn()), mimetype="application/pdf", download_name=f"pitch-chart_{code}.pdf")


@pages.get("/pitch/chart/<code>/file")
def chart_file(code: str) -> Response:
    """Download a chart for the printer."""
    with reading() as session:
        made = by_code(session, PitchChart, code)
        return send_file(
            the_shop().store.path(made.raster.sha256),
            mimetype="image/tiff",
            as_attachment=True,
            download_name=pitchcharts.file_name(made),
        )


@pages.post("/pitch/test/<code>/accept")
def accept(code: str) -> Response | tuple[str, int]:
    """Put the fit on record."""
    form = AcceptForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: pitchreadings.accept_result(
                session,
                by,
                test=by_code(session, PitchTest, code),
                note=form.note.data or "",
                reasons=reasons.given(),
            ),
            lambda row: url_for("pitch.on_record", code=row.code),
        )
    ):
        return done
    return _test_page(code, accept_form=form)


@pages.get("/pitch/<code>/over-time")
def over_time(code: str) -> tuple[str, int]:
    """The strips of this pairing of lens lot and printer, print after print."""
    with reading() as session:
        found = by_code(session, PitchOnRecord, code)
        course = strips.course(session, lens_lot=found.lens_lot, mode=found.mode, axis=found.axis)
        return page("pitch_course.html", pitch=found, course=course, drawing=vdrawing.course(course, float(found.lpi)))


@pages.route("/pitch/<code>", methods=["GET", "POST"])
def on_record(code: str) -> Response | tuple[str, int]:
    """A pitch on record, every print from it, and the way to withdraw it."""
    form = WithdrawForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.withdraw(
                session, by, pitch=by_code(session, PitchOnRecord, code), reason=form.reason.data
            ),
            lambda _: url_for("pitch.on_record", code=code),
        )
    ):
        return done
    with reading() as session:
        found = by_code(session, PitchOnRecord, code)
        told = [entry for row in (found.test, found) if row is not None for entry in entries_for(session, ref(row))]
        return page(
            "pitch_on_record.html",
            pitch=found,
            prints=trace.of_pitch(session, found)["prints"],
            reasons=dict.fromkeys(
                (one.action, one.reason) for one in told if one.reason and one.action != "pitch withdrawn"
            ),
            form=form,
        )
