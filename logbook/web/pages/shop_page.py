"""The shop: its facts, its people, its tablets, the state of its records."""

from flask import Blueprint, current_app, g, request, url_for
from werkzeug import Response
from wtforms import DateField, PasswordField, RadioField, StringField
from wtforms.validators import Length as TextLength

from logbook.actions import backups, people, pins, staff, strengths
from logbook.actions import shop as actions
from logbook.manner import COMMA, POINT, Manner
from logbook.paper.codes import qr
from logbook.paper.shelf import read_shelf
from logbook.records import audit
from logbook.rules.findings import ADJUSTABLE
from logbook.web import meanwhile
from logbook.web.acting import act, page, reading
from logbook.web.fields import MAYBE, NEEDED, BenchForm
from logbook.web.gate import actor, owner_only, the_shop

pages = Blueprint("shop", __name__)


FACT_GROUPS = {
    "Name and prices": ("shop name", "hourly rate", "tax", "money"),
    "When somebody is hurt": (
        "emergency number", "ambulance address", "first-aider", "dressings", "eyewash", "local rule",
    ),
    "Files and addresses": ("hand-over folder", "office paper", "largest picture", "address", "proof address"),
    "Forecasts": ("forecast lens", "forecast scale", "forecast mode or paper"),
}  # fmt: skip
"""What the shop knows of itself, by heading; every fact stands under one."""


class FactsForm(BenchForm):
    """The shop's facts; one text field each. Those that can be refused have their own."""

    largest_picture = StringField()
    proof_address = StringField()
    office_paper = StringField()
    forecast_lens = StringField()
    forecast_scale = StringField()
    forecast_mode_or_paper = StringField()


class PlainForm(BenchForm):
    """A button."""


class RulesForm(BenchForm):
    """Note or ask for each rule that allows a choice."""


class PersonForm(BenchForm):
    """Somebody new."""

    name = StringField("Name", [NEEDED, TextLength(max=120)], description="As it is to be printed beside signatures.")
    password = PasswordField(
        "First password", [NEEDED], description="At least 8 characters; they change it themselves."
    )
    role = RadioField(
        "Role",
        choices={
            "operator": "operator: does and signs the work",
            "viewer": "viewer: looks only",
            "owner": "owner: everything",
        },
        default="operator",
    )
    under_18_until = DateField(
        "Under 18 until", [MAYBE], description="Only for people under 18: the day it ends, never a birth date."
    )


class UnitsForm(BenchForm):
    """Own units and decimal mark."""

    units = RadioField("Lengths in", choices={"mm": "millimetres", "in": "inches"}, default="mm")
    mark = RadioField("Decimals with", choices={POINT: "a point: 20.1", COMMA: "a comma: 20,1"}, default=POINT)


class PasswordForm(BenchForm):
    """A new password of one's own."""

    current = PasswordField("Password until now", [NEEDED])
    password = PasswordField(
        "New password", [NEEDED], description="At least 8 characters; every sign-in of yours ends."
    )


class PinForm(BenchForm):
    """A PIN of one's own."""

    pin = PasswordField(
        "PIN", [NEEDED], description="4 to 8 digits. Bench tablets ask for it at hold points; nothing else does."
    )


@pages.route("/shop")
def shop() -> tuple[str, int]:
    """Facts, people, own settings."""
    return _page()


def _page(**forms: BenchForm) -> tuple[str, int]:
    with reading() as session:
        facts_form = forms.get("facts_form") or FactsForm(formdata=None)
        meanwhile.watch(session, facts_form, "shop:facts", "shop facts set", names=actions.FACTS)
        return page(
            "shop.html",
            facts=actions.facts(session),
            labels=actions.FACTS,
            groups=FACT_GROUPS,
            people=people.everybody(session),
            former=staff.former(session),
            has_pin=pins.has_pin(session, people.by_id(session, g.me.id)),
            pin_form=forms.get("pin_form") or PinForm(formdata=None),
            rules=ADJUSTABLE,
            shelf=read_shelf(the_shop().settings.own_safety_path),
            chosen=strengths.choices(session),
            rules_form=forms.get("rules_form") or RulesForm(formdata=None),
            typed=request.form,
            facts_form=facts_form,
            person_form=forms.get("person_form") or PersonForm(formdata=None),
            units_form=forms.get("units_form")
            or UnitsForm(formdata=None, units=g.me.units, mark=g.me.manner.mark),
            password_form=forms.get("password_form") or PasswordForm(formdata=None),
            address=current_app.extensions["network_address"],
            today=actor().now.astimezone().date(),
        )


