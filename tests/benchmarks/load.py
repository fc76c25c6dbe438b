"""People at a running shop, over loopback: ``python tests/benchmarks/load.py FOLDER [--people 10] [--rate 20]``.

The folder is what ``tests/ten_years/grow.py`` filled; the load writes into it, so give it a copy. The server is
``logbook serve`` as a shop starts it. One request in ten signs an act (a count of a lot), the rest are pages that a
working day asks for. A rate of 0 asks as fast as answers come. Figures are printed, nothing is judged.
"""

import argparse
import http.client
import os
import secrets
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Any
from urllib.parse import urlencode, urlsplit

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from sqlalchemy import func, select

from logbook.actions import people
from logbook.records.audit import Actor
from logbook.records.floor import Print, Run, Sheet
from logbook.records.materials import Lot
from logbook.records.opened import Shop, open_shop
from logbook.records.orders import Job, Order
from logbook.records.people import Person
from logbook.settings import Settings
from support.programs import serving

WRITES = 0.1
WARM_SECONDS = 10
"""The shop runs already: in the first seconds after its start every page and question is put together anew."""
BARE = """
import sys, waitress
from flask import Flask
app = Flask("bare")
app.add_url_rule("/", "word", lambda: "word")
server = waitress.create_server(app, host="127.0.0.1", port=0, threads=8)
print(f"http://127.0.0.1:{server.effective_port}/", flush=True)
server.run()
"""
NO_TOKENS = """
from logbook.web.condition import Condition
Condition.check = lambda self: None
from logbook.web import app as made
real = made.create_app
def create(*words, **more):
    app = real(*words, **more)
    app.config["WTF_CSRF_ENABLED"] = False
    return app
made.create_app = create
"""
"""The load cannot read a token out of every form, and does not begin in the first minute after a start, in which SQLite
looks through the whole file; apart from that the server is the shop's own."""
SERVE = """
import sys
from logbook.command_line import main
sys.argv = ["logbook", "serve", "--data", sys.argv[1], "--port", "0", "--no-worker", *sys.argv[2:]]
main()
"""
WITHOUT_TOKENS = NO_TOKENS + SERVE
"""A program for ``python -c``: the folder, then more words for the command."""


def _in_all_processes(patch: str) -> str:
    """The same server, and every process that it starts for itself, each with this done to it first."""
    return f"""
import sys
patch = {patch!r}
begin = patch + "\\nimport runpy, sys\\nsys.argv = sys.argv[1:]\\nrunpy.run_module(sys.argv[0], run_name='__main__')"
exec(patch)
from logbook.background import supervise
supervise.program = lambda *words: [sys.executable, "-c", begin, *map(str, words)]
{SERVE}"""


@dataclass
class Measured:
    """Milliseconds of each answer, of those that wrote, what went wrong, and how long it all took."""

    all: list[float] = field(default_factory=list)
    writes: list[float] = field(default_factory=list)
    errors: int = 0
    seconds: float = 0.0
    bare_rate: float = 0.0

    @property
    def rate(self) -> float:
        """Answers a second."""
        return len(self.all) / self.seconds if self.seconds else 0.0


class Addresses:
    """What people ask for, drawn at random."""

    def __init__(self, shop: Shop, seed: int) -> None:
        self.dice = Random(seed)
        with shop.database.reading() as session:
            tables = (Job, Order, Run, Sheet, Print, Lot)
            self.codes = {table.__name__.lower(): _some(session, table, self.dice) for table in tables}
            newest = select(Lot.code).order_by(Lot.id.desc()).limit(60)
            self.lots = list(session.execute(newest).scalars())

    def page(self) -> str:
        """A page of a working day."""
        kind = self.dice.choice(("", "bench", "orders", "stock", "pitch", "job", "job", "sheet", "sheet", "print",
                                 "order", "run", "lot"))  # fmt: skip
        return f"/{kind}/{self.dice.choice(self.codes[kind])}" if kind in self.codes else f"/{kind}"

    def act(self) -> tuple[str, str]:
        """A count of a lot that is in use, and its form."""
        # never the same twice, whatever was asked in this folder before: that would be a form sent again
        form = {"request_id": f"load-{secrets.token_hex(8)}", "now_there": str(self.dice.randrange(1, 4000))}
        return f"/lot/{self.dice.choice(self.lots)}/count", urlencode(form)


def _some(session: Any, table: Any, dice: Random) -> list[str]:
    last = session.execute(select(func.max(table.id))).scalar_one()
    wanted = {dice.randrange(1, last + 1) for _ in range(300)}
    return list(session.execute(select(table.code).where(table.id.in_(wanted))).scalars())


