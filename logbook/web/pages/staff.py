"""One person of the shop, as its owner sees him: PIN, going and coming back."""

from collections.abc import Callable

from flask import Blueprint, url_for
from sqlalchemy.orm import Session
from werkzeug import Response

from logbook.actions import pins, staff
from logbook.actions.finding import by_code
from logbook.records.audit import Actor
from logbook.records.people import Person
from logbook.web.acting import act, page, reading
from logbook.web.fields import BenchForm
from logbook.web.gate import owner_only

pages = Blueprint("staff", __name__)


class StaffForm(BenchForm):
    """One button."""


@pages.get("/shop/person/<code>")
@owner_only
def person(code: str) -> tuple[str, int]:
    """One person."""
    return _page(code, StaffForm(formdata=None))


def _page(code: str, form: StaffForm) -> tuple[str, int]:
    with reading() as session:
        found = by_code(session, Person, code)
        return page("person.html", person=found, form=form, has_pin=pins.has_pin(session, found))


def _do(code: str, work: Callable[[Session, Actor, Person], None]) -> Response | tuple[str, int]:
    form = StaffForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: work(session, by, by_code(session, Person, code)),
            lambda _: url_for("staff.person", code=code),
        )
    ):
        return done
    return _page(code, form)


@pages.post("/shop/person/<code>/pin-away")
@owner_only
def pin_away(code: str) -> Response | tuple[str, int]:
    """A forgotten PIN goes; its person chooses a new one."""
    return _do(code, lambda session, by, found: pins.take_pin_away(session, by, person=found))


@pages.post("/shop/person/<code>/let-go")
@owner_only
def let_go(code: str) -> Response | tuple[str, int]:
    """Somebody works here no longer."""
    return _do(code, lambda session, by, found: staff.let_go(session, by, person=found))


@pages.post("/shop/person/<code>/bring-back")
@owner_only
def bring_back(code: str) -> Response | tuple[str, int]:
    """Somebody works here again."""
    return _do(code, lambda session, by, found: staff.bring_back(session, by, person=found))
