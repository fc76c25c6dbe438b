"""Machines: facts, daily check, authorisations, out of use and back, history."""

from datetime import timedelta

from flask import Blueprint, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import (
    BooleanField,
    DateField,
    DateTimeLocalField,
    HiddenField,
    RadioField,
    SelectField,
    StringField,
    TextAreaField,
)
from wtforms.validators import Length as TextLength

from logbook.actions import authorisations, badchecks, machinehistory, printers
from logbook.actions import machines as actions
from logbook.actions.finding import by_code, ref
from logbook.paper.shelf import read_shelf
from logbook.records.audit import Actor
from logbook.records.machines import Authorisation, Machine, PrinterMode
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules import history
from logbook.rules.machinecheck import CheckItem
from logbook.rules.rollers import missing_fields
from logbook.rules.traits import machine_traits
from logbook.web import choices, meanwhile, pinned
from logbook.web.acting import act, page, reading
from logbook.web.fields import MAYBE, NEEDED, BenchForm, LengthField, WrappedField, typed_values
from logbook.web.gate import actor, owner_only, the_shop, without_request
from logbook.web.printerforms import ModeForm, PrinterForm

pages = Blueprint("machines", __name__)
KINDS = {"laminator": "roller laminator", "trimmer": "trimmer", "printer": "printer"}
CUTTING = {
    "rotary": "enclosed rotary head",
    "lever": "lever blade",
    "guillotine": "guillotine",
    "knife": "knife along a rule",
}
MOST_CHECKS = 60
"""How many checks can be chosen as wrong: about two months of them."""


class MachineForm(BenchForm):
    """A new machine: each kind asks its own; what can wait stands one step behind."""

    kind = HiddenField(default="laminator")
    name = StringField("Name", [NEEDED, TextLength(max=120)], description="As it is called in the shop.")
    drive = RadioField("Driven by", [MAYBE], choices={"powered": "a motor", "hand": "hand"})
    heated = BooleanField("Heated rollers")
    cutting = RadioField(
        "It cuts with",
        choices=CUTTING,
        default="",
        validate_choice=False,
    )
    widest = LengthField("Widest sheet", [MAYBE])
    dpi = StringField("Dots per inch", [MAYBE, TextLength(max=40)], default="720")


class FactsForm(BenchForm):
    """What must be known before anybody works at it."""

    manual = WrappedField(
        "Maker's manual",
        [MAYBE, TextLength(max=300)],
        description="Title, edition, where it is kept; or who wrote the instruction instead, when, kept where.",
    )
    freeing_procedure = TextAreaField(
        "Freeing a trapped person",
        [MAYBE, TextLength(max=2000)],
        description="This machine's own procedure, from its manual.",
    )
    stop_position = WrappedField(
        "Emergency stops",
        [MAYBE, TextLength(max=300)],
        description="Where each of them is; at rollers feed side and exit side.",
    )
    isolator = WrappedField("Isolator or plug", [MAYBE, TextLength(max=300)], description="Where it is.")
    competent_role = StringField(
        "Competent person", [MAYBE, TextLength(max=200)], description="Their role: who may set it up and repair it."
    )
    last_inspection = StringField("Last inspection", [MAYBE, TextLength(max=80)], description="When, by whom.")
    widest = LengthField("Widest sheet", [MAYBE])


class AuthoriseForm(BenchForm):
    """Name a person for a machine."""

    person = SelectField("Person", [NEEDED], validate_choice=False)
    until = DateField("Until", [NEEDED])
    reread = BooleanField("I have read this machine's cautions again (only when you name yourself)")
    minor_document = StringField(
        "Under 18: what allows it",
        [MAYBE, TextLength(max=300)],
        description="The document, or for hand-driven machines the shop's written risk assessment.",
    )
    minor_issuer = StringField("Issued by", [MAYBE, TextLength(max=200)])
    minor_adult = StringField("Supervised by", [MAYBE, TextLength(max=120)])


class WithdrawForm(BenchForm):
    """Somebody works at it no more."""

    person = SelectField("Who", [NEEDED], validate_choice=False)
    reason = StringField("Why", [NEEDED, TextLength(max=300)])


