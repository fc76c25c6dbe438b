"""Processes that die and disks that fail: R1 to R6."""

import json
import resource
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from datetime import timedelta
from pathlib import Path
from shutil import which
from unittest import mock

from sqlalchemy import event, func, select

from logbook.faults import OF_A_RUN
from logbook.records import audit, chain, database
from logbook.records.audit import Act, Actor, AuditEntry, entries_for
from logbook.records.files import hash_file
from logbook.records.floor import Run, Sheet
from logbook.records.materials import Lot
from logbook.web import condition
from promised.ground import Ground, patched, saboteur
from promised.rows import TABLE, Tally
from support.dying import lives, nursery
from support.small_shop import SmallShop

# --- R1: acknowledged is kept

SERVED = """
import http.client, threading, time
from pathlib import Path
import waitress
from logbook.records.opened import open_shop
from logbook.settings import Settings
from logbook.web.app import create_app
from urllib.parse import urlencode
SABOTAGE
def live(data, cookie, sheets, seconds, out):
    app = create_app(open_shop(Settings(data=Path(data))), ring=lambda _: None)
    app.config["WTF_CSRF_ENABLED"] = False
    server = waitress.create_server(app, host="127.0.0.1", port=0, threads=4)
    import signal
    signal.signal(signal.SIGUSR1, lambda *_: signal.setitimer(signal.ITIMER_REAL, float(seconds)))
    if os.fork() == 0:
        sign(server.effective_port, cookie, sheets.split(), Path(out))
        os._exit(0)
    signal.setitimer(signal.ITIMER_REAL, 30)
    server.run()
def sign(port, cookie, sheets, out):
    with out.open("w") as told:
        for sheet in sheets:
            try:
                line = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
                form = urlencode({"request_id": "kill-" + sheet, "reason": ""})
                head = {"Cookie": "bench-sign-in=" + cookie, "Content-Type": "application/x-www-form-urlencoded"}
                line.request("POST", f"/sheet/{sheet}/sign/print", form, head)
                answer = line.getresponse()
            except OSError:
                break
            except http.client.HTTPException:
                break
            print(sheet, answer.status, file=told, flush=True)
            if sheet == sheets[0]:  # from now on there is something to lose
                import signal
                os.kill(os.getppid(), signal.SIGUSR1)
    Path(str(out) + ".done").touch()
"""
NEVER_COMMITS = "import sqlalchemy\nsqlalchemy.Connection.commit = lambda self: None"


@TABLE.row(
    "R1", "An acknowledged sign-off survives kill -9 of the web process", "500 kills, 0 lost, 0 half-written",
    quick=3, full=500, broken=1, twin=saboteur(NEVER_COMMITS),
)  # fmt: skip
def killed_web(ground: Ground, tally: Tally, count: int) -> None:
    """Sheets are signed over HTTP until the server is killed, at a random moment after the first was acknowledged."""
    signed = 0
    with nursery(SERVED.replace("SABOTAGE", ground.sabotage)) as server:
        for _ in range(count):
            with ground.shop("many") as (shop, _code):
                acknowledged = _signed_until_killed(ground, server, shop)
                signed += len(acknowledged)
                tally.tried(*_kept_all(shop, acknowledged))
    tally.figure = f"{signed} sign-offs acknowledged before the kills"


def _signed_until_killed(ground: Ground, server: object, shop: SmallShop) -> list[str]:
    from support.patience import until

    sheets = shop.read(lambda session: list(session.execute(select(Sheet.code)).scalars()))
    cookie, out = ground.cookie(shop), shop.shop.settings.data.with_name("told")
    server.one(shop.shop.settings.data, cookie, " ".join(sheets), ground.dice.uniform(0.0, 0.4), out)
    until(Path(f"{out}.done").exists)
    return [line.split()[0] for line in out.read_text().splitlines() if line.split()[1:] == ["303"]]


