"""People in each other's way: R7, R8, R9, R11."""

import socket
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from unittest import mock

import waitress
from sqlalchemy import func, select
from werkzeug.serving import make_server

from logbook.records.audit import AuditEntry
from logbook.records.dialects import sqlite
from logbook.records.floor import Sheet
from logbook.records.materials import Lot
from logbook.web import acting, condition
from promised.ground import Ground, patched, saboteur
from promised.rows import TABLE, Tally
from support.race import race
from support.small_shop import SmallShop

# --- R7

SIGNING = """
import time
from datetime import datetime, UTC
from pathlib import Path
from sqlalchemy import select
from sqlalchemy.exc import OperationalError
from logbook.actions import bench
from logbook.records.dialects import sqlite
from logbook.records.audit import Actor
from logbook.records.floor import Sheet
from logbook.records.opened import open_shop
from logbook.refusals import Refused
from logbook.settings import Settings
SABOTAGE
WON, TOLD, ELSE, BUSY = range(4)
def race(racer):
    shop, told = open_shop(Settings(data=Path(sys.argv[1]))), [0, 0, 0, 0]
    for code in sys.argv[2].split(","):
        while (ended := sign(shop, racer, code)) == BUSY:
            told[BUSY] += 1
        told[ended] += 1
    return ",".join(map(str, told))
def sign(shop, racer, code):
    began = time.monotonic()
    try:
        with shop.database.writing() as session:
            sheet = session.execute(select(Sheet).where(Sheet.code == code)).scalar_one()
            by = Actor(1 + racer % 2, ("Olga", "Otto")[racer % 2], "owner", datetime.now(UTC))
            bench.sign_stage(session, by, subjects=[sheet], stage="print", signature=bench.Signature(values={}))
        return WON
    except Refused as refusal:
        return TOLD if " signed 'print' of " in refusal.sentence else ELSE
    except OperationalError:  # the web answers 503 with the form kept, to be sent again: honest after a wait only
        return BUSY if time.monotonic() - began > 0.9 * sqlite.BUSY_TIMEOUT_MS / 1000 else ELSE
"""
DEFERRED = """
from logbook.records.dialects import sqlite
sqlite._begin = lambda connection: connection.exec_driver_sql("BEGIN")
from sqlalchemy import event
sqlite._use_explicit_transactions = lambda engine: [
    event.listen(engine, "connect", sqlite._prepare_connection), event.listen(engine, "begin", sqlite._begin)]
"""


