"""Bench tablets: the owner enrols them as places; each has a page of what can be worked on there."""

from collections.abc import Callable

from flask import Blueprint, abort, current_app, g, redirect, request, url_for
from flask import session as cookie
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import SelectMultipleField, StringField
from wtforms.validators import Length as TextLength

from logbook.actions import places as actions
from logbook.actions.finding import by_code
from logbook.paper.codes import qr
from logbook.records.audit import Actor
from logbook.records.people import Person
from logbook.records.places import Place
from logbook.web import choices, papering, placework, tablets
from logbook.web.acting import act, page, reading
from logbook.web.fields import NEEDED, BenchForm
from logbook.web.gate import actor, owner_only, the_shop
from logbook.web.pages.bench import PLACES

pages = Blueprint("places", __name__)


class PlaceForm(BenchForm):
    """A new place."""

    name = StringField(
        "Name of the place", [NEEDED, TextLength(max=60)], description="As people call it, such as Printer corner."
    )
    stages = SelectMultipleField("Worked on here", choices=PLACES)


class ButtonForm(BenchForm):
    """One button."""


@pages.route("/shop/places", methods=["GET", "POST"])
@owner_only
def listing() -> Response | tuple[str, int]:
    """Every place, with its tablet and when that was last seen."""
    form = PlaceForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.new_place(session, by, name=form.name.data, stages=form.stages.data or []),
            lambda made: url_for("places.place", code=made.code),
        )
    ):
        return done
    with reading() as session:
        return page("places.html", form=form, rows=actions.living(session), words=PLACES, now=actor().now)


@pages.get("/shop/place/<code>")
@owner_only
def place(code: str) -> tuple[str, int]:
    """One place: enrol its tablet, send it away."""
    return _place_page(code, ButtonForm(formdata=None))


def _place_page(code: str, form: ButtonForm) -> tuple[str, int]:
    with reading() as session:
        found = by_code(session, Place, code)
        # the code itself is kept nowhere but in this owner's browser
        kept = cookie.get("enrol", {}).get(code, "")
        fresh = kept if kept and actions.of_code(session, kept, actor().now) is found else ""
        address = papering.shop_address(session).rstrip("/") + url_for("places.enrol", code=fresh) if fresh else ""
        return page(
            "place.html",
            row=found,
            form=form,
            words=PLACES,
            address=address,
            code=qr(address, "address that enrols a tablet") if address else "",
            until=found.enrolled_at + actions.ENROLLED_FOR if found.token_hash and found.enrolled_at else None,
            reachable=current_app.extensions["network_address"],
        )


def _do(code: str, work: Callable[[Session, Actor, Place], object], then: str = "") -> Response | tuple[str, int]:
    form = ButtonForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: work(session, by, by_code(session, Place, code)),
            lambda _: then or url_for("places.place", code=code),
        )
    ):
        return done
    return _place_page(code, form)


@pages.post("/shop/place/<code>/code")
@owner_only
def new_code(code: str) -> Response | tuple[str, int]:
    """A code that enrols one tablet within a quarter of an hour."""

    def make(session: Session, by: Actor, found: Place) -> None:
        cookie["enrol"] = {code: actions.new_code(session, by, place=found)}

    return _do(code, make)


@pages.post("/shop/place/<code>/send-away")
@owner_only
def send_away(code: str) -> Response | tuple[str, int]:
    """The tablet there is out from now on."""
    return _do(code, lambda session, by, found: actions.revoke(session, by, place=found))


@pages.post("/shop/place/<code>/remove")
@owner_only
def remove(code: str) -> Response | tuple[str, int]:
    """The place is no more."""
    return _do(
        code, lambda session, by, found: actions.remove(session, by, place=found), then=url_for("places.listing")
    )


@pages.route("/enrol/<code>", methods=["GET", "POST"])
def enrol(code: str) -> Response | tuple[str, int]:
    """What a tablet opens once: one button makes it the place's tablet."""
    form, tokens = ButtonForm(), []
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: tokens.append(actions.enrol(session, by, code=code)),
            lambda _: url_for("places.begin"),
        )
    ):
        return _with_cookie(done, tokens[0]) if tokens else done
    with reading() as session:
        return page("enrol.html", form=form, found=actions.of_code(session, code, actor().now), code=code)


def _with_cookie(response: Response, token: str) -> Response:
    response.set_cookie(
        tablets.COOKIE,
        token,
        max_age=int(actions.ENROLLED_FOR.total_seconds()),
        httponly=True,
        samesite="Lax",
        secure=current_app.config["SESSION_COOKIE_SECURE"],
    )
    return response


@pages.get("/here")
def begin() -> Response:
    """Where a tablet begins: its own place; at a desk the whole bench."""
    here = tablets.place()
    if here is None:
        return redirect(url_for("bench.place_list"), 303)
    return redirect(url_for("places.here", code=here.code, back=request.args.get("back")), 303)


@pages.get("/place/<code>")
def here(code: str) -> tuple[str, int]:
    """What can be worked on at a place now, and what is held up."""
    mine = tablets.place()
    if mine is not None and mine.code != code:
        abort(403)
    with reading() as session:
        found = by_code(session, Place, code)
        work = placework.at(session, actor(), found.stages.split())
        return page(
            "here.html",
            row=found,
            work=work,
            words=PLACES,
            everybody=choices.people_who_sign(session) if mine else [],
            back=_back(),
        )


@pages.post("/here")
def arrive() -> Response:
    """One tap on a name: from now on plain ticks at this tablet are that person's."""
    mine, form = tablets.place(), ButtonForm()
    if mine is None or not form.validate_on_submit():
        return redirect(url_for("places.begin"), 303)
    with the_shop().database.writing() as session:
        person = by_code(session, Person, request.form.get("person", ""))
        actions.choose_person(session.get_one(Place, mine.id), person, actor().now)
    return redirect(_back() or url_for("places.here", code=mine.code), 303)


@pages.post("/here/end")
def sign_off_tablet() -> Response:
    """This is no bench tablet any more; it can only lose by that."""
    mine, form = tablets.place(), ButtonForm()
    answer = redirect(url_for("entry.sign_in"), 303)
    if mine is not None and form.validate_on_submit():
        with the_shop().database.writing() as session:
            actions.revoke(session, actor(), place=session.get_one(Place, mine.id))
        g.place = None
        answer.delete_cookie(tablets.COOKIE)
    return answer


def _back() -> str:
    """Where the tablet was going when it asked who is there; only paths of this app."""
    back = request.values.get("back", "")
    return back if back.startswith("/") and not back.startswith(("//", "/\\")) else ""
