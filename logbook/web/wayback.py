"""The way back from a machine's or a pitch's page to the work that somebody came from."""

import re
from contextlib import suppress
from dataclasses import dataclass
from urllib.parse import urlencode

from flask import request
from werkzeug.exceptions import HTTPException

FIELD = "from"
_PLACES = {"sheet": "the sheet", "print": "the print", "job": "the job", "run": "the run"}
_WORK = re.compile(r"/(sheet|print|job|run)/[A-Z0-9]{8}(?:/pitch)?")
_AWAY = re.compile(r"/(?:machines?|pitch)(?:/|$)")


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
    match = _WORK.fullmatch(told)
    if match is None:
        return None
    words = f"the pitches for {_PLACES[match[1]]}" if told.endswith("/pitch") else _PLACES[match[1]]
    return WayBack(told, words)


def from_here() -> dict[str, str]:
    """What a link to a machine or a pitch carries, so that its page knows the way back; handed on from page to page."""
    back = way_back()
    here = _WORK.match(back.address if back else request.path)
    return {FIELD: here[0]} if here else {}


def keeping_the_way(target: str) -> str:
    """An address to go on to, with the way back where it leads to another such page."""
    back = way_back()
    if back is None or not _AWAY.match(target) or "?" in target:
        return target
    path, mark, part = target.partition("#")
    return f"{path}?{urlencode({FIELD: back.address})}{mark}{part}"
