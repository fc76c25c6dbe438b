"""Figures, never a reason for red unless their twins are as good: L1 to L6."""

import json
import subprocess
import sys
import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pypdfium2
from flask import Flask

from benchmarks.load import under_load
from logbook.paper.traveller import Traveller, traveller_html
from logbook.paper.writer import PdfWriter
from logbook.records import audit
from logbook.records.backup import BackupWish, back_up
from logbook.records.opened import Shop, open_shop
from logbook.settings import Settings
from promised.ground import Ground, patched, saboteur
from promised.rows import TABLE, Tally
from support.example_papers import PICTURES, traveller

NEEDS_YEARS = "needs the ten-year shop and a calm machine: tests/promises --full --years FOLDER"


def bare_ms() -> float:
    """Median of a Flask page that answers with a word, in milliseconds."""
    app = Flask("bare")
    app.add_url_rule("/", "word", lambda: "word")
    client = app.test_client()
    return median([_took(lambda: client.get("/")) for _ in range(200)])


def _took(work) -> float:
    began = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - began)


def median(values: list[float]) -> float:
    """The middle one."""
    return sorted(values)[len(values) // 2]


def part(values: list[float], share: float) -> float:
    """The value that so large a share of them does not exceed."""
    return sorted(values)[min(len(values) - 1, int(len(values) * share))]


SLOW = """
import time, flask
_real = flask.Flask.full_dispatch_request
def _slow(self):
    time.sleep(0.5)
    return _real(self)
flask.Flask.full_dispatch_request = _slow
"""


@dataclass(frozen=True)
class Load:
    """How many people ask how often in all (0: as fast as answers come), and what is hoped for."""

    promise: str
    goal: str
    people: int
    rate: int
    p50: float = float("inf")
    p95: float = float("inf")
    p99: float = float("inf")
    least: float = 0.0


LOADS = {
    "L1": Load("10 people, 20 requests a second, ten-year shop", "p50 ≤ 25, p95 ≤ 80, p99 ≤ 200 ms", 10, 20,
               25, 80, 200),
    "L2": Load("50 people, 100 requests a second", "p95 ≤ 150, p99 ≤ 400 ms, 0 errors", 50, 100, p95=150, p99=400),
    "L3": Load("Saturation", "≥ 120 requests a second, 0 answers of 5xx", 16, 0, least=120),
    "L4": Load("Sign-off at the load of L2", "p95 ≤ 150 ms", 50, 100, p95=150),
}  # fmt: skip


def _load(name: str):
    wish = LOADS[name]

    def measure(ground: Ground, tally: Tally, count: int) -> None:
        if not (ground.full and ground.years):
            tally.reason = NEEDS_YEARS
            return
        bare = name == "L3" and not ground.sabotage
        told = under_load(
            ground.years, people=wish.people, rate=wish.rate, seconds=count, bare=bare, sabotage=ground.sabotage
        )
        chosen = told.writes if name == "L4" else told.all
        p50, p95, p99 = (part(chosen, share) for share in (0.5, 0.95, 0.99))
        tally.trials, tally.failures = len(chosen), told.errors
        quick = p50 <= wish.p50 and p95 <= wish.p95 and p99 <= wish.p99
        tally.met = quick and told.rate >= wish.least and not told.errors
        tally.figure = (
            f"{told.rate:.0f} requests a second, p50 {p50:.0f}, p95 {p95:.0f}, p99 {p99:.0f} ms, {told.errors} errors"
        )
        if told.bare_rate:
            ratio = told.bare_rate / told.rate
            tally.figure += f"; a bare Flask page {told.bare_rate:.0f} a second ({ratio:.1f} ×)"

    return measure


for _name, _wish in LOADS.items():
    TABLE.row(_name, _wish.promise, _wish.goal, quick=1, full=30, broken=4, twin=saboteur(SLOW), timed=True)(
        _load(_name)
    )


@TABLE.row(
    "L5", "Traveller PDF, 2 pages, QR, pictures", "p95 ≤ 1.0 s, median ≤ 0.5 s", quick=2, full=40, broken=1, timed=True,
    twin=patched(PdfWriter, "pdf", lambda *_: time.sleep(1.2)),
)  # fmt: skip
def traveller_pdf(_ground: Ground, tally: Tally, count: int) -> None:
    """Drawn by the warm child, one after the other; against a bare page, and the whole step list beside it."""
    whole = traveller()
    short = replace(whole, steps=replace(whole.steps, stages=whole.steps.stages[:TWO_PAGES]))
    with PdfWriter(seconds=120) as writer:
        pages, took = _drawn(writer, short, count)
        all_pages, longer = _drawn(writer, whole, max(1, count // 4))
    middle, most = median(took), part(took, 0.95)
    tally.trials, tally.met = count, pages == 2 and middle <= 500 and most <= 1000
    tally.figure = (
        f"{pages} pages: median {middle:.0f} ms, p95 {most:.0f} ms, {middle / bare_ms():.0f} bare Flask pages; "
        f"the whole step list, {all_pages} pages: median {median(longer):.0f} ms"
    )


TWO_PAGES = 7
"""So many stages of the step list, with their cautions, fill two pages."""


def _drawn(writer: PdfWriter, paper: Traveller, count: int) -> tuple[int, list[float]]:
    """Pages, and milliseconds of each drawing but the first."""
    work = lambda: writer.pdf(traveller_html(paper), PICTURES)  # noqa: E731 - said twice
    drawn = work()
    pages = len(pypdfium2.PdfDocument(drawn)) if drawn else 0  # its twin draws nothing
    return pages, [_took(work) for _ in range(count)]


VERIFYING = """
import sys
SABOTAGE
from logbook.command_line import main
sys.argv = ["logbook", "verify", "--json", "--data", sys.argv[1]]
main()
"""
LOOKS_AWAY = """
from logbook.actions import verifying
verifying.verify = lambda *_words, **_more: {"sound": True, "entries": 0}
"""


def _verified(ground: Ground, data: Path) -> dict[str, Any]:
    """What ``logbook verify`` says of a shop."""
    program = [sys.executable, "-c", VERIFYING.replace("SABOTAGE", ground.sabotage), data]
    return json.loads(subprocess.run(program, capture_output=True, check=True).stdout)


@TABLE.row("L6", "verify over 1M entries; backup without pictures", "≤ 15 s; ≤ 10 s", timed=True,
           twin=saboteur(LOOKS_AWAY))  # fmt: skip
def verified_and_backed_up(ground: Ground, tally: Tally, _count: int) -> None:
    """The whole command's work; the backup of a shop whose pictures are let go is its database and little else."""
    if not (ground.full and ground.years):
        tally.reason = NEEDS_YEARS
        return
    shop, told = open_shop(Settings(data=ground.years)), {}
    try:
        took = _took(lambda: told.update(_verified(ground, shop.settings.data))) / 1000
        backup = _backed_up(ground, shop)
        with shop.database.reading() as session:
            whole = audit.head(session).seq
    finally:
        shop.database.close()
    right = told["sound"] and told["entries"] == whole
    tally.trials, tally.failures = 2, 0 if right else 1
    tally.met = right and took <= 15 and backup <= 10
    size = shop.settings.database_path.stat().st_size / 1e6
    each = took / max(1e-6, told["entries"] / 1e6)
    checked = f"{told['entries']} entries in {took:.1f} s ({each:.1f} s for each million)"
    tally.figure = f"{checked}; backup {backup:.1f} s ({size:.0f} MB of database)"


def _backed_up(ground: Ground, shop: Shop) -> float:
    with ground.folder() as folder:
        return _took(lambda: back_up(shop, BackupWish(folder), now=datetime.now(UTC))) / 1000