class EventForm(BenchForm):
    """Something happened to it."""

    what = SelectField("What", [NEEDED], validate_choice=False)
    note = StringField("What was it", [NEEDED, TextLength(max=300)])
    effect = RadioField(
        "Does it print larger or smaller since", [MAYBE], choices=history.EFFECTS, validate_choice=False
    )
    mode = SelectField("Concerns", [MAYBE], validate_choice=False)
    happened_at = DateTimeLocalField("When, if not just now", [MAYBE])


class OutForm(BenchForm):
    """Out of use."""

    reason = StringField("What is wrong", [NEEDED, TextLength(max=300)])


class BackForm(BenchForm):
    """Back into use, after a repair and after a service alike."""

    done = StringField("What was done", [NEEDED, TextLength(max=300)])
    done_by = StringField("By whom", [NEEDED, TextLength(max=120)], description="Person or service firm.")
    stops_proven = BooleanField("Stops proven")
    guards_back = BooleanField("Guards back in place")
    test_piece = BooleanField("Test piece run")


class WrongCheckForm(BenchForm):
    """A check that should not have been signed."""

    check = SelectField("Which", validate_choice=False)
    reason = StringField("What was wrong with it", [NEEDED, TextLength(max=300)])


class CheckForm(BenchForm):
    """The daily check; its questions come from the shop's list."""

    has_steps = True


@pages.route("/machines")
def listing() -> tuple[str, int]:
    """All machines, and how each stands today."""
    with reading() as session:
        rows = list(session.execute(select(Machine).order_by(Machine.kind, Machine.name)).scalars())
        return page(
            "machines.html",
            machines=[(row, _missing(row), _checked_today(row)) for row in rows],
        )


def _missing(row: Machine) -> list[str]:
    """What nobody has written down yet: it stops rollers and blades, and asks at a printer."""
    return printers.undescribed(row) if row.kind == "printer" else missing_fields(actions.machine_facts(row))


def _checked_today(machine: Machine) -> bool:
    """Whether a check of today counts: nobody withdrew it, and nothing was done to the machine since."""
    last = actions.last_check(machine)
    if last is None or not actions.machine_facts(machine).check_passed:
        return False
    return last.at.astimezone().date() == actor().now.astimezone().date()


def _is_overtaken(machine: Machine) -> bool:
    """Whether the newest check was passed and says nothing any more, since something was done to the machine."""
    last = actions.last_check(machine)
    return last is not None and last.passed and not last.withdrawal and not actions.machine_facts(machine).check_passed


@pages.route("/machines/new", methods=["GET", "POST"])
@owner_only
def new() -> Response | tuple[str, int]:
    """A new machine."""
    form = MachineForm()
    if form.kind.data not in KINDS or (request.method == "GET" and request.args.get("kind") in KINDS):
        form.kind.data = request.args["kind"] if request.args.get("kind") in KINDS else "laminator"
    if form.validate_on_submit() and (
        done := act(
            form, lambda session, by: _new(session, by, form), lambda row: url_for("machines.machine", code=row.code)
        )
    ):
        return done
    return page("machine_new.html", form=form, kinds=KINDS)


def _new(session: Session, by: Actor, form: MachineForm) -> Machine:
    if form.kind.data == "printer":
        return actions.add_printer(
            session, by, name=form.name.data, dpi=form.dpi.data or "720", widest=form.widest.data
        ).machine
    cutting = form.cutting.data if form.kind.data == "trimmer" else ""
    if form.kind.data == "trimmer" and cutting not in CUTTING:
        raise Refused("Say how it cuts: its cautions and who may be named depend on it.", field="cutting")
    return actions.add_machine(
        session,
        by,
        kind=form.kind.data,
        name=form.name.data,
        drive=form.drive.data or "",
        cutting=cutting,
        heated=form.heated.data,
        widest=form.widest.data,
    )


@pages.route("/machine/<code>")
def machine(code: str) -> tuple[str, int]:
    """One machine."""
    return _page(code)


