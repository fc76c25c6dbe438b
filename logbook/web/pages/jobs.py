"""One job: pictures, proof, materials, pitch, interlacing, half-done work."""

from collections.abc import Callable, Container, Iterable, Sequence
from decimal import Decimal

from flask import Blueprint, get_flashed_messages, redirect, request, url_for
from sqlalchemy import or_, select
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import HiddenField, IntegerField, MultipleFileField, RadioField, SelectField, StringField, TextAreaField
from wtforms.validators import Length as TextLength
from wtforms.validators import NumberRange

from logbook.actions import (
    depthorder,
    flips,
    forecasts,
    jobs,
    leakcorrections,
    orders,
    pictures,
    pitchchoices,
    pitchfacts,
    proofs,
    runs,
    sheets,
)
from logbook.actions import pitch as pitch_actions
from logbook.actions.finding import by_code, ref
from logbook.actions.strengths import weigh
from logbook.paper.codes import opens_here_only
from logbook.records.audit import Actor
from logbook.records.floor import Run
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.orders import Job, Picture, Proof
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from logbook.rules.findings import REASON_FIELD, Finding, Strength, strongest
from logbook.rules.gates import may_interlace
from logbook.web import choices, keptforms, meanwhile, papering, reasons
from logbook.web.acting import act, page, reading, say, takes_writes
from logbook.web.fields import MAYBE, NEEDED, BenchForm, NumberField
from logbook.web.gate import actor, the_shop, without_request
from logbook.web.jobview import JobView, job_view
from logbook.web.linkview import LinkForm, link_view
from logbook.web.pages.orders import CALLED_AFTER_PICTURES, JobFields
from logbook.web.ringing import ring
from logbook.web.uploads import Held, hold, sorted_with_held, taken_in

pages = Blueprint("jobs", __name__)
STAGES = [
    ("print", "printing"),
    ("dry", "drying"),
    ("adhesive", "adhesive"),
    ("laminate", "register and laminate"),
    ("dwell", "resting"),
    ("trim", "trimming"),
    ("inspect", "inspection"),
    ("pack", "packing"),
]
_FIRST, _SERVED = "first print with this lens", "it served well before"
REASONS = {
    "origin": (_FIRST, _SERVED, "only a trial"),
    "printer history": ("a print since then flipped well", "only a trial"),
    "paper lot": ("a print on this lot flipped well", "only a trial"),
    "age": ("a print of late flipped well", "only a trial"),
    "climate": ("the room is brought back before printing", "only a trial"),
    "distance": ("it was read from where people stand", "only a trial"),
    "uncertainty": ("the flip matters little in this picture", "only a trial"),
    "second reading": ("nobody else is here today", "only a trial"),
}
"""Usual reasons for taking a pitch all the same, by the rule that asks."""
_PLEASE_CHOOSE = {"": "choose one, or write your own"}


def fitting_reasons(rules: Iterable[str], *, untrue: Container[str] = ()) -> dict[str, str]:
    """Choices that answer what these rules ask, each once; none that the logbook knows to be untrue."""
    fitting = (reason for rule in rules for reason in REASONS.get(rule.partition(":")[0], ()))
    return _PLEASE_CHOOSE | {reason: reason for reason in fitting if reason not in untrue}


def _untrue(origin: str, *, printed: bool) -> tuple[str, ...]:
    """A value carried over may have served before the logbook; any other only on a sheet that the logbook knows.

    ``printed``: it knows one of this lens lot.
    """
    if printed:
        return (_FIRST,)
    return () if origin == "carried over" else (_SERVED,)


class PicturesForm(BenchForm):
    """More pictures."""

    pictures = MultipleFileField("Pictures", description="Drop them here or choose; in play order.")


class PictureForm(BenchForm):
    """One picture to move or take out."""

    move = HiddenField()


class ProofForm(BenchForm):
    """Nothing to fill in."""


class AnswerForm(BenchForm):
    """The customer's word; nothing of it is chosen beforehand."""

    verdict = RadioField("Answer", [NEEDED], choices={"approved": "approved", "change": "wants a change"})
    how = RadioField("How it came", [NEEDED], choices={way: way for way in ("e-mail", "telephone", "in person")})
    given_by = StringField("Said by", [MAYBE, TextLength(max=200)], description="Empty: the customer.")
    words = TextAreaField("Their words", [MAYBE, TextLength(max=2000)], description="Paste what they wrote.")


