"""The way back from a machine's or a pitch's page to the work that somebody came from."""

import re
from contextlib import suppress
from dataclasses import dataclass
from urllib.parse import urlencode

from flask import request
from werkzeug.exceptions import HTTPException

FIELD = "from"
_PLACES = {"sheet": "the sheet", "print": "the print", "job": "the job", "run": "the run"}
_PARTS = {"pitch": "the pitches for ", "ghosting": "the ghosting of "}
_WORK = re.compile(r"/(sheet|print|job|run)/[A-Z0-9]{8}(?:/(pitch|ghosting))?")
_NEW_TEST = "/pitch/new"
_BEGUN = re.compile(rf"{_NEW_TEST}\?[\w=&%.-]+")
_CHOSEN = ("lens_lot", "mode", "paper", "axis", FIELD)
_AWAY = re.compile(r"/(?:machines?|pitch|leaks|leak-sheet)(?:/|$)")


@dataclass(frozen=True, slots=True)
class WayBack:
    """Where somebody came from, an address of this logbook, and what it is called."""

    address: str
    words: str


def way_back() -> WayBack | None:
    """Where the request says that it came from; None where that is no sheet, print, job or run of this logbook."""
    if not _AWAY.match(request.path):
        return None
    told = request.args.get(FIELD) or ""
    with suppress(HTTPException):  # a request that was turned away unread has no fields
        told = request.form.get(FIELD) or told
    if _BEGUN.fullmatch(told) and request.path != _NEW_TEST:
        return WayBack(told, "the new pitch test")
    match = _WORK.fullmatch(told)
    return WayBack(told, _PARTS.get(match[2], "") + _PLACES[match[1]]) if match else None


def from_here() -> dict[str, str]:
    """What a link to a machine or a pitch carries, so that its page knows the way back; handed on from page to page."""
    if request.path == _NEW_TEST:
        return {FIELD: f"{_NEW_TEST}?{urlencode(_chosen())}"}
    if back := way_back():
        return {FIELD: back.address}
    here = _WORK.match(request.path)
    return {FIELD: here[0]} if here else {}


def _chosen() -> dict[str, str]:
    """What was chosen so far for a test that is being begun, and where it came from."""
    return {name: request.values[name] for name in _CHOSEN if request.values.get(name)}


def keeping_the_way(target: str) -> str:
    """An address to go on to, with the way back where it leads to another such page."""
    back = way_back()
    if back is None or not _AWAY.match(target) or "?" in target:
        return target
    path, mark, part = target.partition("#")
    return f"{path}?{urlencode({FIELD: back.address})}{mark}{part}"
