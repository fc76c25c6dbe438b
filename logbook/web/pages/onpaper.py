"""Screen or paper: begin a stage on paper, and take its page over afterwards."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime

from flask import Blueprint, abort, request, url_for
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import DateTimeLocalField, FileField, SelectField

from logbook.actions import bench, onpaper
from logbook.actions.finding import by_code
from logbook.actions.pictures import Intake
from logbook.records.audit import Actor
from logbook.records.floor import Print, Sheet
from logbook.records.machines import Machine
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules.findings import REASON_FIELD, Strength
from logbook.web import choices, pinned
from logbook.web.acting import act, page, reading, say
from logbook.web.fields import MAYBE, NEEDED, BenchForm
from logbook.web.gate import actor, the_shop
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


def _find(session: Session, kind: str, code: str) -> bench.Subject:
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
    form = PaperForm()
    form.signs = pinned.HOLD
    with reading() as session:
        form.person.choices = [("", "choose"), *choices.people(session)]
    if form.validate_on_submit():
        with _received(form) as (photograph, photos):
            if photograph and (
                done := act(form, _work(kind, code, form, photograph, photos), lambda _: _home(kind, code))
            ):
                return done
    return _page(kind, code, form)


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
        said = onpaper.Page(
            person=by_code(session, Person, form.person.data, field="person"),
            at=form.at.data.astimezone(),
            photograph=photograph,
            store=the_shop().store,
            values=request.form.to_dict(),
            reasons={name: words[:300] for name, words in request.form.items() if name.startswith(REASON_FIELD)},
            photos=photos,
            machine=by_code(session, Machine, form.machine.data) if form.machine.data else None,
        )
        onpaper.take_over(session, by, subject=_find(session, kind, code), page=said)

    return work


def _page(kind: str, code: str, form: PaperForm) -> tuple[str, int]:
    with reading() as session:
        found = _find(session, kind, code)
        if not onpaper.may_be(found):
            raise Refused("This stage is not done on paper; open its own page.")
        form.machine.choices = [("", "by hand: knife and rule"), *choices.machines(session, "trimmer")]
        then = _paper_time(form)
        findings = bench.findings_for(session, _as_of(then), found, request.form)
        return page(
            "from_paper.html",
            form=form,
            kind=kind,
            found=found,
            stage=bench.stage_definition(found),
            begun=onpaper.begun(session, found),
            asks=[one for one in findings if one.strength is Strength.ASK] if form.at.data else [],
            typed=request.form,
            home=_home(kind, code),
        )


def _paper_time(form: PaperForm) -> datetime:
    return form.at.data.astimezone() if form.at.data else actor().now


def _as_of(then: datetime) -> Actor:
    by = actor()
    return Actor(by.person_id, by.name, by.role, then, None, by.place)
