"""Processes that die on purpose: one process that has imported everything forks a child for each life."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

_NURSERY = """
import os, sys
PROGRAM
print("ready", flush=True)
for line in sys.stdin:
    child = os.fork()
    if child == 0:
        try:
            live(*line.rstrip("\\n").split("\\t"))
        except BaseException:
            import traceback
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""
_WORK = """
import signal
from datetime import UTC, datetime, timedelta
from pathlib import Path
from logbook.background import compute
from logbook.engine import interlace, rasterfile
from logbook.faults import fault
from logbook.records import files
from logbook.records.database import Database
from logbook.records.opened import Shop
from logbook.settings import Settings
SABOTAGE
def live(data, run_id, wish, late):
    settings = Settings(data=Path(data))
    shop = Shop(settings, Database(settings.place), files.FileStore(settings.files_path))
    if wish.startswith("alarm:"):
        signal.setitimer(signal.ITIMER_REAL, float(wish[6:]))  # nobody handles it: the process ends at once
    elif wish:
        os.environ["LOGBOOK_FAULT"] = wish
    clock = lambda: datetime.now(UTC) + timedelta(seconds=int(late))
    compute.work_on(shop, int(run_id), clock=clock)
"""


class Nursery:
    """Children one after the other; each lives with words of its own."""

    def __init__(self, process: Any) -> None:
        self._process = process

    def one(self, *words: object) -> int:
        """Let one child live; how it ended (negative: the signal that it died of)."""
        self._process.stdin.write("\t".join(map(str, words)) + "\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())


class Lives(Nursery):
    """Workers one after the other, each with a fault of its own or none."""

    def work(self, data: Path, run_id: int, fault: str = "", *, late: int = 0) -> int:
        """Work on a run with ``LOGBOOK_FAULT`` set, or until ``alarm:SECONDS``, by a clock that is ``late`` seconds
        ahead.
        """
        return self.one(data, run_id, fault, late)


@contextmanager
def nursery(program: str, kind: type[Nursery] = Nursery) -> Iterator[Any]:
    """The process that forks; the program defines ``live(*words)`` and makes its imports once."""
    whole = _NURSERY.replace("PROGRAM", program)
    with subprocess.Popen(
        [sys.executable, "-c", whole], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        text=True, env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[1])},
    ) as process:  # fmt: skip
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n", "the program did not start"
        yield kind(process)
        process.stdin.close()


@contextmanager
def lives(sabotage: str = "") -> Iterator[Lives]:
    """Workers; ``sabotage`` is Python that breaks something of the program in every one."""
    with nursery(_WORK.replace("SABOTAGE", sabotage), Lives) as made:
        yield made