@TABLE.row(
    "R7", "Two people sign one step: one wins, the others are refused and told who and when",
    "500 × 8 racers: 500 wins, 0 errors",
    quick=8, full=504, broken=8, twin=saboteur(DEFERRED),
)  # fmt: skip
def one_wins(ground: Ground, tally: Tally, count: int) -> None:
    """Eight processes sign the same sheets; who has waited as long as a form waits, and got no turn, sends it again."""
    errors = refused = busy = 0
    for _ in range(max(1, count // 24)):
        with ground.shop("many") as (shop, _code):
            sheets = shop.read(lambda session: list(session.execute(select(Sheet.code)).scalars()))[:count]
            told = race(SIGNING.replace("SABOTAGE", ground.sabotage), shop.shop.settings.data, ",".join(sheets))
            sums = [sum(map(int, column)) for column in zip(*(line.split(",") for line in told), strict=True)]
            refused, errors, busy = refused + sums[1], errors + sums[2], busy + sums[3]
            signed = shop.read(lambda session, sheets=sheets: _signed(session, sheets))
            for sheet in sheets:
                tally.tried(signed.get(sheet) == 1, f"{sheet} was signed {signed.get(sheet)} times")
            tally.tried(not sums[2] and sums[0] == len(sheets), f"{sums[2]} errors, {sums[0]} wins")
    tally.figure = f"8 racers each: {refused} refused in words, {errors} errors, {busy} sent again after a full wait"


def _signed(session, sheets):
    rows = session.execute(select(AuditEntry.body).where(AuditEntry.action == "stage signed")).scalars().all()
    return {sheet: sum(f'"sheet:{sheet}"' in body for body in rows) for sheet in sheets}


# --- R8


def _forgets_the_form(_ground: Ground):
    real = acting.actor
    return mock.patch.object(acting, "actor", side_effect=lambda *_: real(None))


@TABLE.row(
    "R8", "A double submit makes one record", "1,000 replays: 1,000 records",
    quick=25, full=1000, broken=5, twin=_forgets_the_form,
)  # fmt: skip
def sent_twice(ground: Ground, tally: Tally, count: int) -> None:
    """Every form is sent three times."""
    with ground.desk() as (desk, shop, _code):
        lot = shop.read(lambda session: session.execute(select(Lot.code)).scalars().first())
        for number in range(count):
            before = entries(shop)
            form = {"request_id": f"twice-{number}", "now_there": str(10 + number)}
            answers = [desk.post(f"/lot/{lot}/count", data=form) for _ in range(3)]
            led = {(answer.status_code, answer.headers.get("Location")) for answer in answers}
            tally.tried(entries(shop) == before + 1 and len(led) == 1, f"{entries(shop) - before} records, {led}")


def entries(shop: SmallShop) -> int:
    """How many entries the trail has."""
    return shop.read(lambda session: session.execute(select(func.count(AuditEntry.id))).scalar_one())


# --- R9


@contextmanager
def _listening(app) -> Iterator[int]:
    """The app behind the server that ``logbook serve`` uses, on a port of its own."""
    server = waitress.create_server(app, host="127.0.0.1", port=0, threads=4)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield server.effective_port
    finally:
        server.close()
        server.task_dispatcher.shutdown()
        thread.join(5)


@contextmanager
def _careless_server(app) -> Iterator[int]:
    """A server that hands on what has come so far, and an app that stores it as it comes."""
    shop = app.extensions["shop"]

    def stored(environ, start):
        if environ["REQUEST_METHOD"] == "POST":
            waiting = shop.store.temporary()
            waiting.write_bytes(environ["wsgi.input"].read(1000))
        return app(environ, start)

    server = make_server("127.0.0.1", 0, stored, threaded=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield server.server_port
    finally:
        server.shutdown()
        thread.join(5)
        server.server_close()


class Server:
    """What listens; a twin puts another in its place."""

    listening = staticmethod(_listening)


@TABLE.row(
    "R9", "A network lost mid-upload leaves nothing", "200 aborts: 0 files, 0 rows",
    quick=10, full=200, broken=3, twin=patched(Server, "listening", staticmethod(_careless_server)),
)  # fmt: skip
def aborted_upload(ground: Ground, tally: Tally, count: int) -> None:
    """A form with a picture breaks off at a random place, on the real server."""
    with ground.desk("ready") as (desk, shop, code):
        cookie = ground.cookie(shop)
        before = (entries(shop), _files(shop))
        with Server.listening(desk.application) as port:
            for _ in range(count):
                _send_part(port, cookie, code, ground.dice.randrange(200, 60_000))
            _send_whole_question(port)
        tally.trials = count
        left = (entries(shop), _files(shop)) != before
        tally.failures = count if left else 0
        tally.first = "something was left behind" if left else ""


def _send_part(port: int, cookie: str, code: str, size: int) -> None:
    body = b'--b\r\nContent-Disposition: form-data; name="pictures"; filename="a.jpg"\r\n\r\n' + b"\xff\xd8" * 40_000
    head = (
        f"POST /job/{code}/pictures HTTP/1.1\r\nHost: x\r\nCookie: bench-sign-in={cookie}\r\n"
        f"Content-Type: multipart/form-data; boundary=b\r\nContent-Length: {len(body) + 8}\r\n\r\n"
    )
    with closing(socket.create_connection(("127.0.0.1", port))) as line:
        line.sendall(head.encode() + body[:size])


def _send_whole_question(port: int) -> None:
    """Answered only after what came before was looked at."""
    with closing(socket.create_connection(("127.0.0.1", port))) as line:
        line.sendall(b"GET /sign-in HTTP/1.0\r\n\r\n")
        while line.recv(65536):
            pass


def _files(shop: SmallShop) -> set[str]:
    return {str(path) for path in shop.shop.store.folder.rglob("*") if path.is_file()}


# --- R11


@contextmanager
def _held(shop: SmallShop, seconds: float | None) -> Iterator[None]:
    """Somebody else writes for so long, or until the block ends."""
    holder = sqlite3.connect(shop.shop.settings.database_path, isolation_level=None, check_same_thread=False)
    holder.execute("BEGIN IMMEDIATE")
    timer = threading.Timer(seconds or 0, lambda: holder.execute("ROLLBACK"))
    if seconds is not None:
        timer.start()
    try:
        yield
    finally:
        if seconds is None:
            holder.execute("ROLLBACK")
        else:
            timer.join()
        holder.close()


@TABLE.row(
    "R11", "A locked database: writes wait, then an honest 503 with the form kept",
    "3 s: 0 errors; 8 s: 503, no duplicate",
    quick=2, full=4, broken=1, twin=patched(sqlite, "BUSY_TIMEOUT_MS", 0),
)  # fmt: skip
def locked(ground: Ground, tally: Tally, count: int) -> None:
    """Quick: 0.3 s, and with the wait cut to 50 ms; full: as the goal says."""
    with ground.desk() as (desk, shop, _code):
        for number in range(count):
            form = {"request_id": f"locked-{number}", "eyewash": f"beside sink {number}"}
            shop.shop.database.engine.dispose()
            with _held(shop, 3 if ground.full else 0.3):
                answer = desk.post("/shop/facts", data=form)
            tally.tried(answer.status_code == 303, f"while it waits: {answer.status_code}")
            tally.tried(*_honest(ground, desk, shop, number))


def _honest(ground: Ground, desk, shop: SmallShop, number: int) -> tuple[bool, str]:
    before, form = entries(shop), {"request_id": f"longer-{number}", "eyewash": f"at door {number}"}
    with ExitStack() as stack:
        if not ground.full:
            stack.enter_context(mock.patch.object(sqlite, "BUSY_TIMEOUT_MS", 50))
        shop.shop.database.engine.dispose()
        with _held(shop, None):
            answer = desk.post("/shop/facts", data=form)
    shop.shop.database.engine.dispose()
    page = answer.get_data(as_text=True)
    kept = condition.BUSY in page and f'value="at door {number}"' in page
    again = [desk.post("/shop/facts", data=form).status_code for _ in range(2)]
    right = answer.status_code == 503 and kept and again == [303, 303] and entries(shop) == before + 1
    return right, f"{answer.status_code}, form kept: {kept}, sent again: {again}"