def _page(code: str, **forms: BenchForm) -> tuple[str, int]:
    with reading() as session:
        found = by_code(session, Machine, code)
        authorise_form = forms.get("authorise_form") or AuthoriseForm(
            formdata=None, until=actor().now.date() + timedelta(days=365)
        )
        authorise_form.person.choices = choices.people(session)
        named = list(
            session.execute(
                select(Authorisation)
                .where(Authorisation.machine_id == found.id, Authorisation.withdrawn_at.is_(None))
                .order_by(Authorisation.id)
            ).scalars()
        )
        facts_form = forms.get("facts_form") or _facts_form(found.kind)(formdata=None, obj=found)
        meanwhile.watch(session, facts_form, ref(found), "machine facts set")
        return page(
            "machine.html",
            machine=found,
            missing=_missing(found),
            checked=_checked_today(found),
            overtaken=_is_overtaken(found),
            named=named,
            events=machinehistory.told(session, found),
            items=items_of(found),
            noted=actions.measured_in(found.checks[-1], items_of(found)) if found.checks else "",
            typed=request.form,
            can_hurt=actions.machine_facts(found).can_hurt,
            must_be_known=actions.machine_facts(found).must_be_known,
            facts_form=facts_form,
            mode_form=forms.get("mode_form") or ModeForm(formdata=None),
            authorise_form=authorise_form,
            withdraw_form=_withdraw_form(named, forms.get("withdraw_form")),
            event_form=_event_form(found, forms.get("event_form")),
            out_form=forms.get("out_form") or OutForm(formdata=None),
            back_form=forms.get("back_form") or BackForm(formdata=None),
            check_form=forms.get("check_form") or CheckForm(formdata=None),
            wrong_form=_wrong_form(session, found, forms.get("wrong_form")),
            withdrawn=[
                (one, badchecks.worked_under(session, one.check)) for one in badchecks.withdrawals(session, found)
            ],
        )


def _facts_form(kind: str) -> type[FactsForm] | type[PrinterForm]:
    return PrinterForm if kind == "printer" else FactsForm


def _withdraw_form(named: list[Authorisation], sent: BenchForm | None) -> WithdrawForm:
    form = sent if isinstance(sent, WithdrawForm) else WithdrawForm(formdata=None)
    form.person.choices = list(dict.fromkeys((one.person.code, one.person.name) for one in named))
    return form


def _event_form(found: Machine, sent: BenchForm | None) -> EventForm:
    form = sent if isinstance(sent, EventForm) else EventForm(formdata=None)
    form.what.choices = [(event, event) for event in history.EVENTS[found.kind]]
    form.mode.choices = [("", "every mode"), *((mode.code, mode.name) for mode in found.modes)]
    return form


def _wrong_form(session: Session, found: Machine, sent: BenchForm | None) -> WrongCheckForm:
    form = sent if isinstance(sent, WrongCheckForm) else WrongCheckForm(formdata=None)
    form.check.choices = [
        (str(one.id), f"{one.at.astimezone():%Y-%m-%d %H:%M}, {one.person.name}")
        for one in badchecks.checks_that_stand(session, found, MOST_CHECKS)
    ]
    return form


def items_of(found: Machine) -> tuple[CheckItem, ...]:
    """The lines of the daily check that belong to a machine."""
    check = read_shelf(the_shop().settings.own_safety_path).machine_check
    return check.items_for(found.kind, machine_traits(drive=found.drive, heated=found.heated, cutting=found.cutting))


def _do(code: str, name: str, form: BenchForm, work: object) -> Response | tuple[str, int]:
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: work(session, by, by_code(session, Machine, code)),  # type: ignore[operator]
            lambda _: url_for("machines.machine", code=code),
        )
    ):
        return done
    return _page(code, **{name: form})


@pages.post("/machine/<code>/facts")
@owner_only
def facts(code: str) -> Response | tuple[str, int]:
    """Write down the mandatory facts."""
    with reading() as session:
        found = by_code(session, Machine, code)
        form = _facts_form(found.kind)()
        meanwhile.watch(session, form, ref(found), "machine facts set")

    def write(session: Session, by: Actor, row: Machine) -> None:
        actions.set_widest(session, without_request(by), machine=row, widest=form.widest.data)
        if isinstance(form, PrinterForm):
            printers.describe(session, by, machine=row, values=form.values())
        else:
            values = {name: form[name].data or "" for name in actions.FACT_FIELDS}
            actions.set_machine_facts(session, by, machine=row, values=values)

    return _do(code, "facts_form", form, write)


