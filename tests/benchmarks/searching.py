"""How long the search box takes in a shop of ten years: python tests/benchmarks/searching.py

Fills a database with orders, jobs, sheets and prints by plain SQL (the triggers index them), then asks for names,
notes, serials and last characters, and prints the middle and the 95th percentile of each kind of question: as the
clock saw it, and of the processor alone, which other programs do not make longer.
"""

import argparse
import random
import sqlite3
import statistics
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from logbook.actions import search  # noqa: E402 - the folder is put in the way first
from support.small_shop import SmallShop, small_shop  # noqa: E402

DAY = "2020-01-01T00:00:00+00:00"
FIRST = [
    "Álvar",
    "Brída",
    "Cosmin",
    "Dörte",
    "Élan",
    "Fenja",
    "Gústav",
    "Hélie",
    "Ivo",
    "Jörn",
    "Kåre",
    "Límar",
    "Mirèle",
    "Nóri",
    "Odél",
    "Pétra",
    "Rún",
    "Sölve",
]
LAST = [
    "Quillon",
    "Pellworm",
    "Brodersen",
    "Tidewater",
    "Sextant",
    "Okafor",
    "Marsh",
    "Inlet",
    "Dune",
    "Groyne",
    "Fathom",
    "Skerry",
    "Heron",
    "Plover",
]
THINGS = [
    "lighthouse",
    "harbour",
    "kite",
    "moon",
    "fox",
    "watch",
    "gull",
    "heron",
    "wave",
    "dune",
    "ferry",
    "anchor",
    "lantern",
    "skiff",
]


def fill(path: Path, jobs: int, chance: random.Random) -> None:
    """As many orders as jobs, one sheet and one print each, and one customer for every five."""
    connection = sqlite3.connect(path, isolation_level=None)
    for pragma in ("recursive_triggers = ON", "synchronous = OFF", "journal_mode = MEMORY"):
        connection.execute(f"PRAGMA {pragma}")
    connection.execute("BEGIN")
    lot = connection.execute("SELECT id FROM lot").fetchone()[0]
    steps = connection.execute("SELECT id FROM step_list_revision").fetchone()[0]
    for number in range(1, jobs + 1):
        if number % 5 == 1:
            name = f"{chance.choice(FIRST)} {chance.choice(LAST)} {number // 5}"
            customer = connection.execute(
                "INSERT INTO customer (code, name, contact) VALUES (?, ?, ?)", (f"C{number:07}", name, f"Quay {number}")
            ).lastrowid
        _one(connection, number, customer, lot, steps, chance)
    for number in range(400):
        connection.execute(
            f"INSERT INTO lot (code, material_id, label, place, received_at) VALUES (?, 1, ?, 'rack', '{DAY}')",
            (f"L{number:07}", f"R{chance.choice((20, 40, 60))}-{chance.randrange(10**6):06}"),
        )
    connection.execute("COMMIT")
    connection.close()


def _one(
    connection: sqlite3.Connection, number: int, customer: int | None, lot: int, steps: int, chance: random.Random
) -> None:
    name, code = f"{16 + number // 10000}-{number % 10000:04}", f"{number:07}"
    artwork = f"{chance.choice(THINGS)} {chance.choice(THINGS)}"
    order = connection.execute(
        "INSERT INTO order_ (code, number, customer_id, placed_at, note, closed_at) VALUES (?, ?, ?, "
        f" '{DAY}', ?, '{DAY}')",
        (f"O{code}", name, customer, f"for the {chance.choice(THINGS)} room"),
    ).lastrowid
    job = connection.execute(
        "INSERT INTO job (code, order_id, number, kind, artwork, flip, width, height, bleed, distance, use, fit,"
        " quantity, started_at, ended_at, step_list_id) VALUES (?, ?, ?, 'print', ?, 'left-right', '1in', '1in', '5mm',"
        f" '1m', 'wall', 'crop', 1, '{DAY}', '{DAY}', ?)",
        (f"J{code}", order, f"{name}-A", artwork, steps),
    ).lastrowid
    sheet = connection.execute(
        f"INSERT INTO sheet (code, number, lens_lot_id, stage, started_at) VALUES (?, ?, ?, 'parted', '{DAY}')",
        (f"S{code}", f"{name}-A-S1", lot),
    ).lastrowid
    connection.execute(
        "INSERT INTO print (code, serial, job_id, sheet_id, sample, stage) VALUES (?, ?, ?, ?, 0, 'gone')",
        (f"P{code}", f"{name}-A1", job, sheet),
    )