class MaterialsForm(BenchForm):
    """Lots, printer, climate."""

    lens_lot = SelectField("Lens lot", [NEEDED])
    mode = SelectField("Printer and mode", [NEEDED])
    paper = SelectField("Paper", [NEEDED])
    paper_lot = SelectField("Paper lot", [MAYBE])
    adhesive_lot = SelectField("Adhesive lot", [MAYBE])
    temperature_c = NumberField(
        "Room, °C", [MAYBE], low=Decimal(-20), high=Decimal(60), description="21 to 25 is usual."
    )
    humidity_percent = NumberField(
        "Humidity, % RH", [MAYBE], low=Decimal(0), high=Decimal(100), description="45 to 55 is usual."
    )


ORIGIN = f"{REASON_FIELD}origin"


class PitchChoiceForm(BenchForm):
    """A pitch on record and, where a rule asks, why; where several do, their reasons stand beside it."""

    has_steps = True
    pitch = HiddenField()
    reason = SelectField("Reason", [MAYBE], choices=fitting_reasons(REASONS))
    own_reason = StringField("or in your own words", [MAYBE, TextLength(max=300)])

    @property
    def given(self) -> str:
        """The reason, chosen or typed."""
        return (self.own_reason.data or self.reason.data or "").strip()


class RunForm(BenchForm):
    """Interlace, perhaps as a sample; what asks, asks for a reason of its own beside it."""

    has_steps = True
    sample = RadioField(
        "What for",
        choices={"order": "the order", "sample": "a sample, cannot leave as the order"},
        default="order",
    )
    waste = RadioField(
        "Around the print",
        choices={
            "yes": "trim marks, check bars, pitch strip, scale bar and label in the waste",
            "no": "nothing: the lens has no waste",
        },
        default="yes",
    )

    def wish(self, address: str) -> runs.RunWish:
        """As the action takes it; ``address`` is this logbook's."""
        return runs.RunWish(
            sample=self.sample.data == "sample",
            waste=self.waste.data == "yes",
            reasons=reasons.given(),
            address=address,
        )


class MidwayForm(BenchForm):
    """Work that was half done when the logbook began."""

    stage = SelectField("It stands before", [NEEDED], choices=dict(STAGES))
    count = IntegerField("Sheets", [NEEDED, NumberRange(min=1, max=200)], default=1)
    note = StringField("Note", [MAYBE, TextLength(max=300)], description="What is known about its pitch and file.")


@pages.route("/job/<code>")
def job(code: str) -> tuple[str, int]:
    """Where each print is, what is next, who did what."""
    return job_page(code)


def job_page(code: str, *, held: Sequence[Held] = (), **forms: BenchForm) -> tuple[str, int]:
    """A job's whole page, with the forms that were sent and not accepted."""
    with reading() as session:
        found = by_code(session, Job, code)
        made = {
            "pictures_form": PicturesForm(formdata=None),
            "picture_form": PictureForm(formdata=None),
            "proof_form": ProofForm(formdata=None),
            "answer_form": AnswerForm(formdata=None),
            "link_form": LinkForm(formdata=None),
            "run_form": RunForm(formdata=None),
            **forms,
        }
        view, run_form = job_view(session, found), made["run_form"]
        seen_through = leakcorrections.seen_through(session, the_shop().store, found)
        return page(
            "job.html",
            view=view,
            held_pictures=held,
            run_asks=_run_asks(session, view, run_form),
            codes_here_only=opens_here_only(papering.shop_address(session)),
            links=link_view(session, found, actor().now),
            ghosting=seen_through,
            contrast_kept=leakcorrections.contrast_kept(session, found),
            just_called=code in get_flashed_messages(category_filter=[CALLED_AFTER_PICTURES]),
            flip=flips.of_job(the_shop().store, found),
            proof_flip=flips.of_proof(the_shop().store, found.proofs[-1]) if found.proofs else None,
            inside_out=depthorder.is_inside_out(the_shop().store, found),
            **made,
        )


def _run_asks(session: Session, view: JobView, form: BenchForm) -> list[Finding]:
    """What asks before a run: all of it once somebody has tried, the customer's word before that."""
    if isinstance(form, RunForm) and form.is_submitted() and form.beside:
        return runs.asks_before(session, actor(), job=view.job, wish=form.wish(""))
    asked = weigh(session, may_interlace(view.gates, sample=False))
    return [found for found in asked if found.strength is Strength.ASK]


