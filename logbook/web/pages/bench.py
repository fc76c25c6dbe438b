"""The bench: a sheet or a piece at its current stage, signed step by step."""

from collections.abc import Callable, Sequence

from flask import Blueprint, redirect, request, url_for
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import DateField, RadioField, SelectField, StringField
from wtforms.validators import Length as TextLength

from logbook.actions import (
    atrollers,
    benchfindings,
    benchlist,
    benchrecords,
    doubts,
    leaving,
    onpaper,
    recorded,
    strips,
    takingback,
    takingoff,
    trace,
    writtenoff,
)
from logbook.actions import bench as actions
from logbook.actions.finding import by_code
from logbook.actions.pictures import Intake
from logbook.engine.strip import BANDS
from logbook.paper.rows import Caution
from logbook.records.audit import Actor
from logbook.records.floor import Print, Sheet
from logbook.records.machines import Machine
from logbook.records.materials import Lot
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules.defects import cause_words
from logbook.rules.findings import REASON_FIELD, Finding, Strength
from logbook.rules.stages import ROLLER_STAGES, undoing
from logbook.rules.steplist import Stage
from logbook.rules.traits import ways_of_working
from logbook.web import atmachines, beforerollers, choices, papering, pinned, reasons, tablets, together, verdictforms
from logbook.web.acting import act, page, reading, say
from logbook.web.fields import MAYBE, NEEDED, BenchForm, typed_values
from logbook.web.gate import actor, the_shop
from logbook.web.uploads import taken_in

pages = Blueprint("bench", __name__)
MOST_SHOWN = 40
"""How many of a stage the bench lists at first, the earliest due; the rest is one step behind."""
SIGNED_TOGETHER = ("print", "dry", "dwell", "trim")
"""The stages that several can be signed at in one act; every other one is signed on each one's own page."""
PLACES = {
    "print": "Printing",
    "dry": "Drying",
    "adhesive": "Adhesive",
    "laminate": "Lens",
    "dwell": "Resting",
    "trim": "Trimming",
    "inspect": "Inspection",
    "pack": "Packing",
}


class SignForm(BenchForm):
    """The end of a stage. Values of the steps stand beside it, named by their keys."""

    has_steps = True
    machine = SelectField("With", [MAYBE], validate_choice=False)
    paper_lot = SelectField("Paper lot", [MAYBE], validate_choice=False)


Photos = Sequence[tuple[str, Intake]]
"""Received photographs by the key of their step."""


class LeaveForm(SignForm):
    """Out of the door."""

    how = RadioField(
        "It was",
        [NEEDED],
        choices={"collected": "collected", "sent": "sent", "kept": "kept in the shop"},
        default="collected",
    )
    on = DateField("On", [NEEDED])
    carrier = StringField("Carrier", [MAYBE, TextLength(max=120)])
    tracking = StringField("Their number", [MAYBE, TextLength(max=120)])


class StripForm(BenchForm):
    """Five counts beside the print; they stand beside it, named by their bands."""


class BackForm(BenchForm):
    """What happened at the rollers."""

    reason = StringField("Why", [NEEDED, TextLength(max=300)])


class SettledForm(BackForm):
    """Why something set aside may go on. Nothing is chosen beforehand where several reasons hold it."""

    lifted = RadioField("What is settled", [MAYBE], validate_choice=False)


@pages.route("/bench")
def place_list() -> tuple[str, int]:
    """What stands at every stage."""
    return _listing()


