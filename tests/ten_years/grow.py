"""Ten years of a busy shop: ``python tests/ten_years/grow.py FOLDER [--jobs 100000] [--years 10] [--seed 1]``.

The shop is founded, equipped and supplied through the actions, and one order of every kind goes its whole way through
them (see ``work``). Those are then copied in bulk (see ``pattern``): every row, and every entry of the trail in the
order of time, hashed into one chain. Foreign keys and constraints are on; ``logbook verify`` is content with it.
Nothing but the first orders' files lies in the store: the files of the copies are marked as let go.
"""

import argparse
import heapq
import itertools
import sqlite3
import sys
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions.verifying import verify
from logbook.records.audit import Actor, AuditEntry, chain_hash, keyed_hash
from logbook.records.base import Base
from logbook.records.floor import Print, StepRecord
from logbook.records.migrations.versions.v0026_left_after import SUMS
from logbook.records.opened import open_shop
from logbook.records.orders import Customer, Job
from logbook.records.people import Person
from logbook.settings import Settings
from support.small_shop import SmallShop, new_shop
from ten_years.pattern import Act, Copy, Pattern, drawn, highest_ids, read_pattern
from ten_years.work import Order, do, season

ORDERS = {
    "single": (Order(), 4),
    "class of eight": (Order(jobs=8), 3),
    "one of three replaced": (Order(pieces=3, fails="replace"), 1),
    "concession": (Order(fails="concession"), 0.5),
    "the shop's own": (Order(customer=""), 0.5),
}
"""What is ordered, and how often."""
OPEN = [
    Order(until="ordered"), Order(until="proof", jobs=2), Order(until="print", jobs=3), Order(until="dry", jobs=2),
    Order(until="laminate"), Order(until="dwell", jobs=2), Order(until="trim"), Order(until="inspect", jobs=2),
    Order(until="pack"), Order(until="pack", fails="undecided"),
]  # fmt: skip
"""How far the orders of the last days have come."""
OPEN_OF_EACH = 30
SEASON = timedelta(days=14)
CHECKS = ("machine_check", "machine checked")
NEW_CUSTOMER = 0.08
"""Share of orders by somebody who was never here before."""
MADE_WITHIN = timedelta(days=130)
"""What the first orders take, waits and all."""
COUNTED = {"jobs": Job, "prints": Print, "steps": StepRecord, "entries in the trail": AuditEntry}


class Grown:
    """The shop's database while it is filled: row ids, order numbers, rows waiting to be written."""

    def __init__(self, shop: SmallShop, rng: Random) -> None:
        self.shop, self.rng = shop, rng
        shop.shop.database.close()
        self.connection = sqlite3.connect(shop.shop.settings.database_path, isolation_level=None)
        self.connection.row_factory = sqlite3.Row
        self.connection.execute("PRAGMA cache_size = -400000")
        self.connection.execute("PRAGMA synchronous = OFF")
        self.connection.execute("PRAGMA foreign_keys = ON")
        self.newest: Counter[str] = Counter(highest_ids(self.connection))
        numbers = [row["number"] for row in self.connection.execute("SELECT number FROM order_")]
        self.numbers: Counter[str] = Counter(number[:2] for number in numbers)
        self.waiting: dict[str, list[list[Any]]] = {}
        look = {name: self.connection.execute(f"SELECT * FROM {name} LIMIT 0") for name in Base.metadata.tables}
        self.columns = {name: [f'"{one[0]}"' for one in found.description] for name, found in look.items()}

    def next_id(self, table: str) -> int:
        """The next row id of a table."""
        self.newest[table] += 1
        return self.newest[table]

    def write(self, pattern: Pattern, copy: Copy) -> None:
        """Keep a copy's rows for writing."""
        for row in pattern.rows:
            self.waiting.setdefault(row.table, []).append(row.told(copy))

    def flush(self) -> None:
        """Write what waits, what is referred to first."""
        for table in Base.metadata.sorted_tables:
            rows = self.waiting.pop(table.name, [])
            if rows:
                names, marks = ", ".join(self.columns[table.name]), ", ".join("?" * len(rows[0]))
                self.connection.executemany(f"INSERT INTO {table.name} ({names}) VALUES ({marks})", rows)


