"""What happens to prints: A7 to A10 and A12."""

import os
import shutil
import sqlite3
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from unittest import mock

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test
from sqlalchemy import event, func, select

from actions import test_life_cycle as life
from logbook.actions import bench, benchfindings, leaving, pitch, trace
from logbook.engine import interlace as engine
from logbook.engine.plan import make_plan
from logbook.lengths import parse_length
from logbook.records.floor import Print
from logbook.records.opened import Shop, open_shop
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from logbook.rules import stages
from logbook.settings import Settings
from promised.ground import Ground, opened, patched
from promised.rows import TABLE, Tally
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import SmallShop, one, prints

# --- A7

ACTIONS_EACH = 20


def _skips(stage: str) -> str:
    """From the printer straight to the adhesive, from the inspection straight out of the door."""
    after = stages.next_stage(stage)
    return stages.next_stage(after) if stage in ("print", "inspect") else after


@TABLE.row(
    "A7", "Steps only in their permitted order; overrides follow note, ask and stop",
    "25,000 generated actions, 0 illegal states",
    quick=2, full=2000, broken=40, twin=patched(bench, "next_stage", _skips),
)  # fmt: skip
def life_cycle(ground: Ground, tally: Tally, count: int) -> None:
    """Stories of twenty random actions against a plain model; books and bench are compared after each."""
    made, told = ground.kind("life")
    code, moment = told.split()
    data = made.shop.settings.data
    far = replace(made.shop, settings=Settings(data=data.with_name("far")))
    begun = {"print": made, "inspect": SmallShop(far, datetime.fromisoformat(moment))}
    steps = [0]
    try:
        with ground.folder() as folder:
            run_state_machine_as_test(_counting(steps, begun, code, folder / "data"), settings=_stories(count))
    except (Exception, pytest.fail.Exception) as error:
        tally.failures, tally.first = 1, (str(error).strip() or repr(error)).splitlines()[0][:200]
    tally.trials = max(1, steps[0])
    tally.figure = f"{count} stories"


def _counting(steps, begun, code, data: Path):
    class Counting(life.LifeCycle):
        """The machine of the tests, its actions counted; every story plays in the same folder, opened once."""

        same = _careless(opened(data))

        def _copy_of(self, begun):
            shutil.rmtree(data, ignore_errors=True)
            shutil.copytree(begun.shop.settings.data, data)
            return SmallShop(self.same, begun.now)

        def teardown(self):
            self.same.database.close()

        def _attempt(self, *words, **more):
            steps[0] += 1
            return super()._attempt(*words, **more)

    Counting.begun, Counting.code = begun, code
    return Counting


def _careless(shop: Shop) -> Shop:
    """Nobody waits for the disk: which steps are permitted does not hang on it."""
    event.listen(shop.database.engine, "connect", lambda connection, _: connection.execute("PRAGMA synchronous = OFF"))
    return shop


