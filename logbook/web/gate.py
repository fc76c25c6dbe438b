"""Who comes in: sign-in cookie, roles, and the actor that every act is done by."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import wraps
from typing import ParamSpec, TypeVar

from flask import Flask, abort, current_app, g, redirect, request, url_for
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session
from werkzeug import Response

from logbook.actions import people
from logbook.manner import Manner
from logbook.records.audit import Actor
from logbook.records.opened import Shop
from logbook.records.people import Person
from logbook.web import keptforms, tablets
from logbook.web.lookers import lookers

COOKIE = "bench-sign-in"
UPLOADS = {"orders.new", "jobs.add_pictures", "jobs.replace", "tracing.by_file", "bench.sign_sheet", "bench.sign_piece",
           "onpaper.take_over", "papercheck.take_over", "verdicts.of_print", "verdicts.of_sheet",
           "lotpapers.attach", "arriving.look"}  # fmt: skip
"""Endpoints that take files, for signed-in people only; everywhere else a request is small."""
PUBLIC = {"entry.sign_in", "entry.found", "entry.icon", "static", "places.enrol"}
OF_ONES_OWN = {"entry.sign_out", "shop.units", "shop.password", "tracing.by_file"}
"""What a viewer sends, too: about oneself, or a question that writes nothing."""
FOR_WRITING = {
    "orders.new", "orders.add_job", "jobs.materials", "jobs.pitch", "jobs.change", "jobs.midway", "mounting.begin",
    "onpaper.take_over", "papercheck.take_over",
    "orderchange.change", "materialfacts.change",
    "pitch.new", "pitch.carry", "stock.new", "stock.new_lot", "reorders.of_order", "reorders.of_job", "quotes.new",
}  # fmt: skip
"""Pages that are forms and nothing else: no use to somebody who only looks."""
BY_ITSELF = {"runs.state", "status.state"}
"""What an open page asks for without anybody there: it keeps no sign-in alive."""
_TOUCH_EVERY = timedelta(minutes=1)

P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Me:
    """The signed-in person, as pages need it."""

    id: int
    code: str
    name: str
    role: str
    manner: Manner

    @property
    def units(self) -> str:
        """The person's own units: mm or in."""
        return self.manner.units

    @property
    def owner(self) -> bool:
        """Whether this is an owner."""
        return self.role == "owner"

    @property
    def may_write(self) -> bool:
        """Viewers look, they do not write."""
        return self.role != "viewer"


def own_manner() -> Manner:
    """How whoever looks reads numbers; before anybody signed in, in mm with a point."""
    return g.me.manner if g.get("me") else Manner()


def the_shop() -> Shop:
    """The shop this app serves."""
    shop: Shop = current_app.extensions["shop"]
    return shop


def watch(app: Flask) -> None:
    """Ask everybody who they are, except on the pages that do the asking."""
    app.before_request(_come_in)
    app.before_request(_refuse_the_large)


def _come_in() -> Response | None:
    g.me, g.place = None, None
    if _at_a_tablet():
        return _tablet_comes_in(request.endpoint or "")
    g.me = _whoever()
    if g.me is None and request.endpoint not in PUBLIC:
        return redirect(url_for("entry.sign_in", back=_after_signing_in()), 303)
    if g.me is not None and not g.me.may_write and not _may_look(request.endpoint or ""):
        abort(403)
    if g.me is not None and request.endpoint in UPLOADS:
        request.max_content_length = the_shop().settings.upload_bytes
        keptforms.give_files(the_shop())
    return None


def _refuse_the_large() -> None:
    """Said before anything of it is read, whatever the page itself would have answered."""
    most = request.max_content_length
    if most is not None and (request.content_length or 0) > most:
        abort(413)


def _after_signing_in() -> str:
    """Where somebody wanted to go; for a form that came too late, to where it is shown again."""
    if request.method in ("GET", "HEAD"):
        return request.full_path if request.query_string else request.path
    word = _kept_form()
    return url_for("entry.again", word=word) if word else "/"


