"""Faults on purpose: points at which a test makes the program die, fail or stand still. Off unless asked for.

``LOGBOOK_FAULT=name:n:kind`` acts at the n-th time that the point ``name`` is
passed, once in a process: ``kill`` (as the power going), ``enospc`` and ``eio``
(a full or failing disk), ``sleep`` (ten minutes, for somebody who kills from
outside). Never set it where anybody works.
"""

import errno
import os
import signal
import threading
import time

VARIABLE = "LOGBOOK_FAULT"
SLEEP_SECONDS = 600
OF_A_RUN = ("claimed", "computing", "writing", "synced", "renamed", "folder-synced", "recording", "recorded")
"""The points that one interlace run passes, in this order; the three in the middle are those of every kept file."""

_lock = threading.Lock()
_passed: dict[str, int] = {}


def fault(name: str) -> None:
    """Pass a point. Raises OSError where a disk fault is asked for, ValueError for a wish that is none."""
    wanted = os.environ.get(VARIABLE)
    if wanted is None:
        return
    point, number, kind = _read(wanted)
    if point == name and _count(name) == number:
        _act(kind)


def _read(wanted: str) -> tuple[str, int, str]:
    point, _, rest = wanted.partition(":")
    number, _, kind = rest.partition(":")
    if not number.isdigit() or kind not in ("kill", "enospc", "eio", "sleep"):
        raise ValueError(f"{VARIABLE} is {wanted!r}; it must be name:n:kill, enospc, eio or sleep.")
    return point, int(number), kind


def _count(name: str) -> int:
    with _lock:
        _passed[name] = _passed.get(name, 0) + 1
        return _passed[name]


def _act(kind: str) -> None:
    if kind == "kill":
        os.kill(os.getpid(), signal.SIGKILL)
    elif kind == "sleep":
        time.sleep(SLEEP_SECONDS)
    else:
        number = getattr(errno, kind.upper())
        raise OSError(number, os.strerror(number))
