"""Prints the table: ``python -m promised [--full] [--years FOLDER] [ID ...]``; ends with 1 when a row is red."""

import argparse
import logging
import os
import platform
import sqlite3
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from promised import everything
from promised.ground import Ground
from promised.printing import HEAD, closing, line
from promised.trying import tried


def main() -> int:
    """Try every row that was asked for."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--full", action="store_true")
    words.add_argument("--part", type=float, default=1, help="with --full: only this part of its trials")
    words.add_argument("--years", type=Path, help="a folder that tests/ten_years/grow.py filled; for the timed rows")
    words.add_argument("--times", action="store_true", help="print what each row took")
    words.add_argument("ids", nargs="*")
    asked = words.parse_args()
    began = time.monotonic()
    _forget_the_shell()
    logging.getLogger().addHandler(logging.NullHandler())  # what trials provoke is counted, not printed
    print(_machine(), HEAD, sep="\n", flush=True)
    judged = []
    for one, took in tried(everything.rows(asked.ids), lambda: Ground(asked.full, asked.years, asked.part), asked.full):
        judged.append(one)
        print(line(one) + (f"  [{took}]" if asked.times else ""), flush=True)
    print(closing(judged))
    print(f"{(time.monotonic() - began) / 60:.0f} minutes")
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


if __name__ == "__main__":
    sys.exit(main())
