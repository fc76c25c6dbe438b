"""The shop's step list: everybody reads it, the owner changes it stage by stage in form rows."""

import re
from collections.abc import Iterable

from flask import Blueprint, url_for
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import BooleanField, FieldList, Form, FormField, HiddenField, IntegerField, SelectField, StringField
from wtforms.validators import Length as TextLength
from wtforms.validators import Optional as MayBeEmpty

from logbook.actions import steplists
from logbook.records.audit import Actor
from logbook.refusals import Refused
from logbook.rules.stepedits import CHOSEN_RECORDS, Row, needs_reason
from logbook.rules.steplist import Stage, Step
from logbook.web.acting import act, page, reading
from logbook.web.fields import MAYBE, BenchForm, SaysOwnWords
from logbook.web.gate import owner_only, the_shop

pages = Blueprint("steps", __name__)

NEW_ROWS = 2
_RECORDS = {
    "none": "nothing",
    "tick": "a tick",
    "number": "a number",
    "choice": "a choice",
    "photo": "a photograph",
    "text": "words",
}


class RowForm(Form):
    """One step."""

    class Meta(SaysOwnWords, Form.Meta):
        """As every form, in our words."""

    key = HiddenField()
    place = IntegerField("Place", [MayBeEmpty()])
    text = StringField("Words", [MAYBE, TextLength(max=120)])
    text_alone = StringField("Said otherwise to one person alone", [MAYBE, TextLength(max=120)])
    text_two = StringField("Said otherwise to two people", [MAYBE, TextLength(max=120)])
    # steps whose record is fixed send none; what is sent is checked with the whole list
    record = SelectField("Recorded", choices={key: _RECORDS[key] for key in CHOSEN_RECORDS}, validate_choice=False)
    unit = StringField("Unit of the number", [MAYBE, TextLength(max=20)])
    low = StringField("From", [MAYBE, TextLength(max=20)])
    high = StringField("To", [MAYBE, TextLength(max=20)])
    choices = StringField("Choices", [MAYBE, TextLength(max=300)], description="With commas between them.")
    required = BooleanField("The stage cannot be signed without it")
    after = BooleanField("After the rollers have stopped")
    gone = BooleanField("Take this step out")

    def row(self, number: int) -> Row | None:
        """What was filled in; None for a new row that was left empty."""
        if not self.key.data and not (self.text.data or "").strip():
            return None
        words = {name: getattr(self, name).data or "" for name in ("text", "text_alone", "text_two")}
        limits = {name: getattr(self, name).data or "" for name in ("unit", "low", "high")}
        return Row(
            key=self.key.data or "",
            place=self.place.data if self.place.data is not None else 10 * (number + 1),
            record=self.record.data or "none",
            choices=tuple((self.choices.data or "").split(",")),
            required=self.required.data,
            after=self.after.data,
            gone=self.gone.data,
            **words,
            **limits,
        )


class StageForm(BenchForm):
    """All steps of one stage."""

    rows = FieldList(FormField(RowForm))
    reason = StringField(
        "Why a step that protects somebody is changed",
        [MAYBE, TextLength(max=200)],
        description="Needed where one is taken out, moved, said or recorded otherwise. It prints on every traveller.",
    )

    def filled(self) -> list[Row]:
        """The rows that hold something."""
        made = (entry.form.row(number) for number, entry in enumerate(self.rows))
        return [row for row in made if row is not None]


def _plain(step: Step, place: int) -> dict[str, object]:
    same = ("key", "text", "text_alone", "text_two", "unit", "required")
    limits = {name: "" if getattr(step, name) is None else str(getattr(step, name)) for name in ("low", "high")}
    record = step.record if step.record in CHOSEN_RECORDS else "none"
    more = {"place": place, "record": record, "choices": ", ".join(step.choices)}
    return {**{name: getattr(step, name) for name in same}, **limits, **more}


def _as_it_stands(stage: Stage) -> StageForm:
    rows = [_plain(step, 10 * number) for number, step in enumerate(stage.steps, start=1)]
    last = 10 * len(rows)
    new = [{"place": last - 5 + number, "record": "none"} for number in range(NEW_ROWS)]
    return StageForm(formdata=None, rows=[*rows, *new])


@pages.route("/shop/steps")
def steps() -> tuple[str, int]:
    """Every stage with its steps, and the revisions there were."""
    with reading() as session:
        return page("steps.html", found=steplists.standing(session, the_shop().settings.own_safety_path))


@pages.route("/shop/steps/<key>", methods=["GET", "POST"])
@owner_only
def stage(key: str) -> Response | tuple[str, int]:
    """One stage's steps as rows."""
    own = the_shop().settings.own_safety_path
    with reading() as session:
        found = steplists.standing(session, own).steps.stage(key)
    form = StageForm()
    if form.validate_on_submit():
        rows, reason = form.filled(), form.reason.data or ""

        def change(session: Session, by: Actor) -> None:
            try:
                steplists.change_stage(session, by, own, stage=key, rows=rows, reason=reason)
            except Refused as refusal:
                raise _at_its_row(form, refusal) from None

        if done := act(form, change, lambda _: url_for("steps.steps") + f"#{key}"):
            return done
    elif not form.is_submitted():
        form = _as_it_stands(found)
    return page("steps_stage.html", stage=found, form=form, standing=_by_key(found.steps), protects=_protecting(found))


_STEP = re.compile(r"Step ([a-z0-9-]+): (.*)", re.DOTALL)
"""How a check of a list names a step: by its key, which nobody sees on this page."""


def _at_its_row(form: StageForm, refusal: Refused) -> Refused:
    """What is wrong with one step, said at its row too and by the number that stands there."""
    found = _STEP.fullmatch(refusal.sentence)
    rows = [(number, entry.form) for number, entry in enumerate(form.rows, start=1) if entry.form.text.data]
    wrong = [(number, row) for number, row in rows if found and row.key.data in (found[1], "")]
    if not found or not wrong:
        return refusal
    number, row = wrong[0]
    row.text.errors = [*row.text.errors, found[2]]
    return Refused(f"{f'Step {number}' if row.key.data else 'A new step'}: {found[2]}", field=refusal.field)


def _by_key(found: Iterable[Step]) -> dict[str, Step]:
    return {step.key: step for step in found}


def _protecting(stage: Stage) -> set[str]:
    """Keys of the steps whose change needs a reason."""
    names = ("safety", "hold", "gloves", "guards", "moment")
    return {step.key for step in stage.steps if needs_reason({name: getattr(step, name) for name in names})}