def _kept_form() -> str | None:
    """Hold the form of somebody whose sign-in ran out; a stranger's is never read."""
    token = request.cookies.get(COOKIE)
    if not token or request.endpoint is None or request.method != "POST":
        return None
    with the_shop().database.reading() as session:
        person = people.ran_out(session, token, datetime.now(UTC))
    if person is None:
        return None
    if request.endpoint in UPLOADS:
        request.max_content_length = the_shop().settings.upload_bytes
    return keptforms.keep(the_shop().store, person)


def _at_a_tablet() -> bool:
    """Whether the cookie of a place came along and is worth something; then nobody's own sign-in counts."""
    token = request.cookies.get(tablets.COOKIE)
    if not token or request.endpoint == "static":
        return False
    found = tablets.come_in(the_shop(), token, datetime.now(UTC))
    if found is None:
        return False
    g.place, person = found
    if person is not None:
        role = tablets.role_at(request.endpoint or "", person)
        g.me = Me(person.id, person.code, person.name, role, people.manner_of(person))
    return True


def _tablet_comes_in(endpoint: str) -> Response | None:
    if endpoint in tablets.OWN | PUBLIC - {"entry.sign_in", "entry.found"}:
        return None
    if endpoint in ("today.today", "entry.sign_in"):
        return redirect(url_for("places.begin"), 303)
    if g.me is None:
        return redirect(url_for("places.begin", back=request.path if request.method == "GET" else "/"), 303)
    if not tablets.is_allowed(endpoint, request.method):
        abort(403)
    if endpoint in UPLOADS:
        request.max_content_length = the_shop().settings.upload_bytes
    return None


def _may_look(endpoint: str) -> bool:
    """Whether a viewer may ask for this: every page that shows something, and what is one's own."""
    if request.method in ("GET", "HEAD"):
        return endpoint not in FOR_WRITING
    return endpoint in OF_ONES_OWN | PUBLIC


def _whoever() -> Me | None:
    token = request.cookies.get(COOKIE)
    if not token or request.endpoint == "static":
        return None
    now = datetime.now(UTC)
    with the_shop().database.reading() as session:
        found = people.signed_in(session, token, now)
        if found is None:
            return _looker(session, token, now)
        who = found.person
        me = Me(who.id, who.code, who.name, who.role, people.manner_of(who))
        stale = now - found.seen_at > _TOUCH_EVERY and request.endpoint not in BY_ITSELF
    if stale:
        # a folder that takes no writes still shows its pages
        with suppress(OperationalError), the_shop().database.writing() as session:
            people.touch(session, token, now)
    return me


def _looker(session: Session, token: str, now: datetime) -> Me | None:
    """Somebody who signed in while nothing could be written."""
    person_id = lookers().who(token, now)
    who = session.get(Person, person_id) if person_id is not None else None
    return Me(who.id, who.code, who.name, who.role, people.manner_of(who)) if who is not None and who.active else None


def actor(request_id: str | None = None) -> Actor:
    """Who does the act of this request."""
    me: Me | None = g.me
    if me is None:
        return Actor(None, "nobody yet", "none", datetime.now(UTC), request_id)
    return Actor(me.id, me.name, me.role, datetime.now(UTC), request_id, _place_words())


def _place_words() -> str | None:
    """Where an act is done, as the trail keeps it: the tablet's place, and whether the PIN was given with it."""
    if g.get("place") is None:
        return None
    words: str = g.place.name
    return f"{words}, with PIN" if g.get("pin_given") else words


def without_request(by: Actor) -> Actor:
    """The same actor for the further acts of one form: only its first carries the request id."""
    return replace(by, request_id=None)


def owner_only(view: Callable[P, R]) -> Callable[P, R]:
    """A page for owners."""

    @wraps(view)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> R:
        if g.me is None or not g.me.owner:
            abort(403)
        return view(*args, **kwargs)

    guarded.owner_only = True  # type: ignore[attr-defined]
    return guarded