@pages.post("/shop/facts")
@owner_only
def facts() -> Response | tuple[str, int]:
    """Write down the shop's facts."""
    form = FactsForm()
    with reading() as session:
        meanwhile.watch(session, form, "shop:facts", "shop facts set", names=actions.FACTS)
    values = {key: request.form.get(key.replace(" ", "_"), "")[:500] for key in actions.FACTS}
    if form.validate_on_submit() and (
        done := act(form, lambda session, by: actions.set_facts(session, by, values), lambda _: url_for("shop.shop"))
    ):
        return done
    return _page(facts_form=form)


@pages.post("/shop/rules")
@owner_only
def rules() -> Response | tuple[str, int]:
    """How strict the shop is."""
    form = RulesForm()
    wanted = {rule: request.form.get(rule.replace(" ", "_"), "") for rule in ADJUSTABLE}
    if form.validate_on_submit() and (
        done := act(
            form, lambda session, by: strengths.choose(session, by, wanted=wanted), lambda _: url_for("shop.shop")
        )
    ):
        return done
    return _page(rules_form=form)


@pages.post("/shop/people")
@owner_only
def add_person() -> Response | tuple[str, int]:
    """Somebody new in the shop."""
    form = PersonForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: people.add_person(
                session,
                by,
                name=form.name.data,
                password=form.password.data,
                role=form.role.data,
                under_18_until=form.under_18_until.data,
            ),
            lambda _: url_for("shop.shop"),
        )
    ):
        return done
    return _page(person_form=form)


@pages.post("/shop/my-units")
def units() -> Response | tuple[str, int]:
    """Millimetres or inches, point or comma, for oneself."""
    form = UnitsForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: people.set_manner(
                session, by, person=people.by_id(session, g.me.id), manner=Manner(form.units.data, form.mark.data)
            ),
            lambda _: url_for("shop.shop"),
        )
    ):
        return done
    return _page(units_form=form)


@pages.post("/shop/my-password")
def password() -> Response | tuple[str, int]:
    """A new password for oneself."""
    form = PasswordForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: people.change_password(
                session, by, person=people.by_id(session, g.me.id), password=form.password.data,
                current=form.current.data,
            ),
            lambda _: url_for("entry.sign_in"),
        )
    ):
        return done
    return _page(password_form=form)


@pages.post("/shop/my-pin")
def pin() -> Response | tuple[str, int]:
    """A PIN for oneself."""
    form = PinForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: pins.set_pin(
                session, by, person=people.by_id(session, g.me.id), pin=form.pin.data.strip()
            ),
            lambda _: url_for("shop.shop"),
        )
    ):
        return done
    return _page(pin_form=form)


@pages.get("/shop/tablet")
def tablet() -> tuple[str, int]:
    """The address for tablets as a QR code."""
    address = current_app.extensions["network_address"]
    return page("tablet.html", address=address, code=qr(address, "address of this logbook") if address else "")


@pages.get("/shop/record")
def record() -> tuple[str, int]:
    """The audit trail's newest entries, and its head."""
    return _record_page(None)


def _record_page(form: PlainForm | None) -> tuple[str, int]:
    before = request.args.get("before", type=int)
    with reading() as session:
        working = backups.at_work(session)
        return page(
            "record.html",
            head=audit.head(session),
            entries=audit.newest(session, before=before, count=100),
            form=form or PlainForm(formdata=None),
            working=working if working and working.kind == "check" else None,
            checked=backups.last(session, "check", None),
        )


@pages.post("/shop/record/check")
@owner_only
def check_record() -> Response | tuple[str, int]:
    """Recompute the trail and every kept file, in the background."""
    form = PlainForm()
    if form.validate_on_submit() and (done := act(form, backups.ask_for_check, lambda _: url_for("shop.record"))):
        return done
    return _record_page(form)
