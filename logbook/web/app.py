"""The web app: made once for one opened shop."""

import importlib
import pkgutil
import secrets
from collections.abc import Callable
from pathlib import Path

from flask import Flask, abort, current_app, g, redirect, request
from flask_wtf.csrf import CSRFError, CSRFProtect
from jinja2 import StrictUndefined
from sqlalchemy.exc import DatabaseError
from werkzeug.exceptions import HTTPException, InternalServerError
from werkzeug.wrappers import Response

from logbook import resources
from logbook.paper.writer import PdfWriter
from logbook.records.opened import Shop
from logbook.refusals import Refused
from logbook.web import gate, keptforms, pages, shown, uploads
from logbook.web.common import Common
from logbook.web.condition import Condition, condition, is_unavailable
from logbook.web.headers import HEADERS, with_headers
from logbook.web.lookers import Lookers

__all__ = ["HEADERS", "create_app"]


def create_app(shop: Shop, *, ring: Callable[[int], None], network_address: str | None = None,
               common: Common | None = None) -> Flask:  # fmt: skip
    """The Flask app of a shop.

    ``ring`` tells the worker of a run; ``network_address`` is how tablets come here; ``common`` is what all processes
    share that serve this shop, where there are several.
    """
    app = Flask("logbook.web", template_folder=str(resources.folder("templates") / "screen"), static_folder="static")
    app.config.update(
        SECRET_KEY=_secret(shop.settings.data),
        MAX_CONTENT_LENGTH=shop.settings.request_bytes,
        MAX_FORM_PARTS=2000,
        WTF_CSRF_TIME_LIMIT=None,
        SESSION_COOKIE_NAME="bench-form",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=shop.settings.secure_cookies,
    )
    app.extensions["pdf"] = PdfWriter()
    uploads.prepare(app)
    common = common or Common()
    app.extensions["condition"], app.extensions["lookers"] = Condition(shop, common), Lookers(common)
    app.extensions["shop"], app.extensions["ring"], app.extensions["network_address"] = shop, ring, network_address
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    # first who it is, then the form: a stranger's large request is never read
    gate.watch(app)
    app.before_request(_without_nul)
    CSRFProtect(app)
    shown.teach(app)
    keptforms.teach(app)
    for found in pkgutil.iter_modules(pages.__path__):
        app.register_blueprint(importlib.import_module(f"{pages.__name__}.{found.name}").pages)
    app.after_request(with_headers)
    app.register_error_handler(Refused, _refused)
    app.register_error_handler(HTTPException, _http_error)
    app.register_error_handler(CSRFError, _stale_form)
    app.register_error_handler(DatabaseError, _no_writes)
    app.register_error_handler(OSError, _no_writes)
    return app


def _without_nul() -> None:
    """No address holds a character with the number 0, and PostgreSQL takes none in a question."""
    if "\0" in request.path or any("\0" in word for word in request.args.values()):
        abort(404)


def _secret(data: Path) -> str:
    """The key that signs forms: made once for each data folder."""
    path, made = data / "form-key", secrets.token_hex(32)
    if path.exists() and path.stat().st_size:
        return path.read_text(encoding="ascii")
    try:  # it may be there and empty: it died between the two
        path.touch(mode=0o600)
        path.write_text(made, encoding="ascii")
    except OSError:  # a folder that takes no writes is still shown, by a key of this process alone
        return made
    return path.read_text(encoding="ascii")


def _refused(refusal: Refused) -> tuple[str, int]:
    return shown.trouble("That cannot be done", refusal.sentence), 503 if is_unavailable() else 422


_WORDS = {
    403: ("Not for you", "This is for somebody with another role in the shop; ask the owner."),
    404: ("Not here", "There is nothing at this address. It may have been typed wrongly."),
    405: ("Not this way", "This address is reached by a button, not by typing it."),
    413: ("Too large", "What was sent is larger than this logbook takes in one go."),
}


_NOT_AT_A_TABLET = (
    "Not at this tablet",
    "A bench tablet shows and records work, nothing more. For the rest sign in with your password on another device.",
)


def _http_error(error: HTTPException) -> tuple[str, int] | Response:
    if error.code == 403 and g.get("place"):
        return shown.trouble(*_NOT_AT_A_TABLET), 403
    if error.code == 405 and request.method == "GET" and (above := _page_above(request.path)):
        return redirect(above)
    title, sentence = _WORDS.get(
        error.code or 500, ("Something went wrong", "The logbook could not do that. Nothing was written.")
    )
    return shown.trouble(title, sentence), error.code or 500


def _page_above(path: str) -> str:
    """The nearest address above that shows a page: a form that was refused leaves its own in the address bar."""
    known = current_app.create_url_adapter(request)
    while known is not None and (path := path.rpartition("/")[0]):
        try:
            known.match(path, method="GET")
        except HTTPException:
            continue
        return path
    return ""


def _stale_form(_error: CSRFError) -> tuple[str, int]:
    return shown.trouble(
        "The page was too old", "Go back, load the page again and send it once more; nothing was written."
    ), 400


def _no_writes(error: DatabaseError | OSError) -> tuple[str, int] | Response:
    words = condition().learn(error)
    if not words:
        current_app.logger.error("a fault of the program", exc_info=error)
        return _http_error(InternalServerError())
    return shown.trouble("Not just now", words), 503
