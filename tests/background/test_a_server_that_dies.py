"""A shop on a server: workers and the server itself die while a run goes on, and the run is done all the same, once."""

import signal
from datetime import UTC, datetime

import pytest

from logbook.actions import runs
from logbook.background import compute, worker
from logbook.background.bell import Bell
from logbook.records import chain
from logbook.records.audit import entries_for
from logbook.records.floor import Run
from support.dying import lives

pytestmark = pytest.mark.parametrize("kind_of_database", ["server"], indirect=True)


@pytest.fixture(autouse=True)
def _as_old_as_a_shop(waiting, harbour):
    """A database copied from a template carries counters that the server's log knows nothing of until a checkpoint.

    A shop that was moved has set them anew; here they would fall back with a server that dies in the next minutes
    (PostgreSQL's documentation, "CREATE DATABASE": STRATEGY WAL_LOG, and its source, commands/sequence.c).
    """
    assert waiting, "its shop is there"
    harbour.server.tell("CHECKPOINT")


def _run(shop, run_id):
    return shop.read(lambda session: session.get_one(Run, run_id))


def test_a_run_is_done_once_whatever_dies_and_the_trail_is_whole(shop, waiting, harbour, monkeypatch):
    """A worker by kill -9; the server without a word (pg_ctl -m immediate) before the record, and while it computes."""
    server, record, interlace = harbour.server, compute._record, compute.interlace
    with lives() as killed:
        assert killed.work(shop.shop.settings.data, waiting, "computing:1:kill") == -signal.SIGKILL
    server.stop("immediate")
    server.start()
    assert _run(shop, waiting).state == "running", "what was committed is there"

    def without_a_server(*words):
        server.stop("immediate")
        record(*words)

    later = datetime.now(UTC) + 2 * runs.LEASE
    monkeypatch.setattr(compute, "_record", without_a_server)
    compute.work_on(shop.shop, waiting, clock=lambda: later)
    server.start()
    assert (_run(shop, waiting).state, _run(shop, waiting).trouble) == ("running", None), "left to its lease"

    def restarting(*words, **more):
        server.stop("immediate")
        server.start()
        return interlace(*words, **more)

    monkeypatch.setattr(compute, "_record", record)
    monkeypatch.setattr(compute, "interlace", restarting)
    compute.work_on(shop.shop, waiting, clock=lambda: later + 2 * runs.LEASE)
    done = _run(shop, waiting)
    assert (done.state, done.trouble, done.attempts) == ("done", None, 3)
    told = shop.read(lambda session: [entry.action for entry in entries_for(session, f"run:{done.code}")])
    assert [action for action in told if action == "interlace run done"] == ["interlace run done"], told
    assert shop.read(chain.first_bad) is None


def test_a_bell_that_fails_is_made_good_by_the_sweep(shop, waiting, harbour):
    bell = Bell(shop.shop.settings)
    harbour.server.stop("immediate")
    bell.ring(waiting)  # nobody is told, and nothing is undone
    harbour.server.start()
    worker.sweep(shop.shop, bell)
    assert [task.args for task in bell.huey.pending()] == [(waiting,)]
    bell.huey.storage.close()
