"""Who signed in while the shop takes no writes: known to this process alone, until the shop takes writes again.

Without this nobody could look at a folder that is read-only, which is what it is still there for.
"""

import secrets
import time
from datetime import datetime

from flask import current_app

from logbook.actions.people import LONGEST, token_hash
from logbook.refusals import Refused
from logbook.web.condition import condition
from logbook.web.slowdown import Slowdown

_TRIES, _TRIES_EACH_SECOND = 5, 0.05


class Lookers:
    """Tokens as hashes, each with its person and the moment; and what slows down whoever guesses."""

    def __init__(self) -> None:
        self._known: dict[str, tuple[int, datetime]] = {}
        self._slowdown = Slowdown(time.monotonic, purse=_TRIES, each_second=_TRIES_EACH_SECOND)

    def pay(self, keys: list[str]) -> None:
        """One try for each name or address; Refused with the seconds to wait when there were too many."""
        wait = max(self._slowdown.take(key, 1) for key in keys)
        if wait:
            raise Refused(f"Too many tries; wait {wait} seconds and try again.")

    def begin(self, person_id: int, now: datetime) -> str:
        """The token of somebody whose password was right."""
        token = secrets.token_urlsafe(32)
        self._known[token_hash(token)] = person_id, now
        return token

    def who(self, token: str, now: datetime) -> int | None:
        """The person of a token; None for an unknown or old one, and as soon as the shop takes writes again."""
        person_id, since = self._known.get(token_hash(token), (None, now))
        return person_id if person_id is not None and condition().words and now - since <= LONGEST else None

    def end(self, token: str) -> bool:
        """Forget a token; whether it was known here."""
        return self._known.pop(token_hash(token), None) is not None


def lookers() -> Lookers:
    """Those of the running app."""
    kept: Lookers = current_app.extensions["lookers"]
    return kept