def _listing(stage: str = "", sent: SignForm | None = None) -> tuple[str, int]:
    """The list; with the form of a try to sign several of a stage that was refused, and what it asks."""
    chosen = request.form.getlist("chosen") if sent else []
    with reading() as session:
        form = SignForm(formdata=None)
        standing = benchlist.by_stage(session)
        for each in (form, sent) if sent else (form,):
            each.machine.choices = _trimmers(session)
        against = _against_chosen(session, stage, standing.get(stage, ()), sent) if sent else []
        whole = request.args.get("all", "")
        return page(
            "bench.html",
            places=PLACES,
            addresses={False: url_for("bench.sheet", code=""), True: url_for("bench.piece", code="")},
            standing=standing,
            shown={
                key: [one for place, one in enumerate(rows) if key == whole or place < MOST_SHOWN or one.code in chosen]
                for key, rows in standing.items()
            },
            now=actor().now,
            together=SIGNED_TOGETHER,
            read_first=together.read_first(session, SIGNED_TOGETHER if any(standing.values()) else ()),
            form=form,
            sent={stage: sent} if sent else {},
            asks=[found for found in against if found.strength is Strength.ASK],
            told=[found for found in against if found.strength is Strength.NOTE or found.rule.startswith("wait")],
            typed=request.form,
            chosen=chosen,
            tap=takingback.last_tap(session, actor()),
        )


def _against_chosen(
    session: Session, stage: str, standing: Sequence[benchlist.Standing], sent: SignForm
) -> list[Finding]:
    """What stands in the way of those that were chosen and still stand there; nothing where none can be signed so."""
    if stage not in SIGNED_TOGETHER:
        return []
    chosen = set(request.form.getlist("chosen"))
    subjects = [by_code(session, _table(stage), one.code) for one in standing if one.code in chosen]
    return actions.findings_together(session, actor(), subjects=subjects, machine=_tool(session, stage, sent))


@pages.route("/sheet/<code>")
def sheet(code: str) -> Response | tuple[str, int]:
    """A sheet at its current stage; at a tablet the work goes on with its only piece."""
    if tablets.place() is not None:
        with reading() as session:
            found = by_code(session, Sheet, code)
            if found.stage == "parted" and len(found.prints) == 1:
                return redirect(url_for("bench.piece", code=found.prints[0].code), 303)
    return sheet_page(code)


def sheet_page(code: str, **forms: BenchForm) -> tuple[str, int]:
    """A sheet's page, with the forms of a try that was refused."""
    with reading() as session:
        found = by_code(session, Sheet, code)
        if found.stage in ("parted", "scrapped"):
            return page(
                "sheet_done.html",
                sheet=found,
                tap=takingback.last_tap(session, actor(), on=found),
                records=recorded.listed(session, found),
                step_texts=benchrecords.step_texts(found),
                taken_off=bool(takingoff.taken_off(session, [found])),
                replaced_by={
                    one.id: leaving.replacement_of(session, one) for one in found.prints if one.stage == "scrapped"
                },
            )
        stage = benchrecords.stage_definition(found)
        values: dict[str, object] = {
            "sheet": found,
            "tap": takingback.last_tap(session, actor(), on=found),
            "stage": stage,
            "cards": _cards(session, stage),
            "records": recorded.listed(session, found),
            "step_texts": benchrecords.step_texts(found),
            "wait": benchfindings.wait_for(session, found),
            "findings": benchfindings.findings_for(session, actor(), found, typed_values()),
            "now": actor().now,
            "typed": request.form,
            "Strength": Strength,
            "strip": strips.plan_of(found.run) if found.stage in strips.BEFORE_BONDING else None,
            "on_paper": onpaper.begun(session, found),
            "may_be_on_paper": onpaper.may_be(found),
            "strip_fit": strips.fit_of(session, found),
            "strip_form": forms.get("strip_form") or StripForm(formdata=None),
            "sign_form": forms.get("sign_form") or _sign_form(session, found),
            "left_form": forms.get("left_form") or BackForm(formdata=None),
            "spoiled_form": forms.get("spoiled_form") or verdictforms.SpoiledForm(formdata=None),
            "undoing": undoing(found.stage),
        }
        if stage.key not in ROLLER_STAGES:
            return page("stage.html", **values)
        if atrollers.is_set_up(session, actor(), found):
            return page("rollers_run.html", **values)
        return beforerollers.shown(
            session, forms.get("rollers_form") or beforerollers.RollersForm(formdata=None), values
        )


def _cards(session: Session, stage: Stage) -> list[Caution]:
    """The stage's cautions; what no machine in use, nor a knife, can do to anybody is left out."""
    shared = papering.shared_traits(session, stage.machine) if stage.machine else ()
    return papering.cards(stage.cards, ways_of_working(stage.machine, shared))


