"""A worker that dies at a point: one process that has imported everything forks a child for each life."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

_LIVES = """
import os, sys
from pathlib import Path
from logbook.background import compute
from logbook.engine import interlace, rasterfile
from logbook.records import files
from logbook.records.opened import open_shop
from logbook.settings import Settings
{sabotage}
def live(data, run_id, fault, late):
    os.environ["LOGBOOK_FAULT"] = fault
    if not fault:
        del os.environ["LOGBOOK_FAULT"]
    from datetime import UTC, datetime, timedelta
    clock = lambda: datetime.now(UTC) + timedelta(seconds=int(late))
    shop = open_shop(Settings(data=Path(data)))
    try:
        compute.work_on(shop, int(run_id), clock=clock)
    finally:
        shop.database.close()
print("ready", flush=True)
for line in sys.stdin:
    child = os.fork()
    if child == 0:
        live(*line.rstrip("\\n").split("\\t"))
        os._exit(0)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


class Lives:
    """Workers one after the other, each with a fault of its own or none."""

    def __init__(self, process: Any) -> None:
        self._process = process

    def one(self, data: Path, run_id: int, fault: str = "", *, late: int = 0) -> int:
        """Work on a run with ``LOGBOOK_FAULT`` set, by a clock that is ``late`` seconds ahead; how it ended."""
        self._process.stdin.write(f"{data}\t{run_id}\t{fault}\t{late}\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())


@contextmanager
def lives(sabotage: str = "") -> Iterator[Lives]:
    """The process that forks; ``sabotage`` is Python that breaks something of the program in every life."""
    program = _LIVES.replace("{sabotage}", sabotage)
    with subprocess.Popen(
        [sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        text=True,
    ) as process:  # fmt: skip
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n", "the program did not start"
        yield Lives(process)
        process.stdin.close()
