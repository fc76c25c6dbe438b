"""The proofs' own app: it knows the addresses of proof links and nothing else of the shop.

It listens apart from the shop's pages, behind the owner's HTTPS. There is no
sign-in and no cookie of the shop. A link's token is exchanged at the first visit
for a cookie that serves this one proof for half an hour, and leaves the address.
"""

import hashlib
import hmac
import logging
import secrets
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from flask import Flask, Response, abort, current_app, redirect, render_template, request, send_file, url_for
from jinja2 import StrictUndefined
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session
from werkzeug import Response as Redirect
from werkzeug.exceptions import HTTPException

from logbook import resources
from logbook.actions import prooflinks
from logbook.records.audit import Actor
from logbook.records.opened import Shop
from logbook.records.prooflinks import ProofLink
from logbook.refusals import Refused
from logbook.web.headers import with_headers
from logbook.web.slowdown import Slowdown

COOKIE = "proof-visit"
VISIT = timedelta(minutes=30)
REQUEST_BYTES = 2**16
COST, COST_OF_NOTHING = 1, 20
"""Of the 120 that an address may spend at once: some 100 pages and pictures, or 6 addresses that lead nowhere."""
MOST_STILLS = 6
FILES = {"style.css": "text/css", "proof.css": "text/css", "proof.js": "text/javascript",
         "ridges.svg": "image/svg+xml"}  # fmt: skip

_log = logging.getLogger("logbook.proofs")


class ProofSite(Flask):
    """Flask that keeps addresses out of its log: the first one of each visit carries a token."""

    def log_exception(self, exc_info: object) -> None:
        """Where it happened and what, without the address that was asked for."""
        _log.error("a fault of the program at %s", request.endpoint, exc_info=exc_info)  # type: ignore[arg-type]


def create_proof_app(
    shop: Shop,
    *,
    clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    seconds: Callable[[], float] = time.monotonic,
) -> Flask:
    """The app of a shop's proof links; its cookies die with it."""
    app = ProofSite("logbook.web", template_folder=str(resources.folder("templates") / "proof"), static_folder=None)
    app.config.update(MAX_CONTENT_LENGTH=REQUEST_BYTES, MAX_FORM_PARTS=20)
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.extensions.update(shop=shop, clock=clock, slowdown=Slowdown(seconds), key=secrets.token_bytes(32))
    app.before_request(_slow_down)
    app.after_request(_count_nothing)
    app.after_request(with_headers)
    for rule, view, methods in (
        ("/p/<token>", arrive, ["GET"]), ("/proof/<code>", look, ["GET"]), ("/proof/<code>", decide, ["POST"]),
        ("/proof/<code>/strip.jpg", strip, ["GET"]), ("/proof/<code>/view-<int:number>.jpg", still, ["GET"]),
        ("/look/<name>", looks, ["GET"]), ("/favicon.ico", icon, ["GET"]),
    ):  # fmt: skip
        app.add_url_rule(rule, view.__name__, view, methods=methods)
    app.register_error_handler(HTTPException, _http_error)
    app.register_error_handler(DatabaseError, _no_database)
    return app


def _shop() -> Shop:
    shop: Shop = current_app.extensions["shop"]
    return shop


def _now() -> datetime:
    now: datetime = current_app.extensions["clock"]()
    return now


# --- not too often


def _slow_down() -> Response | None:
    wait = current_app.extensions["slowdown"].take(request.remote_addr or "", COST)
    if not wait:
        return None
    answer = Response(_trouble("Not so fast", f"Wait {wait} seconds and try again."), 429)
    answer.headers["Retry-After"] = str(wait)
    return answer


def _count_nothing(response: Response) -> Response:
    if response.status_code == 404:
        current_app.extensions["slowdown"].fine(request.remote_addr or "", COST_OF_NOTHING)
    return response


# --- coming in


def arrive(token: str) -> Redirect:
    """A link's own address: a cookie for this proof, and on to an address without the token."""
    with _shop().database.reading() as session:
        link = prooflinks.of_token(session, token, _now())
        if link is None:
            abort(404)
        code, secure = link.code, prooflinks.public_address(session).startswith("https:")
    answer = redirect(url_for("look", code=code), 303)
    began = f"{int(_now().timestamp())}-{secrets.token_hex(8)}"
    answer.set_cookie(COOKIE, _visit(code, began), max_age=VISIT, path=url_for("look", code=code), httponly=True,
                      samesite="Lax", secure=secure)  # fmt: skip
    return answer


def _visit(code: str, began: str) -> str:
    """The cookie of a visit: when it began, a chance number, and what only this process can make of both."""
    return f"{began}.{_signed(f'visit {code} {began}')}"


def _signed(words: str) -> str:
    # the key is this process's own: nothing of a visit is kept anywhere
    return hmac.new(current_app.extensions["key"], words.encode(), hashlib.sha256).hexdigest()


def _is_visiting(code: str) -> bool:
    cookie = request.cookies.get(COOKIE, "")
    began = cookie.partition(".")[0]
    if not hmac.compare_digest(cookie.encode(), _visit(code, began).encode()):
        return False
    return timedelta(0) <= _now() - datetime.fromtimestamp(int(began.partition("-")[0]), UTC) < VISIT


