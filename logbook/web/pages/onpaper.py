"""Screen or paper: begin a stage on paper, and take its page over afterwards."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime

from flask import Blueprint, abort, request, url_for
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import DateField, DateTimeLocalField, FileField, RadioField, SelectField, StringField
from wtforms.validators import Length as TextLength

from logbook.actions import benchfindings, benchrecords, leaving, onpaper, rollerpages
from logbook.actions.finding import by_code
from logbook.actions.pictures import Intake
from logbook.records.audit import Actor
from logbook.records.floor import Print, Sheet
from logbook.records.machines import Machine, RollerSession
from logbook.records.materials import Lot
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules.findings import Strength
from logbook.rules.stages import ROLLER_STAGES
from logbook.web import choices, pinned, reasons
from logbook.web.acting import act, page, reading, say
from logbook.web.fields import MAYBE, NEEDED, BenchForm, typed_values
from logbook.web.gate import actor, the_shop
from logbook.web.shown import when
from logbook.web.uploads import taken_in

pages = Blueprint("onpaper", __name__)
KINDS: dict[str, type[Sheet] | type[Print]] = {"sheet": Sheet, "print": Print}


class BeginForm(BenchForm):
    """One button."""


class PaperForm(BenchForm):
    """What the page says besides the values of its steps."""

    has_steps = True
    page = FileField("Photograph of the page", description="Kept with the record.")
    person = SelectField("Whose initials stand there", [NEEDED], validate_choice=False)
    at = DateTimeLocalField("Signed on paper at", [NEEDED])
    machine = SelectField("With", [MAYBE], validate_choice=False)


class RollersPaperForm(PaperForm):
    """What a page of the rollers says besides; the safety steps stand beside it, each with person and time."""

    machine = SelectField("Laminator", [NEEDED], validate_choice=False)
    helper = SelectField("Who helped", [MAYBE], validate_choice=False)
    alone_with = StringField(
        "Alone: who was to call, and when",
        [MAYBE, TextLength(max=200)],
        description="Only when nobody helped at powered rollers.",
    )
    adhesive_lot = SelectField("Adhesive lot", [MAYBE], validate_choice=False)
    read_at = DateTimeLocalField("Read and set up at", [NEEDED])
    covered_by = SelectField(
        "Safety ticks",
        [MAYBE],
        validate_choice=False,
        description="One session covers several sheets: same people, same machine, no jam, at most half an hour away.",
    )


class DoorPaperForm(PaperForm):
    """What a page says of a print that left."""

    how = RadioField("It was", [NEEDED], choices={"collected": "collected", "sent": "sent", "kept": "kept in the shop"})
    on = DateField("On", [NEEDED])
    carrier = StringField("Carrier", [MAYBE, TextLength(max=120)])
    tracking = StringField("Their number", [MAYBE, TextLength(max=120)])


def _form_for(kind: str, code: str) -> PaperForm:
    """The form of the stage at which it stands."""
    with reading() as session:
        stage = _find(session, kind, code).stage
    return RollersPaperForm() if stage in ROLLER_STAGES else DoorPaperForm() if stage == "pack" else PaperForm()


def _find(session: Session, kind: str, code: str) -> benchrecords.Subject:
    if kind not in KINDS:
        abort(404)
    return by_code(session, KINDS[kind], code)


def _home(kind: str, code: str) -> str:
    return url_for("bench.sheet" if kind == "sheet" else "bench.piece", code=code)


@pages.post("/from-paper/<kind>/<code>/begin")
def begin(kind: str, code: str) -> Response:
    """This stage is done on paper."""
    form = BeginForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: onpaper.begin(session, by, subject=_find(session, kind, code)),
            lambda _: _home(kind, code),
        )
    ):
        return done
    raise Refused(" ".join(form.form_errors) or "That could not be read; open the page again.")


@pages.route("/from-paper/<kind>/<code>", methods=["GET", "POST"])
def take_over(kind: str, code: str) -> Response | tuple[str, int]:
    """Enter what a page says, with its photograph."""
    form = _form_for(kind, code)
    form.signs = pinned.SAFETY if isinstance(form, RollersPaperForm) else pinned.HOLD
    with reading() as session:
        _offer(session, form)
    if form.validate_on_submit():
        with _received(form) as (photograph, photos):
            if photograph and (
                done := act(form, _work(kind, code, form, photograph, photos), lambda _: _home(kind, code))
            ):
                return done
    return _page(kind, code, form)


def _offer(session: Session, form: PaperForm) -> None:
    people = choices.people(session)
    form.person.choices = [("", "choose"), *people]
    if not isinstance(form, RollersPaperForm):
        form.machine.choices = [("", "by hand: knife and rule"), *choices.machines(session, "trimmer")]
        return
    form.machine.choices = [("", "choose"), *choices.machines(session, "laminator")]
    form.helper.choices = [("", "nobody: worked alone"), *people]
    form.adhesive_lot.choices = [("", "as planned, or none"), *choices.lots(session, "adhesive", in_doubt=True)]
    form.covered_by.choices = [
        ("", "were given for this sheet, below"),
        *(
            (one.code, f"of the session {when(one.started_at)}, {one.machine.name}, {one.person.name}")
            for one in rollerpages.sessions_near(session)
        ),
    ]


@contextmanager
def _received(form: PaperForm) -> Iterator[tuple[Intake | None, list[tuple[str, Intake]]]]:
    """The page's photograph and those of its steps; says beside the field what will not do."""
    sent = [(key, file) for key, file in request.files.items(multi=True) if file.filename]
    if not any(key == "page" for key, _ in sent):
        say(form, Refused("Photograph the page first.", field="page"))
        yield None, []
        return
    try:
        with taken_in([file for _, file in sent]) as taken:
            named = [(key, intake) for (key, _), intake in zip(sent, taken, strict=True)]
            yield next(one for key, one in named if key == "page"), [each for each in named if each[0] != "page"]
    except Refused as refusal:
        say(form, Refused(refusal.sentence, field="page"))
        yield None, []