@pages.post("/machine/<code>/mode")
@owner_only
def add_mode(code: str) -> Response | tuple[str, int]:
    """Another mode of a printer."""
    form = ModeForm()
    return _do(
        code,
        "mode_form",
        form,
        lambda session, by, row: actions.add_mode(
            session, by, machine=row, dpi=form.dpi.data, name=form.name.data or ""
        ),
    )


@pages.post("/machine/<code>/check")
def check(code: str) -> Response | tuple[str, int]:
    """Sign the daily check."""
    form = CheckForm()
    form.signs = pinned.SAFETY
    return _do(
        code,
        "check_form",
        form,
        lambda session, by, row: actions.check_machine(
            session, by, machine=row, items=items_of(row), answers=typed_values()
        ),
    )


@pages.post("/machine/<code>/wrong-check")
def wrong_check(code: str) -> Response | tuple[str, int]:
    """Withdraw a check; what was worked under it is set aside."""
    form = WrongCheckForm()
    return _do(
        code,
        "wrong_form",
        form,
        lambda session, by, row: badchecks.withdraw_check(
            session,
            by,
            check=badchecks.check_of(session, row, form.check.data or ""),
            reason=form.reason.data,
        ),
    )


@pages.post("/machine/<code>/authorise")
@owner_only
def authorise(code: str) -> Response | tuple[str, int]:
    """Name a person for it."""
    form = AuthoriseForm()
    return _do(
        code,
        "authorise_form",
        form,
        lambda session, by, row: actions.authorise(
            session,
            by,
            machine=row,
            person=by_code(session, Person, form.person.data, field="person"),
            until=form.until.data,
            reread=form.reread.data,
            minor=actions.Minor(
                form.minor_document.data or "", form.minor_issuer.data or "", form.minor_adult.data or ""
            ),
        ),
    )


@pages.post("/machine/<code>/unauthorise")
@owner_only
def unauthorise(code: str) -> Response | tuple[str, int]:
    """Take somebody's name off it."""
    form = WithdrawForm()
    return _do(
        code,
        "withdraw_form",
        form,
        lambda session, by, row: authorisations.withdraw(
            session,
            by,
            machine=row,
            person=by_code(session, Person, form.person.data, field="person"),
            reason=form.reason.data,
        ),
    )


@pages.post("/machine/<code>/event")
def event(code: str) -> Response | tuple[str, int]:
    """Note a repair, a head change, a service."""
    form = EventForm()
    return _do(
        code,
        "event_form",
        form,
        lambda session, by, row: machinehistory.note_event(
            session,
            by,
            machine=row,
            what=form.what.data,
            note=form.note.data,
            effect=form.effect.data or "",
            mode=by_code(session, PrinterMode, form.mode.data, field="mode") if form.mode.data else None,
            happened_at=form.happened_at.data.astimezone() if form.happened_at.data else None,
        ),
    )


@pages.post("/machine/<code>/out")
def out_of_use(code: str) -> Response | tuple[str, int]:
    """Anybody who sees something wrong takes it out of use."""
    form = OutForm()
    return _do(
        code,
        "out_form",
        form,
        lambda session, by, row: actions.take_out_of_use(session, by, machine=row, reason=form.reason.data),
    )


@pages.post("/machine/<code>/back")
@owner_only
def back(code: str) -> Response | tuple[str, int]:
    """Back into use, with what was done."""
    form = BackForm()
    return _do(
        code,
        "back_form",
        form,
        lambda session, by, row: machinehistory.back_into_use(
            session,
            by,
            machine=row,
            done=form.done.data,
            done_by=form.done_by.data,
            proofs=machinehistory.Proofs(form.stops_proven.data, form.guards_back.data, form.test_piece.data),
        ),
    )
