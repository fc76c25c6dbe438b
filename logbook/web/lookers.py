"""Who signed in while the shop takes no writes: known to the server alone, until the shop takes writes again.

Without this nobody could look at a folder that is read-only, which is what it is still there for.
"""

import secrets
import time
from datetime import datetime

from flask import current_app
from itsdangerous import BadSignature, URLSafeSerializer

from logbook.actions.people import LONGEST, token_hash
from logbook.refusals import Refused
from logbook.web.common import Common
from logbook.web.condition import condition
from logbook.web.slowdown import Slowdown

_TRIES, _TRIES_EACH_SECOND = 5, 0.05


class Lookers:
    """Tokens that tell their person and the moment, signed; and what slows down whoever guesses."""

    def __init__(self, common: Common) -> None:
        self._common, self._signed = common, URLSafeSerializer(common.key, salt="only to look")
        self._slowdown = Slowdown(time.monotonic, purse=_TRIES, each_second=_TRIES_EACH_SECOND)

    def pay(self, keys: list[str]) -> None:
        """One try for each name or address; Refused with the seconds to wait when there were too many."""
        wait = max(self._slowdown.take(key, 1) for key in keys)
        if wait:
            raise Refused(f"Too many tries; wait {wait} seconds and try again.")

    def begin(self, person_id: int, now: datetime) -> str:
        """The token of somebody whose password was right."""
        token = self._signed.dumps([person_id, now.isoformat(), secrets.token_hex(8)])
        return token if isinstance(token, str) else token.decode()

    def who(self, token: str, now: datetime) -> int | None:
        """The person of a token; None for an unknown or old one, and as soon as the shop takes writes again."""
        if not condition().words or (told := self._told(token)) is None:
            return None
        person_id, since = told
        return person_id if now - since <= LONGEST and not self._common.has_ended(token_hash(token)) else None

    def end(self, token: str) -> bool:
        """Let a token serve no more; whether it was one of these."""
        if self._told(token) is None:
            return False
        self._common.end(token_hash(token))
        return True

    def _told(self, token: str) -> tuple[int, datetime] | None:
        try:
            person_id, since, _ = self._signed.loads(token)
        except BadSignature:
            return None
        return int(person_id), datetime.fromisoformat(since)


def lookers() -> Lookers:
    """Those of the running app."""
    kept: Lookers = current_app.extensions["lookers"]
    return kept
