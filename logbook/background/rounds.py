"""What the worker's threads share: looking again and again for work, and knowing that nobody else does it."""

import fcntl
import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from logbook.records.opened import Shop

_log = logging.getLogger(__name__)


def again_and_again(work: Callable[[], object], *, every_s: float, name: str) -> None:
    """Do a round, wait, and so on for ever; a round that fails is logged, the next one tries again."""
    pause = threading.Event()
    while True:
        try:
            work()
        except Exception:
            _log.exception(name)
        pause.wait(every_s)


@contextmanager
def alone(shop: Shop, name: str) -> Iterator[bool]:
    """Whether nobody else is at this kind of work, in any process; whoever gets True has it until the end."""
    with (shop.settings.data / f"{name}.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
        else:
            yield True