def questions(jobs: int, chance: random.Random) -> dict[str, list[str]]:
    """What people type, by kind of question."""

    def number() -> str:
        one = chance.randrange(1, jobs)
        return f"{16 + one // 10000}-{one % 10000:04}"

    plain = str.maketrans("ÁáÄäÅåÉéÈèÍíÓóÖöÚúÜü", "AaAaAaEeEeIiOoOoUuUu")
    return {
        "a first name without its accents": [chance.choice(FIRST).translate(plain) for _ in range(60)],
        "a whole name": [f"{chance.choice(FIRST)} {chance.choice(LAST)}" for _ in range(60)],
        "a customer's word and the job's": [f"{chance.choice(LAST)} {chance.choice(THINGS)}" for _ in range(60)],
        "the beginnings of both": [f"{chance.choice(LAST)[:3]} {chance.choice(THINGS)[:3]}" for _ in range(60)],
        "a first name and an order's number": [f"{chance.choice(FIRST)} {number()}" for _ in range(60)],
        "an artwork": [chance.choice(THINGS) for _ in range(60)],
        "the beginning of an artwork": [chance.choice(THINGS)[:3] for _ in range(60)],
        "an order's number": [number() for _ in range(60)],
        "a whole serial": [f"{number()}-A1" for _ in range(60)],
        "three last characters": [f"{chance.randrange(1000):03}" for _ in range(60)],
        "two letters": [chance.choice(THINGS)[:2] for _ in range(60)],
    }


def measure(shop: SmallShop, asked: list[str]) -> list[tuple[float, float]]:
    """Milliseconds of each question by the clock and of the processor, in a reading transaction of its own."""
    spent = []
    for words in asked:
        begun, worked = time.perf_counter(), time.process_time()
        with shop.shop.database.reading() as session:
            search.seek(session, words)
        spent.append((1000 * (time.perf_counter() - begun), 1000 * (time.process_time() - worked)))
    return spent


def main() -> None:
    """Fill, ask, print."""
    parser = argparse.ArgumentParser(description="Measure the search box.")
    parser.add_argument("--jobs", type=int, default=100_000)
    jobs = parser.parse_args().jobs
    chance = random.Random(8704)
    with tempfile.TemporaryDirectory() as name:
        shop = small_shop(Path(name) / "data")
        shop.order()
        begun = time.perf_counter()
        fill(shop.shop.settings.database_path, jobs, chance)
        print(f"{jobs} jobs written and indexed in {time.perf_counter() - begun:.0f} s")
        every: list[tuple[float, float]] = []
        measure(shop, ["warm up"])
        for words, asked in questions(jobs, chance).items():
            spent = measure(shop, asked)
            every += spent
            print(f"{words}: {_told(spent)}")
        print(f"all: {_told(every)} (goal: p95 50 ms)")
        shop.shop.database.close()


def _told(spent: list[tuple[float, float]]) -> str:
    clock, work = ([one[which] for one in spent] for which in (0, 1))
    return f"median {statistics.median(clock):.1f} ms, p95 {_p95(clock):.1f} ms; processor p95 {_p95(work):.1f} ms"


def _p95(spent: list[float]) -> float:
    return statistics.quantiles(spent, n=20)[-1]


if __name__ == "__main__":
    main()