@pages.post("/job/<code>/pictures")
def add_pictures(code: str) -> Response | tuple[str, int]:
    """More pictures at the end; of a try with a bad one the good ones are held for the next."""
    form, held = PicturesForm(), list[Held]()
    if form.validate_on_submit() and (done := _added(form, code, held)):
        return done
    return job_page(code, held=held, pictures_form=form)


def _added(form: PicturesForm, code: str, held: list[Held]) -> Response | None:
    """Put them in; what is not accepted leaves its good pictures in ``held``, and names every bad one."""
    try:
        with sorted_with_held(form.pictures.data, request.form.getlist("held")) as found:

            def work(session: Session, by: Actor) -> object:
                if found.bad or not found.good:
                    sentence = " ".join(found.bad) or "Choose at least one picture."
                    raise Refused(sentence, field="pictures")
                return pictures.add_pictures(
                    session, by, the_shop().store, job=by_code(session, Job, code), taken=found.good
                )

            if done := act(form, work, lambda _: url_for("jobs.job", code=code)):
                return done
            if found.bad and keptforms.shown_again():  # nothing was tried, and a bad one is not held
                say(form, Refused(" ".join(found.bad), field="pictures"))
            held.extend(hold(found))
    except Refused as refusal:
        say(form, refusal)
    return None


def _with_files(
    form: PicturesForm, work: Callable[[Session, Actor, list[pictures.Intake]], object], code: str
) -> Response | tuple[str, int]:
    """Receive the form's files, do the act with them, go back to the job."""
    if form.validate_on_submit():
        try:
            with taken_in(form.pictures.data) as taken:
                if not taken:
                    raise Refused("Choose at least one picture.", field="pictures")
                done = act(form, lambda session, by: work(session, by, taken), lambda _: url_for("jobs.job", code=code))
            if done:
                return done
        except Refused as refusal:
            say(form, refusal)
    return job_page(code, pictures_form=form)


@pages.post("/picture/<code>/replace")
def replace(code: str) -> Response | tuple[str, int]:
    """A better version of one picture."""
    form = PicturesForm()
    with reading() as session:
        owner = by_code(session, Picture, code).job.code

    def work(session: Session, by: Actor, taken: list[pictures.Intake]) -> object:
        picture = by_code(session, Picture, code)
        return pictures.replace_picture(session, by, the_shop().store, picture=picture, intake=taken[0])

    return _with_files(form, work, owner)


@pages.post("/picture/<code>")
def move(code: str) -> Response | tuple[str, int]:
    """Earlier, later, or out."""
    form = PictureForm()
    with reading() as session:
        owner = by_code(session, Picture, code).job.code
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: _move(session, by, code, form.move.data),
            lambda _: url_for("jobs.job", code=owner) + "#pictures",
        )
    ):
        return done
    return job_page(owner, picture_form=form)


def _move(session: Session, by: Actor, code: str, how: str) -> None:
    picture = by_code(session, Picture, code)
    if how == "out":
        pictures.remove_picture(session, by, picture=picture)
        return
    codes = [one.code for one in pictures.current(picture.job)]
    here = codes.index(code)
    there = min(max(here + (1 if how == "later" else -1), 0), len(codes) - 1)
    codes.insert(there, codes.pop(here))
    pictures.swap_order(session, by, job=picture.job, codes=codes)


@pages.post("/job/<code>/proof")
def make_proof(code: str) -> Response | tuple[str, int]:
    """Draw the proof's files and keep them as the next revision."""
    form = ProofForm()
    if form.validate_on_submit() and takes_writes(form):
        try:
            with reading() as session:
                found = by_code(session, Job, code)
                draw = proofs.drawing(the_shop().store, found, page=papering.proof_page(session, found))
            draft = draw()
        except Refused as refusal:
            say(form, refusal)
            return job_page(code, proof_form=form)
        if done := act(
            form,
            lambda session, by: proofs.keep_proof(session, by, job=by_code(session, Job, code), draft=draft),
            lambda _: url_for("jobs.job", code=code) + "#proof",
        ):
            return done
    return job_page(code, proof_form=form)


@pages.post("/proof/<code>/answer")
def answer(code: str) -> Response | tuple[str, int]:
    """Write down the customer's answer."""
    form = AnswerForm()
    with reading() as session:
        owner = by_code(session, Proof, code).job.code
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: proofs.record_answer(
                session,
                by,
                proof=by_code(session, Proof, code),
                verdict=form.verdict.data,
                how=form.how.data,
                given_by=form.given_by.data or "",
                words=form.words.data or "",
            ),
            lambda _: url_for("jobs.job", code=owner),
        )
    ):
        return done
    return job_page(owner, answer_form=form)