def _sign_form(session: Session, found: Sheet | Print) -> SignForm:
    form = LeaveForm(formdata=None) if found.stage == "pack" else SignForm(formdata=None)
    _offer(session, form, found)
    if isinstance(form, LeaveForm):
        form.on.data = actor().now.astimezone().date()
    if isinstance(found, Sheet) and found.paper_lot:
        form.paper_lot.data = found.paper_lot.code
    return form


def _offer(session: Session, form: SignForm, found: Sheet | Print) -> None:
    """What is chosen from at the stage where it stands."""
    form.machine.choices = _trimmers(session) if found.stage == "trim" else []
    form.paper_lot.choices = [choices.NONE, *choices.lots(session, "paper")] if found.stage == "print" else []


def _trimmers(session: Session) -> list[tuple[str, str]]:
    """A trimmer that may be used now stands first: nobody says "by hand" by a tap on what was there already."""
    runnable = atmachines.runnable(atmachines.of_kind(session, actor(), "trimmer"))
    offered = [*choices.machines(session, "trimmer"), ("", "by hand: knife and rule")]
    return sorted(offered, key=lambda one: (one[0] not in runnable, one[0] != ""))


@pages.post("/sheet/<code>/rollers")
def rollers(code: str) -> Response | tuple[str, int]:
    """What is read and ticked before the rollers move."""
    form = beforerollers.RollersForm()
    form.signs = _setting_up_signs(code, form)
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: _start_rollers(session, by, code, form),
            lambda _: url_for("bench.sheet", code=code),
        )
    ):
        return done
    return sheet_page(code, rollers_form=form)


def _setting_up_signs(code: str, form: beforerollers.RollersForm) -> str:
    """What PIN a tablet asks for before the rollers."""
    if tablets.place() is None or not form.machine.data:
        return ""
    with reading() as session:
        found = by_code(session, Sheet, code)
        if found.stage not in ROLLER_STAGES:
            return ""
        covering = beforerollers.covering_of(session, form)
        return pinned.of_setting_up(benchrecords.stage_definition(found), covered=covering is not None)


def _signs(table: type[Sheet] | type[Print], codes: Sequence[str]) -> str:
    """What PIN a tablet asks for where these are signed at the stage at which they stand."""
    if tablets.place() is None:
        return ""
    with reading() as session:
        found = [by_code(session, table, code) for code in codes]
        signs = {pinned.of_stage(benchrecords.stage_definition(one)) for one in found if one.stage in PLACES}
    return next((one for one in (pinned.SAFETY, pinned.HOLD) if one in signs), "")


def _start_rollers(session: Session, by: Actor, code: str, form: beforerollers.RollersForm) -> object:
    found = by_code(session, Sheet, code)
    stage = benchrecords.stage_definition(found)
    if form.helper.data == beforerollers.NOT_SAID:
        raise Refused("Say who helps at the rollers, or that nobody does.", field="helper")
    ticks = frozenset(step.key for step in stage.steps if step.record == "tick" and request.form.get(step.key))
    return atrollers.start_rollers(
        session,
        by,
        sheets=[found],
        stage=stage.key,
        start=atrollers.RollerStart(
            machine=by_code(session, Machine, form.machine.data),
            alone_with=form.alone_with.data or "",
            ticks=ticks,
            helper=by_code(session, Person, form.helper.data) if form.helper.data else None,
            adhesive_lot=by_code(session, Lot, form.adhesive_lot.data) if form.adhesive_lot.data else None,
            reasons=reasons.given(),
        ),
    )


@pages.post("/sheet/<code>/strip")
def strip(code: str) -> Response | tuple[str, int]:
    """The five counts of the pitch strip."""
    form = StripForm()
    counts = {band: request.form.get(f"strip_{band}", "") for band in range(1, BANDS + 1)}
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: strips.record_counts(session, by, sheet=by_code(session, Sheet, code), counts=counts),
            lambda _: url_for("bench.sheet", code=code),
        )
    ):
        return done
    return sheet_page(code, strip_form=form)


