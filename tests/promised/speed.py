"""Figures, never a reason for red: L1 to L6; and Q1, Q2, which other programs measure."""

import os
import shutil
import time
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from flask import Flask

from logbook.actions import verifying
from logbook.paper.traveller import traveller_html
from logbook.paper.writer import PdfWriter
from logbook.records.opened import Shop, open_shop
from logbook.settings import Settings
from promised.ground import Ground
from promised.rows import TABLE, Tally
from support.example_papers import PICTURES, traveller

NEEDS_YEARS = "needs the ten-year shop and a calm machine: tests/promises --full --years FOLDER"


@contextmanager
def _years(ground: Ground, tally: Tally):
    """The ten-year shop, or the reason why there is none."""
    if not (ground.full and ground.years):
        tally.reason = NEEDS_YEARS
        yield None
        return
    shop = open_shop(Settings(data=ground.years))
    try:
        yield shop
    finally:
        shop.database.close()


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


LOADS = {
    "L1": ("10 people, 20 requests a second, ten-year shop", "p50 ≤ 25, p95 ≤ 80, p99 ≤ 200 ms", (10, 20)),
    "L2": ("50 people, 100 requests a second", "p95 ≤ 150, p99 ≤ 400 ms, 0 errors", (50, 100)),
    "L3": ("Saturation", "≥ 120 requests a second, 0 answers of 5xx", (16, 0)),
    "L4": ("Sign-off at the load of L2", "p95 ≤ 150 ms", (50, 100)),
}


def _load(name: str):
    def measure(ground: Ground, tally: Tally, count: int) -> None:
        with _years(ground, tally) as shop:
            if shop is None:
                return
            from benchmarks.load import under_load

            people, rate = LOADS[name][2]
            told = under_load(Path(str(ground.years)), people=people, rate=rate, seconds=count, bare=name == "L3")
            chosen = told.writes if name == "L4" else told.all
            tally.trials, tally.failures = len(told.all), told.errors
            tally.figure = (
                f"{told.rate:.0f} requests a second, p50 {median(chosen):.0f}, p95 {part(chosen, 0.95):.0f}, "
                f"p99 {part(chosen, 0.99):.0f} ms, {told.errors} errors, load {os.getloadavg()[0]:.1f}"
            )
            if told.bare_rate:
                ratio = told.bare_rate / told.rate
                tally.figure += f"; a bare Flask page {told.bare_rate:.0f} a second ({ratio:.1f} ×)"

    return measure


for _name, (_promise, _goal, _) in LOADS.items():
    TABLE.row(_name, _promise, _goal, quick=1, full=30, timed=True)(_load(_name))


@TABLE.row(
    "L5", "Traveller PDF, 2 pages, QR, pictures", "p95 ≤ 1.0 s, median ≤ 0.5 s", quick=2, full=40, timed=True
)
def traveller_pdf(_ground: Ground, tally: Tally, count: int) -> None:
    """Drawn by the warm child, one after the other; against a bare page."""
    with PdfWriter(seconds=120) as writer:
        work = lambda: writer.pdf(traveller_html(traveller()), PICTURES)  # noqa: E731 - said twice
        work()
        took = [_took(work) for _ in range(count)]
    tally.trials = count
    middle = median(took)
    tally.figure = f"median {middle:.0f} ms, p95 {part(took, 0.95):.0f} ms, {middle / bare_ms():.0f} bare Flask pages"


@TABLE.row("L6", "verify over 1M entries; backup without pictures", "≤ 15 s; ≤ 10 s", timed=True)
def verified_and_backed_up(ground: Ground, tally: Tally, _count: int) -> None:
    """The whole command's work; the backup of a shop whose pictures are let go is its database and little else."""
    with _years(ground, tally) as shop:
        if shop is None:
            return
        told: dict = {}
        took = _took(lambda: told.update(verifying.verify(shop.database, shop.store))) / 1000
        backup = _backed_up(ground, shop)
        tally.trials, tally.failures = 2, 0 if told["sound"] else 1
        size = shop.settings.database_path.stat().st_size / 1e6
        tally.figure = f"{told['entries']} entries in {took:.1f} s; backup {backup:.1f} s ({size:.0f} MB of database)"


def _backed_up(ground: Ground, shop: Shop) -> float:
    from logbook.records.backup import BackupWish, back_up

    with ground.folder() as folder:
        took = _took(lambda: back_up(shop, BackupWish(folder), now=datetime.now(UTC))) / 1000
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
    return took


TABLE.not_measured(
    "Q1", "Branch coverage of engine and rules, each uncovered branch explained; of everything", "≥ 95 %; ≥ 90 %",
    "a run of every test, sixteen minutes: tests/run --cov",
)  # fmt: skip
TABLE.not_measured(
    "Q2", "Mutants killed in pitch, phase and verify", "≥ 85 %, survivors explained",
    "no tool of the tests makes mutants of the program's text",
)  # fmt: skip
