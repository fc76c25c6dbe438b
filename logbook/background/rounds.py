"""What the worker's threads share: looking again and again for work."""

import logging
import threading
import time
from collections.abc import Callable

SAID_AGAIN_SECONDS = 3600


class Rounds:
    """One kind of work and what was last said of its trouble: a folder that takes no writes must not fill a log."""

    def __init__(self, log: logging.Logger, name: str, work: Callable[[], object]) -> None:
        self._log, self._name, self._work = log, name, work
        self._said, self._said_at = "", 0.0

    def once(self) -> None:
        """One round; whatever goes wrong, the next one tries again."""
        try:
            self._work()
        except Exception as error:
            trouble, now = f"{type(error).__name__}: {error}", time.monotonic()
            if trouble != self._said or now - self._said_at >= SAID_AGAIN_SECONDS:
                self._said, self._said_at = trouble, now
                self._log.exception("%s; tried again and again, said once an hour", self._name)
        else:
            self._said = ""

    def forever(self, seconds: float) -> None:
        """Round after round, so many seconds apart."""
        pause = threading.Event()
        while True:
            self.once()
            pause.wait(seconds)
