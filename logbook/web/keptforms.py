"""A form that arrives after its sign-in ran out: held for an hour, shown again filled in when somebody has signed in.

It is held only for a browser whose sign-in ran out and whose form is one of ours, and given back to that browser only.
Shown again means: sent to its own page as it was, up to the act, which is not done. So whoever is signed in by then
looks at it, with what that person may do, and sends it; until then nothing is written.
"""

import hashlib
import json
from collections.abc import Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flask import Flask, Response, current_app, g, render_template, request, session
from flask_wtf.csrf import validate_csrf
from werkzeug.datastructures import FileStorage, MultiDict
from werkzeug.test import EnvironBuilder
from wtforms import ValidationError

from logbook.records.files import FileStore
from logbook.records.opened import Shop

if TYPE_CHECKING:
    from wsgiref.types import WSGIEnvironment

FIELD = "kept_file"
"""What a form sends back for a file that is held for it: the field, the word that claims it, its name."""
SECRET = {"password", "current", "pin"}
HOLDS_BY_ITSELF = {"orders.new", "jobs.add_pictures"}
"""Forms that hold their own pictures, whenever they are not accepted."""
BUTTONS = {
    "papers.issue": "Print the traveller", "onpaper.begin": "Do this stage on paper",
    "jobs.make_proof": "Draw the proof", "takeback.take_back": "Take the signature back",
}  # fmt: skip
"""Buttons without a page that could show them again, and what they do."""
_MARK = "logbook.shown-again"


@dataclass(frozen=True, slots=True)
class KeptForm:
    """What was sent, by whom the browser was signed in then, and which browser it was."""

    path: str
    fields: list[list[str]]
    files: list[list[str]]
    """Field, word and name of each file."""
    person: str
    browser: str


def keep(store: FileStore, person: str) -> str | None:
    """Hold the form of this request; the word that claims it, None where it is none of ours or there is no room."""
    if not _is_ours():
        return None
    try:
        kept = KeptForm(_here(), list(_typed()), _hold_files(store), person, _browser())
        return _hold(store, json.dumps([kept.path, kept.fields, kept.files, kept.person, kept.browser]).encode())
    except OSError:
        return None


def _is_ours() -> bool:
    """Whether the form carries this browser's token: another site cannot have somebody hold one."""
    if not current_app.config.get("WTF_CSRF_ENABLED", True):
        return True
    try:
        validate_csrf(request.form.get("csrf_token"))
    except ValidationError:
        return False
    return True


def _here() -> str:
    return request.full_path if request.query_string else request.path


def _browser() -> str:
    return hashlib.sha256(f"browser of {session.get('csrf_token', '')}".encode()).hexdigest()


def _typed() -> Iterable[list[str]]:
    return ([name, words] for name, words in request.form.items(multi=True) if name not in SECRET | {FIELD})


def _hold_files(store: FileStore) -> list[list[str]]:
    """Hold what was chosen; what had been held for this form before stays held."""
    before = [value.split(" ", 2) for value in request.form.getlist(FIELD) if value.count(" ") >= 2]
    sent = [(name, file) for name, file in request.files.items(multi=True) if file.filename]
    return [*before, *([name, store.hold(store.receive(file.stream)), file.filename or ""] for name, file in sent)]


def _hold(store: FileStore, content: bytes) -> str:
    waiting = store.temporary()
    waiting.write_bytes(content)
    return store.hold(waiting)


def find(store: FileStore, word: str) -> KeptForm | None:
    """The form that is held under a word; None where it was swept, or another browser's."""
    path = store.held(word)
    if path is None:
        return None
    try:
        kept = KeptForm(*json.loads(path.read_bytes()))
    except (ValueError, TypeError):  # a picture is held under this word
        return None
    return kept if kept.browser == _browser() else None


def show(kept: KeptForm) -> Response:
    """Its page as after a refusal, with everything as it was typed; all that is asked of a request is asked of it."""
    app: Flask = current_app._get_current_object()  # type: ignore[attr-defined]
    me = g.me
    with app.app_context(), app.request_context(_as_it_came(kept)):
        if request.endpoint in BUTTONS:
            return app.make_response(_button(kept, BUTTONS[request.endpoint], me))
        answer = app.full_dispatch_request()
    if answer.status_code == 422:
        answer.status_code = 200
    return answer


def _as_it_came(kept: KeptForm) -> "WSGIEnvironment":
    cookies = [("Cookie", request.headers.get("Cookie", ""))]
    return EnvironBuilder(
        path=kept.path, base_url=request.host_url, method="POST", headers=cookies,
        data=MultiDict([(name, words) for name, words in kept.fields]),
        environ_base={"REMOTE_ADDR": request.remote_addr or ""}, environ_overrides={_MARK: kept},
    ).get_environ()  # fmt: skip


def _button(kept: KeptForm, words: str, me: Any) -> str:
    """A button to tap once more; whether the person who came in may is asked when it is tapped."""
    g.me, g.place = me, None
    return render_template("again.html", action=kept.path, fields=kept.fields, words=words)


def shown_again() -> KeptForm | None:
    """The held form that this request shows; None for every request that really came in."""
    kept: KeptForm | None = request.environ.get(_MARK)
    return kept


def give_files(shop: Shop) -> None:
    """Put the files that are held for a form among those that came with it."""
    kept = shown_again()
    wanted = kept.files if kept else [value.split(" ", 2) for value in _asked_for() if value.count(" ") >= 2]
    if not wanted:
        return
    given, opened = MultiDict(request.files), ExitStack()
    for field, word, name in wanted:
        if path := shop.store.held(word):
            given.add(field, FileStorage(opened.enter_context(path.open("rb")), filename=name, name=field))
    request.files = given  # type: ignore[assignment] # the request closes them in the end


def _asked_for() -> list[str]:
    is_form = request.method == "POST" and request.mimetype == "multipart/form-data"
    return request.form.getlist(FIELD) if is_form else []


def held_files(action: str) -> list[tuple[str, str]]:
    """For the form of this address: what it sends back for each file that is held for it, and the file's name."""
    kept = shown_again()
    if kept is None or request.endpoint in HOLDS_BY_ITSELF or action.partition("?")[0] != request.path:
        return []
    return [(" ".join(one), one[2]) for one in kept.files]


def once_more(*, safety: bool) -> str:
    """What stands above the form itself."""
    ticks = " Ticks of safety are made anew." if safety else ""
    return f"Nothing is sent yet: look it over, then send it with its button.{ticks}"


def words_above() -> str:
    """What stands above the page that shows a form again; empty on every other."""
    kept, me = shown_again(), g.get("me")
    if kept is None or me is None:
        return ""
    if kept.person == me.name:
        return "You are signed in again. What you typed is in its place below, and nothing is sent yet."
    return (
        f"{kept.person} typed this before the sign-in ended, and you are {me.name}. Nothing is sent yet: "
        f"if you send it, it is done in your name."
    )


def teach(app: Flask) -> None:
    """What templates need of it."""
    app.add_template_global(held_files)
    app.context_processor(_above)


def _above() -> dict[str, Any]:
    return {"shown_again": words_above()}