@pages.route("/job/<code>/materials", methods=["GET", "POST"])
def materials(code: str) -> Response | tuple[str, int]:
    """Lens lot, printer, paper, adhesive, climate."""
    form = MaterialsForm()
    with reading() as session:
        form.lens_lot.choices, form.mode.choices = choices.lots(session, "lens"), choices.modes(session)
        form.paper.choices = choices.papers(session)
        form.paper_lot.choices = [choices.NONE, *choices.lots(session, "paper")]
        form.adhesive_lot.choices = [choices.NONE, *choices.lots(session, "adhesive")]
        found = by_code(session, Job, code)
        if not form.is_submitted():
            _fill(form, jobs.materials_of(session, found))
        number = found.number
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: jobs.choose_materials(
                session, by, job=by_code(session, Job, code), choice=_choice(session, form)
            ),
            lambda _: url_for("jobs.job", code=code),
        )
    ):
        return done
    return page("materials.html", form=form, code=code, number=number)


def _fill(form: MaterialsForm, chosen: object) -> None:
    for name in ("lens_lot", "mode", "paper", "paper_lot", "adhesive_lot"):
        row = getattr(chosen, name, None)
        if row is not None:
            form[name].data = row.code
    if (asked := request.args.get("lens_lot")) and asked in dict(form.lens_lot.choices):
        form.lens_lot.data = asked  # chosen by its numbers a moment ago
    if not form.adhesive_lot.data and len(form.adhesive_lot.choices) > 1:
        form.adhesive_lot.data = form.adhesive_lot.choices[1][0]


def _choice(session: Session, form: MaterialsForm) -> jobs.MaterialChoice:
    def maybe(field: SelectField) -> Lot | None:
        return by_code(session, Lot, field.data) if field.data else None

    return jobs.MaterialChoice(
        lens_lot=by_code(session, Lot, form.lens_lot.data),
        mode=by_code(session, PrinterMode, form.mode.data),
        paper=by_code(session, Material, form.paper.data),
        paper_lot=maybe(form.paper_lot),
        adhesive_lot=maybe(form.adhesive_lot),
        temperature_c=form.temperature_c.data,
        humidity_percent=form.humidity_percent.data,
    )


@pages.route("/job/<code>/pitch", methods=["GET", "POST"])
def pitch(code: str) -> Response | tuple[str, int]:
    """Choose a pitch on record; each says what speaks against it."""
    form = PitchChoiceForm()
    if form.validate_on_submit() and (
        done := act(
            form, lambda session, by: _choose_pitch(session, by, code, form), lambda _: url_for("jobs.job", code=code)
        )
    ):
        return done
    with reading() as session:
        found = by_code(session, Job, code)
        if jobs.materials_of(session, found) is None:
            return redirect(url_for("jobs.materials", code=code), 303)
        return page(
            "job_pitch.html",
            form=form,
            blank=PitchChoiceForm(formdata=None),
            job=found,
            materials=jobs.materials_of(session, found),
            **_offered(session, found),
            typed=request.form,
        )


def _offered(session: Session, found: Job) -> dict[str, object]:
    """What is on record, and a forecast where no test of this pairing serves and no forecast like it is on record."""
    offers = _offers(session, found)
    serving = [offer["pitch"] for offer in offers if not offer["stop"]]
    made = None if any(pitch.origin == "test" for pitch in serving) else forecasts.for_job(session, found)
    if made is not None and (made.basis != "tests" or any(pitch.lpi == made.lpi for pitch in serving)):
        made = None
    chosen = jobs.materials_of(session, found)
    assert chosen is not None
    untrue = _untrue("nominal", printed=pitchchoices.printed_before(session, lens_lot=chosen.lens_lot))
    return {"offers": offers, "forecast": made, "nominal_reasons": fitting_reasons(["origin"], untrue=untrue)}