def _link(session: Session, code: str) -> ProofLink:
    """The link of this visit; unknown, too late, withdrawn and never visited are one and the same 404."""
    link = prooflinks.of_code(session, code, _now()) if _is_visiting(code) else None
    if link is None:
        abort(404)
    return link


def _form_token() -> str:
    """What the form of this visit carries: nobody who does not hold the cookie can make it."""
    return _signed(f"form {request.cookies.get(COOKIE, '')}")


# --- the page


def look(code: str) -> tuple[str, int]:
    """The proof, and the form for an answer while it takes one."""
    with _shop().database.reading() as session:
        return _page(session, _link(session, code)), 200


def _page(session: Session, link: ProofLink, *, refusal: Refused | None = None) -> str:
    answer = prooflinks.answer_to(link)
    facts = prooflinks.facts(session, _shop().store, link.proof)
    typed = request.form if refusal else {}
    return render_template(
        "proof.html",
        facts=facts,
        stills=sorted({1 + round(at * (facts.views - 1) / (MOST_STILLS - 1)) for at in range(MOST_STILLS)}),
        code=link.code,
        until=f"{link.until.astimezone():%Y-%m-%d %H:%M}",
        answer=answer,
        own=answer is not None and answer is link.answer,
        answered=f"{answer.at.astimezone():%Y-%m-%d %H:%M}" if answer else "",
        overtaken=prooflinks.is_overtaken(link.proof),
        form_token=_form_token(),
        typed={name: typed.get(name, "") for name in ("verdict", "given_by", "words")},
        fault=refusal.sentence if refusal else "",
        fault_at=(refusal.field or "") if refusal else "",
        most=(prooflinks.NAME_MOST, prooflinks.WORDS_MOST),
        is_demo=_shop().is_demo,
    )


def decide(code: str) -> Redirect | tuple[str, int]:
    """The one answer; whatever was answered before stays, and is shown."""
    with _shop().database.reading() as session:
        found = _link(session, code)
        closed = prooflinks.answer_to(found) is not None or prooflinks.is_overtaken(found.proof)
    if not hmac.compare_digest(request.form.get("form_token", "").encode(), _form_token().encode()):
        abort(400)
    try:
        if not closed:
            _record(code)
    except Refused as refusal:
        return _again(code, refusal), 422
    except DatabaseError as error:
        _log.error("an answer could not be written", exc_info=error)
        return _again(code, Refused(_NOT_NOW)), 503
    return redirect(url_for("look", code=code), 303)


def _record(code: str) -> None:
    form = request.form
    verdict, given_by, words = (form.get(name, "") for name in ("verdict", "given_by", "words"))
    by = Actor(None, "customer, by link", "none", _now())
    with _shop().database.writing() as session:
        link = _link(session, code)
        prooflinks.decide(session, by, link=link, verdict=verdict, given_by=given_by, words=words)


def _again(code: str, refusal: Refused) -> str:
    with _shop().database.reading() as session:
        return _page(session, _link(session, code), refusal=refusal)


# --- its pictures


def strip(code: str) -> Response:
    """Every view, one below the other."""
    with _shop().database.reading() as session:
        return _jpeg(prooflinks.strip(*_moving(session, code)))


def still(code: str, number: int) -> Response:
    """One view, for where nothing flips."""
    with _shop().database.reading() as session:
        return _jpeg(prooflinks.still(*_moving(session, code), number))


def _moving(session: Session, code: str) -> tuple[Path, prooflinks.Proof]:
    proof = _link(session, code).proof
    if not _shop().store.has(proof.animation.sha256):
        abort(404)
    return _shop().store.path(proof.animation.sha256), proof


def _jpeg(content: bytes | None) -> Response:
    if content is None:
        abort(404)
    return Response(content, mimetype="image/jpeg")


def looks(name: str) -> Response:
    """The page's own style sheets and script: the same for everybody."""
    if name not in FILES:
        abort(404)
    return send_file(Path(current_app.root_path) / "static" / name, mimetype=FILES[name], max_age=3600)


def icon() -> Response:
    """Browsers ask for it unasked."""
    return looks("ridges.svg")


# --- what went wrong

_NOT_NOW = "It cannot be taken just now. Nothing was written; what you typed is kept here: send it again in a moment."
_WORDS = {
    400: ("The page was too old", "Open the link from your message once more; nothing was written."),
    404: ("Nothing here", "There is no proof at this address, or not any more. Open the link from your message once "
                          "more; if that does not help, ask the workshop for a new one."),
    413: ("Too large", "What was sent is larger than an answer can be. Nothing was written."),
}  # fmt: skip


def _trouble(title: str, sentence: str) -> str:
    return render_template("trouble.html", title=title, sentence=sentence, is_demo=_shop().is_demo)


def _http_error(error: HTTPException) -> tuple[str, int]:
    status = 404 if error.code == 405 else error.code or 500
    return _trouble(*_WORDS.get(status, ("Something went wrong", "Nothing was written. Try again later."))), status


def _no_database(error: DatabaseError) -> tuple[str, int]:
    _log.error("the database does not answer", exc_info=error)
    return _trouble("Not just now", "The workshop's records cannot be read just now. Try again later."), 503
