"""Before the rollers: what is read there, who works with whom, and what is brought on."""

from sqlalchemy.orm import Session
from wtforms import SelectField, StringField
from wtforms.validators import Length as TextLength

from logbook.actions import atrollers, gluelots, sheetsizes
from logbook.actions.finding import by_code
from logbook.actions.shop import first_aid_missing
from logbook.records.floor import RollerSession, Sheet
from logbook.records.machines import Machine
from logbook.records.materials import Lot
from logbook.records.people import Person
from logbook.rules.findings import Finding, Strength
from logbook.rules.rollers import LEADING_EDGE
from logbook.web import atmachines, choices
from logbook.web.acting import page
from logbook.web.fields import MAYBE, NEEDED, BenchForm
from logbook.web.gate import actor

NOT_SAID = "not said"


class RollersForm(BenchForm):
    """Who works at which laminator."""

    has_steps = True
    machine = SelectField("Laminator", [NEEDED], validate_choice=False)
    helper = SelectField("Who helps", [MAYBE], validate_choice=False)
    alone_with = StringField(
        "Alone: who calls, and when",
        [MAYBE, TextLength(max=200)],
        description="Only when nobody helps at powered rollers.",
    )
    adhesive_lot = SelectField("Adhesive lot", [MAYBE], validate_choice=False)


def shown(session: Session, form: BenchForm, values: dict[str, object]) -> tuple[str, int]:
    """What is read and ticked; the laminator that may run now is offered first, so that nobody has to look for it."""
    assert isinstance(form, RollersForm)
    laminators = atmachines.of_kind(session, actor(), "laminator")
    runnable = atmachines.runnable(laminators)
    listed = choices.machines(session, "laminator")
    form.machine.choices = sorted(listed, key=lambda one: one[0] not in runnable)
    form.helper.choices = _helpers(session, laminators)
    if form.helper.data in (None, NOT_SAID) and form.machine.choices:
        _as_last_time(session, form)
    if form.alone_with.data is None and form.machine.choices:
        first = by_code(session, Machine, form.machine.choices[0][0])
        # after a jam, or half an hour elsewhere, everything is asked anew
        if atrollers.open_session(session, actor(), machine=first, helper=None) is not None:
            form.alone_with.data = atrollers.said_today(session, actor(), first)
            if form.alone_with.data:
                form.alone_with.description = "As you said earlier today; change it where it holds no longer."
    sheet, covering = values["sheet"], covering_of(session, form)
    assert isinstance(sheet, Sheet)
    glue = _offer_glue(session, form, sheet, covering) if sheet.stage == "adhesive" else []
    others = _others(session, form, sheet)
    return page(
        "rollers_before.html",
        form=form,
        covering=covering,
        first_aid_blank=first_aid_missing(session),
        machine_findings={
            code: (row, [*found, *sheetsizes.at_rollers(row, sheet)]) for code, (row, found) in laminators.items()
        },
        glue=glue,
        others=others,
        edge=LEADING_EDGE[sheet.prints[0].job.flip],
        asks=[one for one in (*others, *glue) if one.strength is Strength.ASK],
        runnable=runnable,
        **values,
    )


def _others(session: Session, form: RollersForm, sheet: Sheet) -> list[Finding]:
    """Who may be at the rollers of the form's laminator, or have this sheet in others."""
    if not (machine := _laminator(form)):
        return []
    at = by_code(session, Machine, machine)
    return atrollers.others_at_work(session, actor(), machine=at, sheets=[sheet], helper=_helper(session, form))


def _laminator(form: RollersForm) -> str:
    chosen: str = form.machine.data or (form.machine.choices[0][0] if form.machine.choices else "")
    return chosen


def _helper(session: Session, form: RollersForm) -> Person | None:
    said = form.helper.data not in (None, "", NOT_SAID)
    return by_code(session, Person, form.helper.data) if said else None


def _offer_glue(session: Session, form: RollersForm, sheet: Sheet, covering: RollerSession | None) -> list[Finding]:
    """The lots of adhesive, the likeliest first; none where the planned one is in doubt. What speaks against it.

    The likeliest is the planned one; where none was planned, what is on the rollers since the sheet before.
    """
    planned = sheet.adhesive_lot
    likely = planned or (gluelots.on_the_rollers(session, covering) if covering else None)
    if likely is not None and planned is None:
        form.adhesive_lot.description = "As on the sheet before; change it where another roll is on."
    lots, first = choices.lots(session, "adhesive"), likely.code if likely else ""
    in_doubt = bool(first) and first not in dict(lots)
    offered = [("", "choose another lot"), *lots] if in_doubt else [*lots, choices.NONE]
    form.adhesive_lot.choices = sorted(offered, key=lambda one: one[0] != ("" if in_doubt else first))
    chosen = by_code(session, Lot, form.adhesive_lot.data) if form.adhesive_lot.data else likely
    return gluelots.at_the_rollers(session, actor(), chosen)


def _as_last_time(session: Session, form: RollersForm) -> None:
    """Whoever helped at this machine last today helps still; where nobody said yet and somebody could, it is chosen."""
    last = atrollers.last_today(session, actor(), by_code(session, Machine, form.machine.choices[0][0]))
    if last is not None and (code := last.helper.code if last.helper else "") in dict(form.helper.choices):
        form.helper.data = code
    elif len(form.helper.choices) > 1:
        form.helper.choices = [(NOT_SAID, "choose: who helps, or nobody"), *form.helper.choices]


def _helpers(session: Session, laminators: atmachines.Found) -> list[tuple[str, str]]:
    """Whoever is named for one of these, with its name beside theirs where it is not for all."""
    offered = [("", "nobody: I work alone")]
    for one in choices.people_who_sign(session):
        at = atmachines.named_for(session, actor(), one, laminators) if one.id != actor().person_id else []
        if at:
            offered.append((one.code, one.name if len(at) == len(laminators) else f"{one.name}, at {' and '.join(at)}"))
    return offered


def covering_of(session: Session, form: RollersForm) -> RollerSession | None:
    """The session that covers whoever is signed in, with the helper and at the laminator of the form."""
    if not (machine := _laminator(form)):
        return None
    helper = _helper(session, form)
    return atrollers.open_session(session, actor(), machine=by_code(session, Machine, machine), helper=helper)
