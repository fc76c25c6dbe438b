"""The requirements of OWASP ASVS 5.0 that this project answers for, read from requirements.csv beside this file.

The wording is our own and from memory, and so are the section numbers: look the
standard up before quoting either. A verdict is ``met`` (a test shows it),
``by design`` or ``does not apply`` (a reason says why), ``not reviewed`` for
rows above level 1 that nobody looked at, and ``open``, which no row of level 1
may be.
"""

import csv
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
VERDICTS = ("met", "by design", "does not apply", "not reviewed", "open")


class Requirement(NamedTuple):
    """One row of the file."""

    number: str
    level: str
    asked: str
    verdict: str
    shown_by: str
    """A test as ``path::name``, or the reason."""


def requirements() -> list[Requirement]:
    """Every row, in the order of the file."""
    with (Path(__file__).parent / "requirements.csv").open(encoding="utf-8", newline="") as file:
        return [Requirement(**row) for row in csv.DictReader(file)]


def fault(row: Requirement) -> str:
    """What is wrong with a row; empty when nothing is."""
    if row.verdict not in VERDICTS:
        return f"{row.number}: the verdict {row.verdict!r} is not known"
    if row.verdict == "open" or (row.level == "1" and row.verdict == "not reviewed"):
        return f"{row.number} is {row.verdict}: {row.asked}"
    if row.verdict == "met" and not _is_there(row.shown_by):
        return f"{row.number}: there is no test {row.shown_by}"
    return "" if row.shown_by.strip() or row.verdict == "not reviewed" else f"{row.number}: neither test nor reason"


def _is_there(test: str) -> bool:
    path, _, name = test.partition("::")
    found = ROOT / path
    return found.is_file() and bool(name) and f"def {name}(" in found.read_text(encoding="utf-8")
