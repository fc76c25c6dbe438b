"""Coming in: founding the shop, signing in and out."""

from flask import Blueprint, current_app, redirect, render_template, request, url_for
from werkzeug import Response
from wtforms import PasswordField, StringField
from wtforms.validators import EqualTo
from wtforms.validators import Length as TextLength

from logbook.actions import people
from logbook.refusals import Refused
from logbook.web import keptforms, shown
from logbook.web.acting import reading, say
from logbook.web.condition import condition
from logbook.web.fields import MAYBE, NEEDED, BenchForm
from logbook.web.gate import COOKIE, actor, the_shop
from logbook.web.lookers import lookers

NO_PAIR = "Name and password do not belong together; type both again. Who forgot it asks the owner for a new one."
pages = Blueprint("entry", __name__)


@pages.get("/favicon.ico")
def icon() -> Response:
    """Browsers ask for it on pages that name none, such as the papers."""
    return redirect(url_for("static", filename="ridges.svg"), 301)


class FoundForm(BenchForm):
    """The shop's first person."""

    name = StringField(
        "Your name", [NEEDED, TextLength(max=120)], description="As it is to be printed beside your signatures."
    )
    password = PasswordField("Password", [NEEDED], description="At least 8 characters.")
    again = PasswordField(
        "The same password again",
        [NEEDED, EqualTo("password", message="The two are not the same; type both again.")],
        description="So that no slip locks you out: nobody else here could give you a new one.",
    )
    shop_name = StringField(
        "Name of the shop", [MAYBE, TextLength(max=120)], description="Printed on papers; it can be changed later."
    )


class SignInForm(BenchForm):
    """Name and password."""

    name = StringField("Name", [NEEDED, TextLength(max=120)])
    password = PasswordField("Password", [NEEDED])


@pages.route("/found", methods=["GET", "POST"])
def found() -> Response | tuple[str, int] | str:
    """An empty shop asks for its owner."""
    with reading() as session:
        if people.anybody(session):
            return redirect(url_for("entry.sign_in"), 303)
    form = FoundForm()
    if form.validate_on_submit():
        try:
            with the_shop().database.writing() as session:
                by = actor(form.request_id.data or None)
                owner = people.found_shop(
                    session, by, shop_name=form.shop_name.data or "", name=form.name.data, password=form.password.data
                )
                token = people.start_sign_in(session, actor(), person=owner, keys=[])
            return _with_cookie(redirect(url_for("today.today"), 303), token)
        except Refused as refusal:
            say(form, refusal)
    return render_template("found.html", form=form), 422 if request.method == "POST" else 200


@pages.route("/sign-in", methods=["GET", "POST"])
def sign_in() -> Response | tuple[str, int] | str:
    """Name and password, slowed down after failures."""
    with reading() as session:
        if not people.anybody(session):
            return redirect(url_for("entry.found"), 303)
        names = [person.name for person in people.everybody(session)]
    form = SignInForm()
    if form.validate_on_submit():
        try:
            token = _checked(form.name.data, form.password.data)
            return _with_cookie(redirect(_back(), 303), token)
        except Refused as refusal:
            say(form, refusal)
    kept = _back().startswith(url_for(".again", word="-")[:-1])
    rendered = render_template("sign_in.html", form=form, names=names, kept=kept)
    return rendered, 422 if request.method == "POST" else 200


@pages.get("/again/<word>")
def again(word: str) -> Response | tuple[str, int]:
    """A form that came after the sign-in had ended, filled in as it was typed."""
    kept = keptforms.find(the_shop().store, word)
    if kept is None:
        return shown.trouble("No longer kept", "What was typed is kept for an hour, in the browser that sent it."), 404
    return keptforms.show(kept)


def _checked(name: str, password: str) -> str:
    """The token of a new sign-in; the failure counts even though nothing else is written."""
    keys = [f"name:{' '.join(name.split()).lower()[:60]}", f"address:{request.remote_addr}"]
    only_to_look = bool(condition().words)
    if only_to_look:
        lookers().pay(keys)
    with the_shop().database.reading() as session:
        people.check_throttle(session, keys, actor().now)
        person = people.verify_password(session, name=name, password=password)
        person_id = person.id if person else None
    token = _looking(person_id) if only_to_look else _written(person_id, keys)
    if token is None:
        raise Refused(NO_PAIR, field="password")
    return token


def _looking(person_id: int | None) -> str | None:
    return None if person_id is None else lookers().begin(person_id, actor().now)


def _written(person_id: int | None, keys: list[str]) -> str | None:
    with the_shop().database.writing() as session:
        if person_id is None:
            people.count_failure(session, keys, actor().now)
            return None
        return people.start_sign_in(session, actor(), person=people.by_id(session, person_id), keys=keys)


def _back() -> str:
    """Where the person wanted to go; only paths of this app."""
    back = request.args.get("back", "/")
    return back if back.startswith("/") and not back.startswith(("//", "/\\")) else "/"


def _with_cookie(response: Response, token: str) -> Response:
    response.set_cookie(
        COOKIE,
        token,
        max_age=int(people.KNOWN_AFTERWARDS.total_seconds()),
        httponly=True,
        samesite="Lax",
        secure=current_app.config["SESSION_COOKIE_SECURE"],
    )
    return response


@pages.post("/sign-out")
def sign_out() -> Response:
    """The session ends on the server, too."""
    if (token := request.cookies.get(COOKIE)) and not lookers().end(token):
        with the_shop().database.writing() as session:
            people.end_sign_in(session, actor(), token=token)
    response = redirect(url_for("entry.sign_in"), 303)
    response.delete_cookie(COOKIE)
    return response
