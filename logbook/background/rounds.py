"""What the worker's threads share: looking again and again for work."""

import logging
import threading
import time
from collections.abc import Callable

SAID_AGAIN_SECONDS = 3600


class SaidOnceAnHour(logging.Filter):
    """Lets a library say of the same trouble as often as we do: a server that is down must not fill a log either."""

    def __init__(self) -> None:
        super().__init__()
        self._said_at: dict[str, float] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether this was not said within the hour."""
        told, now = record.getMessage(), time.monotonic()
        if told in self._said_at and now - self._said_at[told] < SAID_AGAIN_SECONDS:
            return False
        self._said_at[told] = now
        return True


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