class Trail:
    """Entries of many copies, brought into the order of time and chained."""

    def __init__(self, grown: Grown) -> None:
        self.grown, self.heap, self.turn = grown, [], itertools.count()
        last = grown.connection.execute("SELECT id, entry_hash FROM audit_entry ORDER BY id DESC LIMIT 1").fetchone()
        self.seq, self.previous = last["id"], last["entry_hash"]

    def add(self, pattern: Pattern, copy: Copy) -> None:
        """A copy's acts, each at its time."""
        for act in pattern.acts:
            heapq.heappush(self.heap, (copy.time(act.at), next(self.turn), act, copy))

    def settle(self, until: str) -> None:
        """Chain everything that was done before a time."""
        entries, objects = [], []
        while self.heap and self.heap[0][0] < until:
            at, _, act, copy = heapq.heappop(self.heap)
            entries.append(self._entry(at, act, copy))
            objects += [(self.seq, ref.told(copy)) for ref in act.refs]
        names = "id, previous_hash, entry_hash, at, action, person_id, actor_name, request_id, reason, body"
        marks = ", ".join("?" * 10)
        self.grown.connection.executemany(f"INSERT INTO audit_entry ({names}) VALUES ({marks})", entries)
        self.grown.connection.executemany("INSERT INTO audit_object (entry_id, ref) VALUES (?, ?)", objects)

    def _entry(self, at: str, act: Act, copy: Copy) -> tuple[Any, ...]:
        self.seq += 1
        request = f"{self.grown.rng.getrandbits(128):032x}"
        body = act.body.told(copy).replace('"request":null', f'"request":"{request}"', 1)
        head, _, tail = body.rpartition('"seq":')
        body = f'{head}"seq":{self.seq}{tail[tail.index(",") :]}'
        previous, self.previous = self.previous, chain_hash(self.previous, body)
        told = act.columns
        by = (told["action"], told["person_id"], told["actor_name"], request, told["reason"])
        return (self.seq, previous, self.previous, at, *by, body)


def _only_customer(session: Session) -> dict[str, Any]:
    return dict(session.execute(select(Customer.__table__)).mappings().one())


class Patterns:
    """Work done once through the actions, in a shop that is ten years old when its copies end."""

    def __init__(self, folder: Path, began: datetime) -> None:
        self.shop = new_shop(folder, now=began)
        labels = ["LENS-0", "PAPER-0", "FILM-0"]
        self.season = self._made(lambda: season(self.shop), given=labels)
        self.season_rows = {(row.table, row.old_id) for row in self.season.rows}
        self.labels = labels
        do(self.shop, Order(until="ordered"))  # makes the customer known
        self.customer = self.shop.read(_only_customer)
        self.orders = {name: self._order(order) for name, (order, _) in ORDERS.items()}
        self.open = [self._order(order) for order in OPEN]
        self.check = self._made(self.shop.check_machine)

    def customer_hash(self) -> str:
        """The customer as the trail names it."""
        return keyed_hash(self.customer["hash_key"], self.customer["name"])

    def _order(self, order: Order) -> Pattern:
        given = [self.customer["code"], self.customer_hash(), *self.labels, *self.season.fresh]
        known = self.season_rows | {("customer", self.customer["id"])}
        return self._made(lambda: do(self.shop, order), given=given, known=known, without=CHECKS)

    def _made(self, work: Callable[[], None], **about: Any) -> Pattern:
        with closing(sqlite3.connect(self.shop.shop.settings.database_path)) as connection:
            connection.row_factory = sqlite3.Row
            before = highest_ids(connection)
            work()
            return read_pattern(connection, before, **{"given": [], "known": set(), **about})