def signed_in(shop: Shop) -> str:
    """The token of a new sign-in of the owner."""
    with shop.database.writing() as session:
        owner = session.execute(select(Person).where(Person.role == "owner")).scalars().first()
        assert owner is not None
        by = Actor(owner.id, owner.name, owner.role, datetime.now(UTC))
        return people.start_sign_in(session, by, person=owner, keys=[])


def under_load(
    folder: Path, *, people: int, rate: float, seconds: float, bare: bool = False, sabotage: str = ""
) -> Measured:
    """Serve the shop, let so many people ask at this rate in all for so long, and end it again.

    ``sabotage`` is Python that the server runs first.
    """
    shop = open_shop(Settings(data=folder))
    asked, token = [Addresses(shop, seed) for seed in range(people)], signed_in(shop)
    shop.database.close()
    program = [sys.executable, "-c", _in_all_processes(sabotage + NO_TOKENS), str(folder)]
    log = folder.with_name(f"{folder.name}.load.log")
    with serving(program, log=log) as address:
        _crowd([_Visitor(address, token, one) for one in asked], rate=rate, seconds=WARM_SECONDS)
        told = _crowd([_Visitor(address, token, one) for one in asked], rate=rate, seconds=seconds)
    if bare:
        with serving([sys.executable, "-c", BARE], log=log) as address:
            told.bare_rate = _crowd([_Visitor(address, "", None) for _ in range(people)], rate=0, seconds=5).rate
    return told


class _Visitor:
    """Somebody with a browser: one connection, one question at a time."""

    def __init__(self, address: str, token: str, asked: Addresses | None) -> None:
        where = urlsplit(address)
        self.line = http.client.HTTPConnection(where.hostname or "", where.port, timeout=60)
        self.head = {"Cookie": f"bench-sign-in={token}", "Content-Type": "application/x-www-form-urlencoded"}
        self.asked, self.told = asked, Measured()

    def visit(self, began: float) -> None:
        """Ask once; ``began`` is when it should have been asked, so that waiting for a turn counts."""
        writes = self.asked is not None and self.asked.dice.random() < WRITES
        try:
            status = self._ask(writes)
        except (OSError, http.client.HTTPException):
            self.line.close()
            status = 0
        took = 1000 * (time.perf_counter() - began)
        self.told.all.append(took)
        self.told.errors += status not in (200, 303)
        if writes:
            self.told.writes.append(took)

    def _ask(self, writes: bool) -> int:
        if self.asked is None:
            self.line.request("GET", "/")
        elif writes:
            path, form = self.asked.act()
            self.line.request("POST", path, form, self.head)
        else:
            self.line.request("GET", self.asked.page(), headers=self.head)
        answer = self.line.getresponse()
        answer.read()
        return answer.status


def _crowd(visitors: list[_Visitor], *, rate: float, seconds: float) -> Measured:
    began = time.perf_counter()
    step = len(visitors) / rate if rate else 0.0
    work = [_turns(one, began + number * step / len(visitors), step, began + seconds)
            for number, one in enumerate(visitors)]  # fmt: skip
    threads = [threading.Thread(target=one) for one in work]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    whole = Measured(seconds=time.perf_counter() - began)
    for one in visitors:
        whole.all += one.told.all
        whole.writes += one.told.writes
        whole.errors += one.told.errors
        one.line.close()
    return whole


def _turns(visitor: _Visitor, first: float, step: float, end: float) -> Callable[[], None]:
    def work() -> None:
        due = first
        while (now := time.perf_counter()) < end:
            if step and due > now:
                time.sleep(due - now)
            visitor.visit(due if step else now)
            due += step

    return work


def main() -> int:
    """Print one load."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("folder", type=Path)
    words.add_argument("--people", type=int, default=10)
    words.add_argument("--rate", type=float, default=20, help="requests a second in all; 0: as fast as they come")
    words.add_argument("--seconds", type=float, default=30)
    asked = words.parse_args()
    told = under_load(asked.folder, people=asked.people, rate=asked.rate, seconds=asked.seconds, bare=True)
    for name, took in (("all", sorted(told.all)), ("writes", sorted(told.writes))):
        marks = [took[min(len(took) - 1, int(len(took) * share))] for share in (0.5, 0.95, 0.99)]
        print(f"{name:8}{len(took):7} answers, p50 p95 p99: " + " ".join(f"{mark:.0f}" for mark in marks) + " ms")
    print(f"{told.rate:.0f} a second, {told.errors} errors, a bare Flask page {told.bare_rate:.0f} a second")
    print(f"load of the machine {os.getloadavg()[0]:.1f}, {subprocess.list2cmdline(sys.argv[1:])}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