def _kept_all(shop: SmallShop, acknowledged: list[str]) -> tuple[bool, str]:
    def told(session):
        moved = set(session.execute(select(Sheet.code).where(Sheet.stage != "print")).scalars())
        entries = session.execute(select(AuditEntry.request_id).where(AuditEntry.request_id.like("kill-%"))).scalars()
        return moved, {entry.removeprefix("kill-") for entry in entries}, chain.first_bad(session)

    moved, entered, bad = shop.read(told)
    lost = set(acknowledged) - entered
    half = moved ^ entered
    return not lost and not half and bad is None, f"lost {len(lost)}, half-written {len(half)}, {bad}"


# --- R2: the redirect is sent after the disk has it

SYNCED = """
import sys
from pathlib import Path
from logbook.records.opened import open_shop
from logbook.settings import Settings
from logbook.web.app import create_app
SABOTAGE
app = create_app(open_shop(Settings(data=Path(sys.argv[1]))), ring=lambda _: None)
app.config["WTF_CSRF_ENABLED"] = False
desk = app.test_client()
desk.set_cookie("bench-sign-in", sys.argv[2])
import os
for number in range(int(sys.argv[4])):
    os.write(2, b"ASKED\\n")
    answer = desk.post(f"/lot/{sys.argv[3]}/count", data={"request_id": f"s{number}", "now_there": str(number + 7)})
    os.write(2, f"ANSWERED {answer.status_code}\\n".encode())
os._exit(0)
"""
CARELESS = """
from sqlalchemy import event
from logbook.records.dialects import sqlite
_real = sqlite._prepare_connection
def _careless(connection, record):
    _real(connection, record)
    connection.execute("PRAGMA synchronous = OFF").close()
sqlite._prepare_connection = _careless
"""


@TABLE.row(
    "R2", "The redirect is sent only after fsync", "100/100 by strace; pragma asserted on every connection",
    quick=3, full=100, broken=1, twin=saboteur(CARELESS),
)  # fmt: skip
def synced_first(ground: Ground, tally: Tally, count: int) -> None:
    """strace counts the fsyncs between a form and its redirect; without strace, only the pragma is asked for."""
    if which("strace") is None:
        tally.reason = "strace is not on this machine (apt-get install strace)"
        return
    with ground.shop() as (shop, _code):
        lot = shop.read(lambda session: session.execute(select(Lot.code)).scalars().first())
        cookie, data = ground.cookie(shop), shop.shop.settings.data
        shop.shop.database.close()
        program = SYNCED.replace("SABOTAGE", ground.sabotage)
        traced = ["strace", "-f", "-e", "trace=fsync,fdatasync,write", "-s", "40", "-o", f"{data}.strace"]
        command = [*traced, sys.executable, "-c", program, str(data), cookie, lot, str(count)]
        subprocess.run(command, check=True, capture_output=True)
        _read_trace(Path(f"{data}.strace"), tally)


def _read_trace(trace: Path, tally: Tally) -> None:
    syncs = total = 0
    for line in trace.read_text(errors="replace").splitlines():
        if '"ASKED' in line:
            syncs = 0
        elif "fsync(" in line or "fdatasync(" in line:
            syncs += 1
        elif '"ANSWERED' in line:
            total += syncs
            tally.tried("ANSWERED 303" in line and syncs > 0, f"{line[-60:]} after {syncs} fsyncs")
    tally.figure = f"{total / max(1, tally.trials):.1f} fsyncs before each redirect"


# --- R3: a run that is killed

HALF_FILES = """
def _straight(self, temporary):
    sha256, size = files.hash_file(temporary), temporary.stat().st_size
    final = self.path(sha256)
    final.parent.mkdir(parents=True, exist_ok=True)
    content = temporary.read_bytes()
    with final.open("wb") as out:
        out.write(content[:size // 2])
        out.flush()
        fault("synced")
        out.write(content[size // 2:])
    for point in ("renamed", "folder-synced"):
        fault(point)
    return sha256, size
files.FileStore.adopt = _straight
"""


