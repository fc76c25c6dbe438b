"""Interlace runs in the background: done once, stopped when asked, never stuck, whatever dies."""

import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta

import pytest

from logbook.actions import runs
from logbook.background import compute, worker
from logbook.background.bell import Bell
from logbook.background.supervise import Supervisor
from logbook.records.floor import Run
from support.small_shop import job, small_shop

KILLED = """
import os, signal, sys
from pathlib import Path
from logbook.background import compute
from logbook.records.opened import open_shop
from logbook.settings import Settings
moment = sys.argv[3]
def die(*_, **__):
    os.kill(os.getpid(), signal.SIGKILL)
if moment == "after claim":
    compute._computed = die
elif moment == "while computing":
    compute._Heart.tell = die
elif moment == "after the file is stored":
    compute.runs.finish = die
compute.work_on(open_shop(Settings(data=Path(sys.argv[1]))), int(sys.argv[2]))
"""


@pytest.fixture
def shop(tmp_path):
    made = small_shop(tmp_path / "data")
    yield made
    made.shop.database.close()


@pytest.fixture
def waiting(shop):
    """A run that waits for a worker; the shop's clock is the real one from here on."""
    code = shop.order(customer="")
    shop.choose_pitch(code)
    shop.now = datetime.now(UTC)
    return shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, code)).id)


def _state(shop, run_id):
    return shop.read(lambda session: (session.get_one(Run, run_id).state, session.get_one(Run, run_id).trouble))


def _left_behind(shop):
    return list((shop.shop.store.folder / "incoming").iterdir())


def test_a_run_is_done_once_even_when_it_is_rung_twice(shop, waiting):
    compute.work_on(shop.shop, waiting)
    before = shop.read(lambda session: session.get_one(Run, waiting).ended_at)
    compute.work_on(shop.shop, waiting)
    assert _state(shop, waiting) == ("done", None)
    assert shop.read(lambda session: session.get_one(Run, waiting).ended_at) == before
    assert _left_behind(shop) == []


def test_a_waiting_run_is_stopped_at_once(shop, waiting):
    shop.act(lambda session, by: runs.cancel(session, by, run=session.get_one(Run, waiting)))
    compute.work_on(shop.shop, waiting)
    assert _state(shop, waiting) == ("cancelled", "stopped by Olga")


def test_a_run_at_work_obeys_the_wish_to_stop(shop, waiting, monkeypatch):
    monkeypatch.setattr(compute._Heart, "stop_wanted", lambda _self: True)
    compute.work_on(shop.shop, waiting)
    assert _state(shop, waiting) == ("cancelled", "stopped while it ran")
    assert _left_behind(shop) == []


def test_a_picture_that_went_missing_fails_the_run_in_its_own_name(shop, waiting):
    recipe = shop.read(lambda session: runs.recipes.load(session.get_one(Run, waiting).recipe))
    shop.shop.store.drop(recipe["pictures"][0]["sha256"])
    compute.work_on(shop.shop, waiting)
    assert _state(shop, waiting) == (
        "failed",
        "The picture china.jpg is missing from the files folder; restore it from a backup.",
    )


@pytest.mark.parametrize("moment", ["after claim", "while computing", "after the file is stored"])
def test_a_run_whose_worker_was_killed_is_done_by_the_next(shop, waiting, moment):
    command = [sys.executable, "-c", KILLED, shop.shop.settings.data, str(waiting), moment]
    assert subprocess.run(command, check=False).returncode == -signal.SIGKILL
    compute.work_on(shop.shop, waiting)
    assert _state(shop, waiting)[0] == "running", "the dead worker's lease still holds"
    later = datetime.now(UTC) + runs.LEASE + timedelta(seconds=1)
    compute.work_on(shop.shop, waiting, clock=lambda: later)
    assert _state(shop, waiting) == ("done", None)
    assert shop.read(lambda session: session.get_one(Run, waiting).attempts) == 2
    shop.shop.store.sweep()
    assert _left_behind(shop) == []


def test_a_run_that_dies_three_times_fails_with_a_reason(shop, waiting):
    when = shop.now
    for _ in range(runs.MOST_ATTEMPTS):
        when += runs.LEASE + timedelta(seconds=1)
        shop.act(lambda session, _by, when=when: runs.claim(session, waiting, when))
    when += runs.LEASE + timedelta(seconds=1)
    shop.act(lambda session, by: runs.give_up_dead(session, by, when))
    state, trouble = _state(shop, waiting)
    assert state == "failed"
    assert "stopped answering" in trouble
    shop.act(lambda session, by: runs.again(session, by, run=session.get_one(Run, waiting)))
    compute.work_on(shop.shop, waiting)
    assert _state(shop, waiting) == ("done", None)


def test_a_worker_that_was_thought_dead_cannot_write_over_its_successor(shop, waiting):
    first = shop.act(lambda session, _by: runs.claim(session, waiting, shop.now))
    later = shop.now + runs.LEASE + timedelta(seconds=1)
    second = shop.act(lambda session, _by: runs.claim(session, waiting, later))
    assert second.token != first.token
    assert not shop.act(lambda session, _by: runs.beat(session, first, percent=50, now=later))
    assert not shop.act(
        lambda session, by: runs.finish(session, by, first, stored=("0" * 64, 1), result={}, engine_version="")
    )
    assert shop.act(lambda session, _by: runs.beat(session, second, percent=50, now=later))


def test_a_lost_ring_is_made_good_by_the_sweep(shop, waiting):
    rung = []
    bell = Bell(shop.shop.settings, rung.append)
    worker.sweep(shop.shop, bell)
    worker.sweep(shop.shop, bell)  # it lies in the queue already
    assert [task.args for task in bell.huey.pending()] == [(waiting,)]
    bell.huey.execute(bell.huey.dequeue())
    assert rung == [waiting]


def _until(condition, seconds=30):
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "it did not happen in time"
        time.sleep(0.1)


def _alive(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def test_a_worker_that_dies_is_started_again_and_does_what_waits(shop, waiting):
    supervisor = Supervisor(shop.shop.settings)
    supervisor.start()
    try:
        _until(lambda: supervisor.pid is not None)
        first = supervisor.pid
        os.kill(first, signal.SIGKILL)
        _until(lambda: supervisor.pid not in (None, first))
        _until(lambda: _state(shop, waiting)[0] == "done", seconds=60)
    finally:
        supervisor.stop()


def test_a_worker_ends_with_the_server_however_that_ends(tmp_path):
    command = [sys.executable, "-m", "logbook", "serve", "--data", tmp_path / "data", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as server:
        server.stdout.readline()
        _until(lambda: _children(server.pid))
        child = _children(server.pid)[0]
        server.kill()
        server.wait()
    _until(lambda: not _alive(child))


def _children(pid):
    told = subprocess.run(["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False).stdout
    return [int(word) for word in told.split()]