@pages.post("/sheet/<code>/left-rollers")
def left_rollers(code: str) -> Response | tuple[str, int]:
    """A jam or another interruption."""
    form = BackForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: atrollers.leave_rollers(
                session, by, sheet=by_code(session, Sheet, code), reason=form.reason.data
            ),
            lambda _: url_for("bench.sheet", code=code),
        )
    ):
        return done
    return sheet_page(code, left_form=form)


@pages.post("/sheet/<code>/sign/<stage>")
def sign_sheet(code: str, stage: str) -> Response | tuple[str, int]:
    """Sign a stage of a sheet."""
    form = SignForm()
    form.signs = _signs(Sheet, [code])

    def work(session: Session, by: Actor, photos: Photos) -> None:
        _sign(session, by, [by_code(session, Sheet, code)], stage, form, photos)

    if done := _with_photos(form, work, url_for("bench.sheet", code=code)):
        return done
    with reading() as session:
        _offer(session, form, by_code(session, Sheet, code))
    return sheet_page(code, sign_form=form)


def _with_photos(form: SignForm, work: Callable[[Session, Actor, Photos], object], back: str) -> Response | None:
    """Receive the photographs of a stage's page and sign with them."""
    if not form.validate_on_submit():
        return None
    sent = [(key, file) for key, file in request.files.items(multi=True) if file.filename]
    try:
        with taken_in([file for _, file in sent]) as taken:
            photos = [(key, intake) for (key, _), intake in zip(sent, taken, strict=True)]
            return act(form, lambda session, by: work(session, by, photos), lambda _: back)
    except Refused as refusal:
        say(form, Refused(refusal.sentence))
        return None


@pages.post("/bench/<stage>/sign")
def sign_several(stage: str) -> Response | tuple[str, int]:
    """One act signs a stage on several chosen sheets or pieces."""
    if stage not in PLACES:
        raise Refused("Nothing is signed there.")
    form = SignForm()
    chosen = request.form.getlist("chosen")
    form.signs = _signs(_table(stage), chosen)

    def work(session: Session, by: Actor) -> None:
        if stage not in SIGNED_TOGETHER:
            raise Refused("This stage is signed on each one's own page.")
        _sign(session, by, [by_code(session, _table(stage), code) for code in chosen], stage, form)

    if form.validate_on_submit() and (done := act(form, work, lambda _: url_for("bench.place_list"))):
        return done
    for name in [name for name in form.beside if name != "pin" and not name.startswith(REASON_FIELD)]:
        form.form_errors.append(f"{form.beside.pop(name)} Sign them on their own pages.")
    return _listing(stage, form)


def _table(stage: str) -> type[Sheet] | type[Print]:
    return Print if stage in ("trim", "inspect", "pack") else Sheet


def _tool(session: Session, stage: str, form: SignForm) -> Machine | None:
    return by_code(session, Machine, form.machine.data) if stage == "trim" and form.machine.data else None


def _sign(session: Session, by: Actor, subjects: list, stage: str, form: SignForm, photos: Photos = ()) -> None:
    actions.sign_stage(
        session,
        by,
        subjects=subjects,
        stage=stage,
        signature=actions.Signature(
            values=typed_values(),
            reasons=reasons.given(),
            machine=_tool(session, stage, form),
            paper_lot=by_code(session, Lot, form.paper_lot.data) if form.paper_lot.data else None,
            photos=photos,
            store=the_shop().store,
        ),
    )


@pages.route("/print/<code>")
def piece(code: str) -> tuple[str, int]:
    """A piece: its current stage, and where it comes from."""
    return piece_page(code)