@TABLE.row(
    "R3", "A killed interlace run leaves no half file, is resumed or failed with a reason, and is recorded once",
    "8 fault points × 25 + 300 random: 0 partial, 0 duplicate, 0 stuck > 60 s",
    quick=9, full=500, broken=1, twin=saboteur(HALF_FILES),
)  # fmt: skip
def killed_run(ground: Ground, tally: Tally, count: int) -> None:
    """At each of the eight points in turn, for two trials of five; then at random beats of the engine and moments."""
    _made, run_id = ground.kind("waiting")
    at_points = max(min(count, len(OF_A_RUN)), count * 2 // 5)
    with lives(ground.sabotage) as worker:
        for number in range(count):
            with ground.shop("waiting") as (shop, _code):
                wish = _wish(ground, number, at_points)
                data = shop.shop.settings.data
                ended = worker.work(data, int(run_id), wish)
                partial = _half_files(shop)
                worker.work(data, int(run_id), late=60)
                tally.tried(not partial and _done_once(shop, int(run_id)), f"{wish} ended {ended}: {partial[:1]}")
    tally.figure = f"{at_points} at the {len(OF_A_RUN)} points, {count - at_points} at random moments"


def _wish(ground: Ground, number: int, at_points: int) -> str:
    if number < at_points:
        return f"{OF_A_RUN[(number + 3) % len(OF_A_RUN)]}:1:kill"  # while the file takes its name, first
    if number % 3 == 0:
        return f"alarm:{ground.dice.uniform(0.01, 0.5):.3f}"
    return f"{ground.dice.choice(('computing', 'writing'))}:{ground.dice.randrange(1, 6)}:kill"


def _half_files(shop: SmallShop) -> list[str]:
    store = shop.shop.store
    return [sha256 for sha256 in store.hashes() if hash_file(store.path(sha256)) != sha256]


def _done_once(shop: SmallShop, run_id: int) -> bool:
    def told(session):
        run = session.get_one(Run, run_id)
        acts = [entry.action for entry in entries_for(session, f"run:{run.code}")]
        return run.state, acts.count("interlace run done"), chain.first_bad(session)

    shop.shop.store.sweep()
    return shop.read(told) == ("done", 1, None) and not list((shop.shop.store.folder / "incoming").iterdir())


# --- R4: a full disk


@contextmanager
def _largest_file(size: int) -> Iterator[None]:
    """No file of this process grows beyond a size: the system answers EFBIG, and SQLite passes it on."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@contextmanager
def _no_more_pages(shop: SmallShop, more: int) -> Iterator[None]:
    """SQLite answers "database or disk is full" after so many more pages."""

    def limit(connection, _):
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages + more}").close()

    engine = shop.shop.database.engine
    engine.dispose()
    event.listen(engine, "connect", limit)
    try:
        yield
    finally:
        event.remove(engine, "connect", limit)
        engine.dispose()


@contextmanager
def _says_done(self):
    with suppress(Exception), database.Database.really_writing(self) as session:
        yield session


def _swallows_errors(_ground: Ground):
    stack = ExitStack()
    real = database.Database.writing
    stack.enter_context(mock.patch.object(database.Database, "really_writing", real, create=True))
    stack.enter_context(mock.patch.object(database.Database, "writing", _says_done))
    return stack


@TABLE.row(
    "R4", "Disk full: a clear message, nothing acknowledged lost, recovers alone",
    "every fault position (SQLITE_FULL, and IOERR and EFBIG by a limit on file size)",
    quick=12, full=300, broken=12, twin=_swallows_errors,
)  # fmt: skip
def full_disk(ground: Ground, tally: Tally, count: int) -> None:
    """The same act with room for so many more bytes, and for so many more pages, until it goes through."""
    with ground.desk() as (desk, shop, _code):
        lot = shop.read(lambda session: session.execute(select(Lot.code)).scalars().first())
        refused = 0
        for number in range(count):
            before = _entries(shop)
            form = {"request_id": f"full-{number}", "now_there": str(100 + number), "note": "x" * 300}
            with ExitStack() as stack:
                if number % 2:
                    stack.enter_context(_no_more_pages(shop, number // 2 % 4))
                else:
                    size = shop.shop.settings.database_path.stat().st_size
                    place = ground.dice.choice((0, 512, 1024, 4096, 8192, 20_000, size - 4096, size))
                    stack.enter_context(_largest_file(place))
                answer = desk.post(f"/lot/{lot}/count", data=form)
            refused += answer.status_code == 503
            said = condition.NO_WRITES in answer.get_data(as_text=True)
            between = _entries(shop) - before
            right = (answer.status_code == 503 and said and not between) or (answer.status_code == 303 and between == 1)
            again = desk.post(f"/lot/{lot}/count", data=form).status_code
            tally.tried(right and again == 303 and _entries(shop) == before + 1, f"{answer.status_code}, {between}")
        tally.tried(shop.read(chain.first_bad) is None, "the trail is broken")
    tally.figure = f"{refused} refused with their reason, all written when sent again"


def _entries(shop: SmallShop) -> int:
    return shop.read(lambda session: session.execute(select(func.count(AuditEntry.id))).scalar_one())


# --- R5: a folder without writes


@contextmanager
def _query_only(shop: SmallShop) -> Iterator[None]:
    """SQLite refuses every write, as in a folder without permission; the tests' user may be one whom none stops."""

    def refuse(connection, _):
        connection.execute("PRAGMA query_only = ON").close()

    engine = shop.shop.database.engine
    engine.dispose()
    event.listen(engine, "connect", refuse)
    try:
        yield
    finally:
        event.remove(engine, "connect", refuse)
        engine.dispose()


@TABLE.row(
    "R5", "Read-only data folder: says so", "GET 200 or a maintenance page, POST 503, no 500",
    twin=patched(condition.Condition, "learn", lambda *_: ""),
)  # fmt: skip
def read_only(ground: Ground, tally: Tally, _count: int) -> None:
    """Every page without a name in its address, and some acts."""
    with ground.desk() as (desk, shop, _code):
        lot = shop.read(lambda session: session.execute(select(Lot.code)).scalars().first())
        rules = [rule.rule for rule in desk.application.url_map.iter_rules() if "GET" in rule.methods]
        with _query_only(shop):
            for path in (rule for rule in rules if "<" not in rule):
                tally.tried(desk.get(path).status_code in (200, 204, 301, 303), path)
            for path, form in (("/shop/facts", {"eyewash": "sink"}), (f"/lot/{lot}/count", {"now_there": "3"})):
                answer = desk.post(path, data={"request_id": "ro", **form})
                tally.tried(answer.status_code == 503, f"{path}: {answer.status_code}")


# --- R6: the clock


def _blind_to_the_clock(_ground: Ground):
    real = audit._content
    return mock.patch.object(audit, "_content", lambda *words, **_more: real(*words, clock_back=False))


@TABLE.row(
    "R6", "A clock that is set back changes no order", "sequence without gaps, the jump recorded",
    quick=200, full=5000, broken=50, twin=_blind_to_the_clock,
)  # fmt: skip
def clock_back(ground: Ground, tally: Tally, count: int) -> None:
    """Acts by a clock that jumps both ways."""
    with ground.shop() as (shop, _code), shop.shop.database.writing() as session:
        last, now = audit.head(session), shop.now
        for number in range(count):
            now += timedelta(minutes=ground.dice.randrange(-300, 400))
            entry = audit.record(session, Actor(1, "Olga", "owner", now), Act("tried", [f"job:{number}"]))
            told = json.loads(entry.body)["clock_back"]
            tally.tried(entry.id == last.seq + 1 and told == (now < last.at), f"entry {entry.id}: {told}")
            last = audit.Head(entry.id, entry.entry_hash, now)
        tally.tried(chain.first_bad(session) is None, "the trail is broken")