def _stories(count: int) -> settings:
    return settings(
        max_examples=count, stateful_step_count=ACTIONS_EACH, deadline=None, database=None, derandomize=True,
        phases=[Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip


# --- A8


def _without_pitch(_ground: Ground):
    real = trace.of_print
    return mock.patch.object(trace, "of_print", lambda *words: {**real(*words), "pitch": None})


@TABLE.row(
    "A8", "Every shipped print answers: pitch, its test, lens lot, printer, engine version, files", "100 % closed",
    quick=2, full=2000, broken=1, twin=_without_pitch,
)  # fmt: skip
def answers_all(ground: Ground, tally: Tally, count: int) -> None:
    """Quick: prints of a small shop (their pitch is carried over, so its origin stands for the test); full: of the
    ten-year shop, where there is one.
    """
    if ground.full and ground.years:
        shop = open_shop(Settings(data=ground.years))
        took = _all_answer(shop, tally, count)
        shop.database.close()
        tally.figure = f"p95 {took[int(len(took) * 0.95)]:.1f} ms in the ten-year shop (goal 50)"
        return
    with ground.shop("mounted") as (shop, code):
        shop.inspect(code)
        shop.leave(code)
        _all_answer(shop.shop, tally, count)


def _all_answer(shop, tally: Tally, count: int) -> list[float]:
    took = []
    with shop.database.reading() as session:
        gone = session.execute(select(Print).where(Print.stage == "gone").limit(count)).scalars().all()
        for piece in gone:
            began = time.perf_counter()
            told = trace.of_print(session, piece)
            took.append(1000 * (time.perf_counter() - began))
            tally.tried(_closed(told), f"{piece.serial} does not answer")
    return sorted(took)


def _closed(told) -> bool:
    known = told["pitch"] or {}
    run, sheet = told["run"] or {}, told["sheet"] or {}
    source = known.get("test") or known.get("origin")
    return all((known.get("lpi"), source, known.get("printer") or known.get("mode"), sheet.get("lens_lot"),
                run.get("file_sha256"), run.get("engine_version") or run.get("engine"), told["acts"]))  # fmt: skip


# --- A9


def _forgets_the_last(_ground: Ground):
    real = pitch.prints_from
    return mock.patch.object(pitch, "prints_from", lambda *words: real(*words)[:-1])


@TABLE.row(
    "A9", "Withdrawing a pitch lists every print that came of it and sets aside what has not left",
    "exact set, ≤ 1 s at 100,000 jobs", twin=_forgets_the_last,
)  # fmt: skip
def withdrawn(ground: Ground, tally: Tally, _count: int) -> None:
    """Two jobs on the pitch, one of them half gone, and one on another pitch; in the ten-year shop by its rows."""
    with ground.shop("mounted") as (shop, code):
        shop.inspect(code)
        first = shop.read(lambda session: prints(session, code)[0].serial)
        _one_leaves(shop, first)
        shop.ready(customer="")
        wanted = shop.read(lambda session: {row.serial for row in session.execute(select(Print)).scalars()})
        _on_another_pitch(shop)
        listed = shop.act(lambda session, by: _withdraw(session, by))
        tally.tried(listed == wanted, f"listed {listed ^ wanted} wrongly")
        aside = shop.read(lambda session: _aside(session))
        tally.tried(aside == wanted - {first}, f"set aside {aside ^ (wanted - {first})} wrongly")
    if ground.full and ground.years:
        tally.figure = _timed_withdrawal(ground.years, tally)


def _one_leaves(shop: SmallShop, serial: str) -> None:
    shop.wait(hours=80)
    way = leaving.WayOut(how="collected", on=shop.now.astimezone().date())


    def leave(session, by):
        leaving.leave(session, by, piece=one(session, Print, serial=serial), way=way, values={})

    shop.act(leave)


def _on_another_pitch(shop: SmallShop) -> str:
    """A pitch that takes no print with it."""
    return shop.act(lambda session, by: pitch.take_nominal(session, by, conditions=_conditions(session)).code)


def _conditions(session):
    return pitch.conditions_of(one(session, PitchOnRecord, origin="carried over"))


def _withdraw(session, by):
    found = one(session, PitchOnRecord, origin="carried over")
    return {piece.serial for piece in pitch.withdraw(session, by, pitch=found, reason="wrong paper")}


def _aside(session):
    return set(session.execute(select(Print.serial).where(Print.set_aside_reason.is_not(None))).scalars())


def _timed_withdrawal(years: Path, tally: Tally) -> str:
    shop = open_shop(Settings(data=years))
    with shop.database.reading() as session:
        last = session.execute(select(func.max(PitchOnRecord.id))).scalar_one()
        found = session.get_one(PitchOnRecord, last)
        began = time.perf_counter()
        listed = {piece.id for piece in pitch.prints_from(session, found)}
        took = time.perf_counter() - began
    shop.database.close()
    connection = sqlite3.connect(years / "logbook.sqlite")
    query = (
        "SELECT print.id FROM print JOIN sheet ON sheet.id = print.sheet_id JOIN run ON run.id = sheet.run_id "
        "WHERE run.pitch_id = ?"
    )
    wanted = {number for (number,) in connection.execute(query, (last,))}
    connection.close()
    tally.tried(listed == wanted, f"{len(listed ^ wanted)} prints listed wrongly in the ten-year shop")
    return f"{len(listed)} prints listed in {took:.2f} s in the ten-year shop"


# --- A10


@contextmanager
def _open_doors():
    """Neither the door nor the signature asks about the inspection; the one would stop what the other lets through."""
    door = mock.patch.object(leaving, "may_leave", return_value=[])
    with door, mock.patch.object(benchfindings, "failed_inspection", return_value=None):
        yield


@TABLE.row(
    "A10", "A print that failed its inspection cannot leave without rework or a concession", "0 paths",
    twin=lambda _ground: _open_doors(),
)  # fmt: skip
def no_way_out(ground: Ground, tally: Tally, _count: int) -> None:
    """Every way out, and every signature, for a failed piece; and for one that failed after it was packed."""
    with ground.shop("mounted") as (shop, code):
        shop.inspect(code, "failed")
        for how in leaving.WAYS_OUT:
            for as_order in (True, False):
                way = leaving.WayOut(how=how, on=shop.now.astimezone().date(), as_order=as_order, reason="as agreed")
                tally.tried(_stops(shop, lambda session, by, way=way: _leave(session, by, code, way)), way)
        for result in ("passed", "failed"):
            tally.tried(_stops(shop, lambda session, by, result=result: _inspect(session, by, code, result)), result)
        # whoever brings it to the packing table by another way still meets the door
        shop.act(lambda session, _by: _put_at_the_door(session, code))
        way = leaving.WayOut(how="collected", on=shop.now.astimezone().date())
        tally.tried(_stops(shop, lambda session, by: _leave(session, by, code, way)), "from the packing table")


def _stops(shop: SmallShop, work) -> bool:
    try:
        shop.act(work)
    except Refused:
        return True
    return False


def _leave(session, by, code, way):
    leaving.leave(session, by, piece=prints(session, code)[0], way=way, values={})


def _inspect(session, by, code, result):
    signature = bench.Signature(values={"inspect-result": result})
    bench.sign_stage(session, by, subjects=[prints(session, code)[0]], stage="inspect", signature=signature)


def _put_at_the_door(session, code):
    prints(session, code)[0].stage = "pack"


# --- A12

MADE = """
import sys
from pathlib import Path
from decimal import Decimal
sys.path.insert(0, sys.argv[1])
from promised.shopfloor import make
SABOTAGE
print(make(Path(sys.argv[2]), threads=int(sys.argv[3])))
"""


def make(folder: Path, *, threads: int) -> str:
    """Interlace the test's photographs with so many threads; the file's SHA-256."""
    size = parse_length("40mm")
    plan = make_plan(lpi="20.12", dpi="300", width=size, height=size, flip="left-right", pictures=2)
    out = folder / f"made-{os.getpid()}.tif"
    result = engine.interlace(plan, PHOTOGRAPHS, out, threads=threads)
    out.unlink()
    return f"{result.hashes.file_sha256} {result.hashes.pixels_sha256}"


def _with_the_clock(_ground: Ground):
    real = engine._form

    def form(plan, ground, sources, provenance):
        return real(plan, ground, sources, {**provenance, "made at": str(time.time_ns())})

    return mock.patch.object(engine, "_form", form)


@TABLE.row(
    "A12", "Same inputs, engine and decoder versions give the same output on any processor and thread count",
    "200/200, under several OPENBLAS_CORETYPE values", quick=4, full=200, broken=3, twin=_with_the_clock,
)  # fmt: skip
def same_output(ground: Ground, tally: Tally, count: int) -> None:
    """One to eight threads; every twentieth in a process of its own that is told to be another kind of processor."""
    kinds = ("Haswell", "Nehalem", "Prescott", "SkylakeX", "Zen")
    with ground.folder() as folder:
        expected, others = make(folder, threads=1), 0
        for number in range(count):
            if number % 20 == 3 and not ground.sabotage:
                told, others = _elsewhere(folder, kinds[others % len(kinds)], 1 + number % 4), others + 1
            else:
                told = make(folder, threads=1 + number % 8)
            tally.tried(told == expected, f"trial {number}: {told[:12]} instead of {expected[:12]}")
    tally.figure = f"{others} of them under another OPENBLAS_CORETYPE (this processor's instructions all the same)"


def _elsewhere(folder: Path, kind: str, threads: int) -> str:
    tests = str(Path(__file__).resolve().parents[1])
    command = [sys.executable, "-c", MADE.replace("SABOTAGE", ""), tests, folder, str(threads)]
    environment = {**os.environ, "OPENBLAS_CORETYPE": kind}
    ended = subprocess.run(command, check=True, capture_output=True, text=True, env=environment)
    return ended.stdout.strip()
