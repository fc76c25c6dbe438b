"""How fast pages are on a ten-year shop: ``python tests/benchmarks/pages.py FOLDER [--rounds 40]``.

FOLDER holds a shop made by ``tests/ten_years/grow.py``. Not part of the tests: it judges nothing, it prints a table:
milliseconds at the median and at the 95th percentile, and the median's ratio to a bare Flask page in the same process.
No network and no server, so this is what the logbook itself costs. Every round asks for another order, print or lot.
"""

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

from flask import Flask
from sqlalchemy import func, select

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from logbook.actions import people, pitch, trace
from logbook.records.audit import head
from logbook.records.floor import Print, Run, Sheet
from logbook.records.materials import Lot
from logbook.records.opened import Shop, open_shop
from logbook.records.orders import Job, Order
from logbook.records.pitch import PitchOnRecord
from logbook.settings import Settings
from logbook.web.app import create_app
from logbook.web.gate import COOKIE
from ten_years.grow import signed_in_owner

Ask = Callable[[], str]


def picks(shop: Shop, rng: Random) -> dict[str, Ask]:
    """The pages, each as something that names another address every time."""
    with shop.database.reading() as session:
        codes = {table: _some(session, table, rng) for table in (Job, Order, Print, Sheet, Run, Lot, PitchOnRecord)}
        on_bench = session.execute(select(Sheet.code).where(Sheet.stage.not_in(("parted", "scrapped")))).scalars().all()
        to_go = session.execute(select(Print.code).where(Print.stage.in_(("trim", "inspect", "pack")))).scalars().all()
        closed = session.execute(select(func.max(Order.id))).scalar_one()
        entries = head(session).seq
    told: dict[str, Ask] = {
        "today": lambda: "/",
        "bench": lambda: "/bench",
        "sheet at its stage": lambda: f"/sheet/{rng.choice(on_bench)}",
        "piece at its stage": lambda: f"/print/{rng.choice(to_go)}",
        "piece that is gone": lambda: f"/print/{rng.choice(codes[Print])}",
        "job": lambda: f"/job/{rng.choice(codes[Job])}",
        "run": lambda: f"/run/{rng.choice(codes[Run])}",
        "order": lambda: f"/order/{rng.choice(codes[Order])}",
        "orders, open": lambda: "/orders",
        "orders, closed": lambda: "/orders?show=closed",
        "orders, closed, somewhere": lambda: f"/orders?show=closed&before={rng.randrange(60, closed)}",
        "new order": lambda: "/orders/new",
        "stock": lambda: "/stock",
        "lot": lambda: f"/lot/{rng.choice(codes[Lot])}",
        "pitch": lambda: "/pitch",
        "pitch on record": lambda: f"/pitch/{rng.choice(codes[PitchOnRecord])}",
        "pitch over time": lambda: f"/pitch/{rng.choice(codes[PitchOnRecord])}/over-time",
        "machines": lambda: "/machines",
        "shop": lambda: "/shop",
        "numbers": lambda: "/shop/numbers",
        "record": lambda: "/shop/record",
        "record, somewhere": lambda: f"/shop/record?before={rng.randrange(200, entries)}",
        "trace a print": lambda: f"/trace?q={rng.choice(codes[Print])}",
        "trace a lot": lambda: f"/trace?q={rng.choice(codes[Lot])}",
        "trace nothing": lambda: "/trace?q=nothing-here",
    }
    return told


def _some(session: Any, table: Any, rng: Random) -> list[str]:
    last = session.execute(select(func.max(table.id))).scalar_one()
    wanted = {rng.randrange(1, last + 1) for _ in range(200)}
    return list(session.execute(select(table.code).where(table.id.in_(wanted))).scalars())


def measured(ask: Callable[[], Any], rounds: int) -> tuple[float, float]:
    """Median and 95th percentile of so many rounds, in milliseconds; one more, before them, is not counted."""
    ask()
    took = []
    for _ in range(rounds):
        began = time.perf_counter()
        ask()
        took.append(1000 * (time.perf_counter() - began))
    took.sort()
    return took[len(took) // 2], took[int(len(took) * 0.95)]


def bare_page() -> Callable[[], Any]:
    """A Flask app that answers with a word."""
    app = Flask("bare")
    app.add_url_rule("/", "word", lambda: "word")
    client = app.test_client()
    return lambda: client.get("/")


class _NotKeptError(Exception):
    """Ends an act that is only to be timed."""


def withdrawing(shop: Shop, rng: Random) -> Callable[[], Any]:
    """Withdraw a pitch with everything that came of it; nothing is kept."""

    def ask() -> None:
        try:
            with shop.database.writing() as session:
                last = session.execute(select(func.max(PitchOnRecord.id))).scalar_one()
                row = session.get_one(PitchOnRecord, last - rng.randrange(3))
                pitch.withdraw(session, signed_in_owner(session), pitch=row, reason="the head was changed")
                raise _NotKeptError
        except _NotKeptError:
            pass

    return ask


def tracing(shop: Shop, rng: Random) -> Callable[[], Any]:
    """Everything about a print that has left, as data (no page)."""
    with shop.database.reading() as session:
        serials = session.execute(select(Print.serial).where(Print.stage == "gone").limit(5000)).scalars().all()

    def ask() -> None:
        with shop.database.reading() as session:
            trace.find(session, rng.choice(serials))

    return ask


def main() -> int:
    """Print the table."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("folder", type=Path)
    words.add_argument("--rounds", type=int, default=40)
    words.add_argument("--only", default="")
    asked = words.parse_args()
    shop, rng = open_shop(Settings(data=asked.folder)), Random(5)
    client = create_app(shop, ring=lambda _: None).test_client()
    with shop.database.writing() as session:
        by = signed_in_owner(session)
        owner = people.by_id(session, by.person_id)
        client.set_cookie(COOKIE, people.start_sign_in(session, by, person=owner, keys=[]))
    bare = measured(bare_page(), 500)[0]
    print(f"{'bare Flask page':28}{bare:9.2f}")
    for name, address in picks(shop, rng).items():
        if asked.only in name:
            _tell(name, measured(lambda address=address: _page(client, address()), asked.rounds), bare)
    for name, act in {"A8 trace": tracing(shop, rng), "A9 withdraw": withdrawing(shop, rng)}.items():
        if asked.only in name:
            _tell(name, measured(act, asked.rounds), bare)
    return 0


def _page(client: Any, address: str) -> None:
    answer = client.get(address, follow_redirects=True)
    assert answer.status_code == 200, (address, answer.status_code)


def _tell(name: str, took: tuple[float, float], bare: float) -> None:
    print(f"{name:28}{took[0]:9.1f}{took[1]:9.1f}  {took[0] / bare:6.0f} ×", flush=True)


if __name__ == "__main__":
    raise SystemExit(main())