def _work(
    kind: str, code: str, form: PaperForm, photograph: Intake, photos: list[tuple[str, Intake]]
) -> Callable[[Session, Actor], None]:
    def work(session: Session, by: Actor) -> None:
        found = _find(session, kind, code)
        said = onpaper.Page(
            person=by_code(session, Person, form.person.data, field="person"),
            at=form.at.data.astimezone(),
            photograph=photograph,
            store=the_shop().store,
            values=typed_values(),
            reasons=reasons.given(),
            photos=photos,
            machine=by_code(session, Machine, form.machine.data) if form.machine.data else None,
        )
        if isinstance(form, RollersPaperForm) and isinstance(found, Sheet):
            set_up = _set_up(session, form, found, said)
            rollerpages.take_over(session, by, sheet=found, page=replace(said, machine=None), set_up=set_up)
        elif isinstance(form, DoorPaperForm) and isinstance(found, Print):
            onpaper.leave(session, by, piece=found, page=replace(said, machine=None), way=_way_out(form))
        else:
            onpaper.take_over(session, by, subject=found, page=said)

    return work


def _way_out(form: DoorPaperForm) -> leaving.WayOut:
    return leaving.WayOut(
        how=form.how.data,
        on=form.on.data,
        carrier=form.carrier.data or "",
        tracking=form.tracking.data or "",
        as_order=request.form.get("as_sample") != "yes",
    )


def _set_up(session: Session, form: RollersPaperForm, sheet: Sheet, said: onpaper.Page) -> rollerpages.SetUp:
    steps = [
        one for one in benchrecords.stage_definition(sheet).steps if one.record == "tick" and one.moment == "before"
    ]
    covered = by_code(session, RollerSession, form.covered_by.data) if form.covered_by.data else None
    assert said.machine is not None
    return rollerpages.SetUp(
        machine=said.machine,
        read_at=form.read_at.data.astimezone(),
        helper=by_code(session, Person, form.helper.data, field="helper") if form.helper.data else None,
        alone_with=form.alone_with.data or "",
        ticks={} if covered else {one.key: _tick(session, one.key) for one in steps if one.safety},
        plain=frozenset(one.key for one in steps if not one.safety and request.form.get(one.key)),
        covered_by=covered,
        adhesive_lot=by_code(session, Lot, form.adhesive_lot.data) if form.adhesive_lot.data else None,
    )


def _tick(session: Session, key: str) -> rollerpages.Tick:
    """One safety tick as it stands on the page: whose initials, and when."""
    who, at = request.form.get(f"{key}-person", ""), request.form.get(f"{key}-at", "")
    try:
        then = datetime.fromisoformat(at).astimezone()
    except ValueError:
        raise Refused("Each safety tick has its own person and its own time.", field=key) from None
    if not who:
        raise Refused("Each safety tick has its own person and its own time.", field=key)
    return rollerpages.Tick(by_code(session, Person, who, field=key), then)


def _page(kind: str, code: str, form: PaperForm) -> tuple[str, int]:
    with reading() as session:
        found = _find(session, kind, code)
        if not onpaper.may_be(found):
            raise Refused("This stage is not done on paper; open its own page.")
        _offer(session, form)
        then, stage = _paper_time(form), benchrecords.stage_definition(found)
        findings = benchfindings.findings_for(session, _as_of(then), found, typed_values())
        return page(
            "from_paper.html",
            form=form,
            kind=kind,
            found=found,
            stage=stage,
            begun=onpaper.begun(session, found),
            asks=[one for one in findings if one.strength is Strength.ASK] if form.at.data else [],
            typed=request.form,
            home=_home(kind, code),
            rollers=found.stage in ROLLER_STAGES,
            people=choices.people(session),
        )


def _paper_time(form: PaperForm) -> datetime:
    return form.at.data.astimezone() if form.at.data else actor().now


def _as_of(then: datetime) -> Actor:
    by = actor()
    return Actor(by.person_id, by.name, by.role, then, None, by.place)
