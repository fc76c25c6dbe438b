"""Prints the table: ``python -m promised [--full] [--years FOLDER] [ID ...]``; ends with 1 when a row is red."""

import argparse
import logging
import os
import platform
import sqlite3
import sys
import time
import traceback
from datetime import UTC, datetime
from pathlib import Path

from promised import everything
from promised.ground import Ground
from promised.printing import HEAD, closing, line
from promised.rows import Judged, Row, Tally, judge


def main() -> int:
    """Try every row that was asked for."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--full", action="store_true")
    words.add_argument("--part", type=float, default=1, help="with --full: only this part of its trials")
    words.add_argument("--years", type=Path, help="a folder that tests/ten_years/grow.py filled; for the timed rows")
    words.add_argument("--times", action="store_true", help="print what each row took")
    words.add_argument("ids", nargs="*")
    asked = words.parse_args()
    _forget_the_shell()
    logging.getLogger().addHandler(logging.NullHandler())  # what trials provoke is counted, not printed
    print(_machine(), HEAD, sep="\n", flush=True)
    ground, judged = Ground(full=asked.full, years=asked.years, part=asked.part), []
    try:
        for row in everything.rows(asked.ids):
            began = time.monotonic()
            judged.append(_safely(row, ground))
            took = f"  [{time.monotonic() - began:.1f} s]" if asked.times else ""
            print(line(judged[-1]) + took, flush=True)
    finally:
        ground.close()
    print(closing(judged))
    return 1 if any(one.red for one in judged) else 0


def _forget_the_shell() -> None:
    for name in [name for name in os.environ if name.startswith("LOGBOOK_")]:
        del os.environ[name]


def _machine() -> str:
    load = os.getloadavg()[0]
    return (
        f"{datetime.now(UTC):%Y-%m-%d}, {platform.machine()}, {os.cpu_count()} processors, load {load:.1f}, Python "
        f"{platform.python_version()}, SQLite {sqlite3.sqlite_version}"
    )


def _safely(row: Row, ground: Ground) -> Judged:
    try:
        return judge(row, ground)
    except Exception as error:  # a trial that breaks is a promise that is not kept
        traceback.print_exc()
        return Judged(row, Tally(1, 1, first=repr(error)), None)


if __name__ == "__main__":
    sys.exit(main())