def piece_page(code: str, **forms: BenchForm) -> tuple[str, int]:
    """A piece's page, with the forms of a try that was refused."""
    with reading() as session:
        found = by_code(session, Print, code)
        at_bench = found.stage in ("trim", "inspect", "pack")
        stage = benchrecords.stage_definition(found) if at_bench else None
        failed = leaving.failed_inspection(session, found) if at_bench else None
        return page(
            "piece.html",
            piece=found,
            tap=takingback.last_tap(session, actor(), on=found),
            stage=stage,
            cards=_cards(session, stage) if stage else [],
            failed=failed,
            result_choices=_results(stage),
            on_paper=onpaper.begun(session, found) if at_bench else None,
            may_be_on_paper=onpaper.may_be(found),
            wait=benchfindings.wait_for(session, found) if at_bench else None,
            now=actor().now,
            typed=request.form,
            findings=benchfindings.findings_for(session, actor(), found, typed_values()) if at_bench else [],
            Strength=Strength,
            records=recorded.listed(session, found.sheet, found),
            verdicts=leaving.verdicts_on(session, found),
            cause_words=cause_words,
            traced=trace.way_of(session, found),
            step_texts=benchrecords.step_texts(found),
            taken_off=bool(takingoff.taken_off(session, [found.sheet])),
            sign_form=forms.get("sign_form") or _sign_form(session, found),
            verdict_form=forms.get("verdict_form") or verdictforms.VerdictForm(formdata=None),
            written_off=writtenoff.told,
            replaced_by=leaving.replacement_of(session, found),
            undoing=undoing(found.stage) if at_bench else "",
            not_now=_not_now(session, "trimmer") if found.stage == "trim" else [],
            back_form=_settled_form(found, forms.get("back_form")),
        )


def _not_now(session: Session, kind: str) -> list[tuple[Machine, str]]:
    """The machines of a kind that nobody signed in here may use now, and why: read before the work, not after it."""
    found = [(row, atmachines.stops(each)) for row, each in atmachines.of_kind(session, actor(), kind).values()]
    return [one for one in found if one[1]]


def _results(stage: Stage | None) -> tuple[str, ...]:
    """What an inspection may end with."""
    return next((step.choices for step in stage.steps if step.key == "inspect-result"), ()) if stage else ()


@pages.post("/print/<code>/sign/<stage>")
def sign_piece(code: str, stage: str) -> Response | tuple[str, int]:
    """Sign trimming or inspection of a piece."""
    form = SignForm()
    form.signs = _signs(Print, [code])

    def work(session: Session, by: Actor, photos: Photos) -> None:
        _sign(session, by, [by_code(session, Print, code)], stage, form, photos)

    if done := _with_photos(form, work, url_for("bench.piece", code=code)):
        return done
    with reading() as session:
        _offer(session, form, by_code(session, Print, code))
    return piece_page(code, sign_form=form)


@pages.post("/print/<code>/leave")
def leave(code: str) -> Response | tuple[str, int]:
    """Packed and out of the door."""
    form = LeaveForm()
    form.signs = _signs(Print, [code])
    if form.validate_on_submit() and (
        done := act(
            form, lambda session, by: _leave(session, by, code, form), lambda _: url_for("bench.piece", code=code)
        )
    ):
        return done
    with reading() as session:
        _offer(session, form, by_code(session, Print, code))
    return piece_page(code, sign_form=form)


def _leave(session: Session, by: Actor, code: str, form: LeaveForm) -> object:
    found = by_code(session, Print, code)
    way = leaving.WayOut(
        how=form.how.data,
        on=form.on.data,
        carrier=form.carrier.data or "",
        tracking=form.tracking.data or "",
        as_order=request.form.get("as_sample") != "yes",
        reasons=reasons.given(),
    )
    return leaving.leave(session, by, piece=found, way=way, values=typed_values())


def _settled_form(found: Print, sent: BenchForm | None) -> SettledForm:
    """The form with the reasons as they stand; whoever sends it lifts what was shown, not what came since."""
    form = sent if isinstance(sent, SettledForm) else SettledForm(formdata=None)
    held = doubts.reasons(found)
    form.lifted.choices = held
    if len(held) == 1 and sent is None:
        form.lifted.data = held[0]
    return form


@pages.post("/print/<code>/put-back")
def put_back(code: str) -> Response | tuple[str, int]:
    """The owner lets something set aside go on, for one reason at a time."""
    form = SettledForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: leaving.put_back(
                session, by, piece=by_code(session, Print, code), reason=form.reason.data, lifted=form.lifted.data or ""
            ),
            lambda _: url_for("bench.piece", code=code),
        )
    ):
        return done
    return piece_page(code, back_form=form)