class Years:
    """Copies, day by day."""

    def __init__(self, patterns: Patterns, grown: Grown) -> None:
        self.patterns, self.grown, self.trail = patterns, grown, Trail(grown)
        self.rng, self.jobs, self.seasons = grown.rng, 0, 0
        self.customers: list[tuple[int, dict[str, str]]] = []
        self.now_in_use = Copy({}, {}, timedelta())

    def put(self, pattern: Pattern, began: datetime, **more: Any) -> Copy:
        """One more copy of a pattern, begun at this time."""
        copy = pattern.copy(self.rng, began - pattern.began, self.grown.next_id, **more)
        self.grown.write(pattern, copy)
        self.trail.add(pattern, copy)
        return copy

    def deliver(self, began: datetime) -> None:
        """A season's lots and pitch, used from now on."""
        self.seasons += 1
        labels = {label: label.replace("-0", f"-{self.seasons}") for label in self.patterns.labels}
        self.now_in_use = self.put(self.patterns.season, began, words=labels)

    def place(self, pattern: Pattern, began: datetime) -> None:
        """One more order."""
        customer, said = self._customer()
        year = f"{began:%y}"
        self.grown.numbers[year] += 1
        words = {**self.now_in_use.words, **said, pattern.number: f"{year}-{self.grown.numbers[year]:04d}"}
        known = {**self.now_in_use.ids, ("customer", self.patterns.customer["id"]): customer}
        self.put(pattern, began, words=words, known=known)
        self.jobs += sum(row.table == "job" for row in pattern.rows)

    def _customer(self) -> tuple[int, dict[str, str]]:
        """Somebody who was here before, or somebody new."""
        if self.customers and self.rng.random() > NEW_CUSTOMER:
            return self.rng.choice(self.customers)
        number = len(self.customers) + 1
        row = {**self.patterns.customer, "id": self.grown.next_id("customer"), "name": f"Customer {number} of Tidewell"}
        row |= {"hash_key": f"{self.rng.getrandbits(256):064x}", "code": drawn(self.rng, row["code"])}
        self.grown.waiting.setdefault("customer", []).append(list(row.values()))
        said = {
            self.patterns.customer["code"]: row["code"],
            self.patterns.customer_hash(): keyed_hash(row["hash_key"], row["name"]),
        }
        self.customers.append((row["id"], said))
        return self.customers[-1]

    def settle(self, until: datetime) -> None:
        """Write what waits, and the trail up to a time."""
        self.grown.flush()
        self.trail.settle(until.isoformat(timespec="microseconds"))


def grow(folder: Path, *, jobs: int, years: int = 10, seed: int = 1) -> SmallShop:
    """A shop of so many jobs in a folder that does not exist yet."""
    end = datetime.now(UTC)
    days = 365 * years
    # In the morning, whatever the hour is now: a machine check signed a minute before midnight is yesterday's.
    first = (end - timedelta(days=days + MADE_WITHIN.days)).replace(hour=9, minute=0, second=0, microsecond=0)
    patterns = Patterns(folder, first)
    rng = Random(seed)
    grown = Grown(patterns.shop, rng)
    lived = Years(patterns, grown)
    names, weights = zip(*((name, weight) for name, (_, weight) in ORDERS.items()), strict=True)
    grown.connection.execute("BEGIN")
    for day in range(days - 8):
        morning = end - timedelta(days=days - day, seconds=rng.random() * 60)
        if day % SEASON.days == 0:
            lived.deliver(morning)
        lived.put(patterns.check, morning + timedelta(minutes=5))
        while lived.jobs < jobs * (day + 1) / (days - 8):
            kind = rng.choices(names, weights)[0]
            lived.place(patterns.orders[kind], morning + timedelta(hours=9 * rng.random() + 1))
        lived.settle(morning)
    _leave_open(lived, end, count=min(OPEN_OF_EACH, 1 + jobs // 300))
    lived.settle(end)
    grown.connection.execute(SUMS)  # each copy brought its pattern's own
    grown.connection.execute("COMMIT")
    grown.connection.close()
    return SmallShop(open_shop(Settings(data=folder)), end)


def _leave_open(lived: Years, end: datetime, *, count: int) -> None:
    """Orders of the last days, at every stage."""
    for pattern in lived.patterns.open:
        lasted = datetime.fromisoformat(pattern.acts[-1].at) - pattern.began
        for _ in range(count):
            lived.place(pattern, end - lasted - timedelta(hours=1 + 20 * lived.rng.random()))


def signed_in_owner(session: Session) -> Actor:
    """The grown shop's owner, now."""
    owner = session.execute(select(Person).where(Person.role == "owner")).scalars().first()
    assert owner is not None
    return Actor(owner.id, owner.name, owner.role, datetime.now(UTC))


def main() -> int:
    """Grow one and say what it took."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("folder", type=Path)
    words.add_argument("--jobs", type=int, default=100_000)
    words.add_argument("--years", type=int, default=10)
    words.add_argument("--seed", type=int, default=1)
    asked = words.parse_args()
    began = time.perf_counter()
    shop = grow(asked.folder, jobs=asked.jobs, years=asked.years, seed=asked.seed)
    made = time.perf_counter() - began
    with shop.shop.database.reading() as session:
        count = {name: session.execute(select(func.count(table.id))).scalar_one() for name, table in COUNTED.items()}
    print(", ".join(f"{many:,} {name}" for name, many in count.items()), f"in {made:.0f} s")
    print(verify(shop.shop.database, shop.shop.store)["sentence"])
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
