"""Rows tried one after the other, or as many at once as the machine has processors; what is timed has it alone."""

import os
import resource
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context, util

from promised.ground import Ground
from promised.rows import TABLE, Judged, Row, Tally, judge

LONGEST = ("A7", "S2", "R1", "R3", "R7", "A12", "A9", "R10")
"""Begun first, so that none of them is left for the end."""
Found = tuple[str, Tally, Tally | None, str]


def tried(rows: Sequence[Row], found: Callable[[], Ground], at_once: bool) -> Iterator[tuple[Judged, str]]:
    """Every row judged, in its order, and what it took."""
    together = [row for row in rows if not row.timed] if at_once else []
    first = sorted(together, key=lambda row: LONGEST.index(row.id) if row.id in LONGEST else len(LONGEST))
    with ProcessPoolExecutor(os.cpu_count(), get_context("fork"), _Here.begin, (found,)) as others:
        waiting = {row.id: others.submit(_Here.judged, row.id) for row in first}
        for row in together:
            yield _told(waiting[row.id].result())
    _Here.begin(found)
    for row in rows:
        if row not in together:
            yield _told(_Here.judged(row.id))
    _Here.ground.close()


def _told(found: Found) -> tuple[Judged, str]:
    name, told, twin, took = found
    return Judged(TABLE.rows[name], told, twin), took


class _Here:
    """The ground of this process, one for all rows that it tries."""

    ground: Ground

    @classmethod
    def begin(cls, found: Callable[[], Ground]) -> None:
        cls.ground = found()
        util.Finalize(None, cls.ground.close, exitpriority=10)  # processes of a pool end without their atexit

    @classmethod
    def judged(cls, name: str) -> Found:
        row, began, worked = TABLE.rows[name], time.monotonic(), _processor()
        told, twin = _safely(row, cls.ground)
        return name, told, twin, f"{time.monotonic() - began:.1f} s, {_processor() - worked:.1f} s of processor"


def _safely(row: Row, ground: Ground) -> tuple[Tally, Tally | None]:
    try:
        judged = judge(row, ground)
    except Exception as error:  # a trial that breaks is a promise that is not kept
        traceback.print_exc()
        return Tally(1, 1, first=repr(error)), None
    return judged.told, judged.twin


def _processor() -> float:
    """Seconds of processor of this process and of the children that it waited for."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)
