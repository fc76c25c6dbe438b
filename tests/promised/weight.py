"""What is too much for the running server: S2, S12."""

from concurrent.futures import ThreadPoolExecutor
from itertools import chain
from pathlib import Path

from logbook.web import gate
from promised.ground import Ground, saboteur
from promised.rows import TABLE, Tally
from promised.served import Caller, served
from support.mutants import damaged
from support.shop_walk import PHOTOGRAPHS
from web import test_gate as gates

# --- S2


BREAKS = """
from logbook.background.opening import PictureOpener
def _breaks(*_words):
    raise ZeroDivisionError("a decoder's own fault, let through")
PictureOpener.look = _breaks
"""
ONE_JOB, AT_ONCE = 48, 2
"""Files for each job, which holds 60 pictures at most; people who send at the same time."""


@TABLE.row(
    "S2", "Hostile uploads never crash or bloat the app", "10,000 over HTTP: 0 answers of 5xx, web memory ≤ +50 MB",
    quick=24, full=10_000, broken=3, twin=saboteur(BREAKS),
)  # fmt: skip
def hostile_uploads(ground: Ground, tally: Tally, count: int) -> None:
    """Damaged copies of a real picture, sent to the running server; each is taken or refused by name."""
    with ground.shop("ready") as (shop, code):
        waiting = _incoming(shop)
        codes = [code, *(shop.order(customer="") for _ in range(count // ONE_JOB))]
        sent = [(f"/job/{codes[number // ONE_JOB]}/pictures", *one)
                for number, one in enumerate(damaged(count, seed=ground.dice.randrange(10**6)))]  # fmt: skip
        with served(ground, shop) as caller:
            whole = PHOTOGRAPHS[0].read_bytes()
            for turn in range(4):  # what it loads with its first pictures is no growth
                caller.send_file(f"/job/{code}/pictures", "whole.jpg", whole, f"warm-{turn}")
            before = caller.megabytes()
            with ThreadPoolExecutor(AT_ONCE) as people:
                told = people.map(lambda turn: _send(caller.another(), sent[turn::AT_ONCE]), range(AT_ONCE))
                for good, words in chain.from_iterable(told):
                    tally.tried(good, words)
            grown = caller.megabytes() - before
        tally.tried(grown <= 50, f"grown by {grown:.0f} MB")
        tally.tried(_incoming(shop) == waiting, "files were left behind")
        tally.figure = f"memory {before:.0f} MB {grown:+.0f} MB"


def _send(caller: Caller, files: list[tuple[str, str, bytes]]) -> list[tuple[bool, str]]:
    told = []
    for path, name, content in files:
        status, page = caller.send_file(path, name, content, f"up-{name}")
        told.append((status == 303 or (status == 422 and name in page), f"{name}: {status}"))
    caller.line.close()
    return told


def _incoming(shop) -> list[Path]:
    return sorted(path for path in shop.shop.settings.files_path.glob("incoming/*"))


# --- S12

UNLIMITED = """
import flask
flask.Request.max_content_length = property(lambda self: None, lambda self, value: None)
"""


@TABLE.row(
    "S12", "Requests that are too large are refused early", "413, memory flat", quick=12, full=999, broken=4,
    twin=saboteur(UNLIMITED),
)  # fmt: skip
def too_large(ground: Ground, tally: Tally, count: int) -> None:
    """Two megabytes at every address that writes and takes no files; quick takes the first few."""
    with ground.desk() as (desk, shop, _code):
        addresses = [one for one in gates._addresses(desk.application, "POST") if one[0] not in gate.UPLOADS][:count]
        with served(ground, shop) as caller:
            caller.post("/shop/facts", b"reason=" + b"x" * 2_000_000)
            before = caller.megabytes()
            for _, path in addresses:
                told = caller.post(path, b"reason=" + b"x" * 2_000_000)[0]
                tally.tried(told == 413, f"{path}: {told}")
            grown = caller.megabytes() - before
    tally.tried(grown <= 10, f"grown by {grown:.0f} MB")
    tally.figure = f"memory {grown:+.1f} MB"