def _choose_pitch(session: Session, by: Actor, code: str, form: PitchChoiceForm) -> object:
    found = by_code(session, Job, code)
    if form.pitch.data == "nominal":
        wanted = nominal_for(session, by, found)
        by = without_request(by)
    elif form.pitch.data == "forecast":
        made = forecasts.for_job(session, found)
        if made is None:
            raise Refused("There is no forecast for these materials any more; choose another pitch.")
        wanted = forecasts.take(session, by, found=made)
        by = without_request(by)
    else:
        wanted = by_code(session, PitchOnRecord, form.pitch.data)
    # of a forecast the first reason is asked for beforehand: that it is one
    each = {ORIGIN: form.given} | reasons.given()
    return pitchchoices.choose(session, by, job=found, pitch=wanted, reason=form.given, reasons=each)


def nominal_for(session: Session, by: Actor, found: Job) -> PitchOnRecord:
    """The lens maker's pitch for a job's materials."""
    chosen = jobs.materials_of(session, found)
    if chosen is None:
        raise Refused("Choose lens lot, printer and paper first.")
    return pitch_actions.take_nominal(
        session,
        by,
        conditions=pitch_actions.Conditions(
            lens_lot=chosen.lens_lot, mode=chosen.mode, paper=chosen.paper, axis=jobs.axis_of(found)
        ),
    )


def _offers(session: Session, found: Job) -> list[dict]:
    """Pitches of this lens lot or type, the fitting ones first; each with its findings and as this job would use it."""
    chosen = jobs.materials_of(session, found)
    assert chosen is not None
    lens_type = chosen.lens_lot.material_id
    rows = session.execute(
        select(PitchOnRecord)
        .join(Lot, PitchOnRecord.lens_lot_id == Lot.id)
        .where(or_(PitchOnRecord.lens_lot_id == chosen.lens_lot_id, Lot.material_id == lens_type))
        .order_by(PitchOnRecord.id.desc())
        .limit(40)
    ).scalars()
    printed = pitchchoices.printed_before(session, lens_lot=chosen.lens_lot)
    offers = []
    for row in rows:
        findings, used = (
            pitchchoices.findings_for(session, actor(), job=found, pitch=row),
            pitchfacts.as_used(found, row),
        )
        offers.append(
            {
                "pitch": row,
                "findings": findings,
                "strength": strongest(findings) or 0,
                "used": used,
                "budget": pitchfacts.budget(found, row, used),
                "stop": strongest(findings) is Strength.STOP,
                "ask": strongest(findings) is Strength.ASK,
                "asks": [found for found in findings if found.strength is Strength.ASK],
                "reasons": fitting_reasons(
                    (found.rule for found in findings if found.strength is Strength.ASK),
                    untrue=_untrue(row.origin, printed=printed),
                ),
            }
        )
    return sorted(offers, key=lambda offer: offer["strength"])


@pages.post("/job/<code>/run")
def run(code: str) -> Response | tuple[str, int]:
    """Ask for an interlace run; the worker is told once it is on record."""
    form = RunForm()
    asked: list[int] = []

    def work(session: Session, by: Actor) -> Run:
        wish = form.wish(papering.shop_address(session))
        made = runs.ask_for(session, by, job=by_code(session, Job, code), wish=wish)
        asked.append(made.id)
        return made

    if form.validate_on_submit() and (done := act(form, work, lambda made: url_for("runs.run", code=made.code))):
        for run_id in asked:
            ring(run_id)
        return done
    return job_page(code, run_form=form)


@pages.route("/job/<code>/change", methods=["GET", "POST"])
def change(code: str) -> Response | tuple[str, int]:
    """Change what the job is to become, before anything was interlaced."""
    with reading() as session:
        found = by_code(session, Job, code)
        form = JobFields(obj=found)
        meanwhile.watch(session, form, ref(found), "job changed")
        number = found.number
    if form.validate_on_submit():
        wish = form.wish()
        changes = {name: getattr(wish, name) for name in orders.JobWish.__slots__ if name != "kind"}
        if done := act(
            form,
            lambda session, by: orders.change_job(session, by, job=by_code(session, Job, code), changes=changes),
            lambda _: url_for("jobs.job", code=code),
        ):
            return done
    return page("job_change.html", form=form, code=code, number=number)


@pages.route("/job/<code>/half-done", methods=["GET", "POST"])
def midway(code: str) -> Response | tuple[str, int]:
    """Enter work that was half done before the logbook."""
    form = MidwayForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: sheets.enter_midway(
                session,
                by,
                job=by_code(session, Job, code),
                stage=form.stage.data,
                count=form.count.data,
                note=form.note.data or "",
            ),
            lambda _: url_for("jobs.job", code=code),
        )
    ):
        return done
    with reading() as session:
        return page("midway.html", form=form, job=by_code(session, Job, code))
