"""Interlace runs in the background: done once, stopped when asked, never stuck, whatever dies."""

import errno
import os
import signal
import sqlite3
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy.exc import OperationalError

from logbook import faults
from logbook.actions import repairs, runs
from logbook.background import compute
from logbook.engine.interlace import Cancelled
from logbook.records.audit import entries_for
from logbook.records.files import FileStore, hash_file
from logbook.records.floor import Run
from support.dying import lives
from support.patience import until

pytestmark = pytest.mark.both_databases


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


def test_a_run_whose_worker_was_killed_is_done_by_the_next_and_that_is_on_record(shop, waiting):
    """Two points; the promises kill at all of them."""
    with lives() as worker:
        ends = [worker.work(shop.shop.settings.data, waiting, "claimed:1:kill")]
        compute.work_on(shop.shop, waiting)
        assert _state(shop, waiting)[0] == "running", "the dead worker's lease still holds"
        ends.append(worker.work(shop.shop.settings.data, waiting, "renamed:1:kill", late=60))
    assert ends == [-signal.SIGKILL] * 2
    later = datetime.now(UTC) + 4 * runs.LEASE
    compute.work_on(shop.shop, waiting, clock=lambda: later)
    assert _state(shop, waiting) == ("done", None)
    assert shop.read(lambda session: session.get_one(Run, waiting).attempts) == 3
    told = shop.read(lambda session: repairs.newest(session, 5))
    assert [one.sentence for one in told] == ["interlace run begun again: its worker had stopped answering"] * 2
    assert {one.about for one in told} == {f"run:{shop.read(lambda session: session.get_one(Run, waiting).code)}"}
    shop.shop.store.sweep()
    assert _left_behind(shop) == []


@pytest.mark.parametrize("point", ["writing", "synced", "folder-synced", "recording"])
def test_a_disk_that_fails_at_a_point_fails_the_run_in_words(shop, waiting, monkeypatch, point):
    monkeypatch.setattr(faults, "_passed", {})
    monkeypatch.setenv(faults.VARIABLE, f"{point}:1:enospc")
    compute.work_on(shop.shop, waiting)
    state, trouble = _state(shop, waiting)
    assert (state, "disk is full" in trouble or "No space left" in trouble) == ("failed", True)
    assert _left_behind(shop) == []
    monkeypatch.delenv(faults.VARIABLE)
    shop.act(lambda session, by: runs.again(session, by, run=session.get_one(Run, waiting)))
    compute.work_on(shop.shop, waiting)
    assert _state(shop, waiting) == ("done", None)


def test_a_wish_for_a_fault_that_is_none_is_said(monkeypatch):
    monkeypatch.setenv(faults.VARIABLE, "claimed:first:explode")
    with pytest.raises(ValueError, match="must be name:n:kill"):
        faults.fault("claimed")


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


def test_the_lease_is_kept_while_a_large_file_is_stored(shop, waiting, monkeypatch):
    monkeypatch.setattr(compute, "BEAT_SECONDS", 0.01)
    ticks = iter(range(10_000))

    def lease():
        return shop.read(lambda session: session.get_one(Run, waiting).lease_until)

    def slow_adopt(store, temporary):
        before = lease()
        until(lambda: lease() > before + timedelta(minutes=3))
        return real(store, temporary)

    real = FileStore.adopt
    monkeypatch.setattr(FileStore, "adopt", slow_adopt)
    compute.work_on(shop.shop, waiting, clock=lambda: shop.now + timedelta(minutes=next(ticks)))
    assert _state(shop, waiting) == ("done", None)


def test_a_missed_beat_is_no_reason_to_become_deaf(shop, waiting, monkeypatch):
    monkeypatch.setattr(compute, "BEAT_SECONDS", 0.01)
    beats = []

    def beat(session, claimed, **more):
        beats.append(1)
        if len(beats) == 1:
            raise OperationalError("BEGIN IMMEDIATE", {}, sqlite3.OperationalError("database is locked"))
        return real(session, claimed, **more)

    def computing(*_words, cancelled, **_more):
        until(lambda: len(beats) > 1)
        shop.act(lambda session, by: runs.cancel(session, by, run=session.get_one(Run, waiting)))
        until(cancelled)
        raise Cancelled

    real = runs.beat
    monkeypatch.setattr(runs, "beat", beat)
    monkeypatch.setattr(compute, "interlace", computing)
    compute.work_on(shop.shop, waiting)
    assert _state(shop, waiting) == ("cancelled", "stopped while it ran")
    assert _left_behind(shop) == []


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), "No space left on device"),
        (OSError(errno.EROFS, os.strerror(errno.EROFS)), "Read-only file system"),
        (MemoryError(), "MemoryError"),
        (ZeroDivisionError(), "ZeroDivisionError"),
    ],
)
def test_whatever_goes_wrong_the_run_says_so_and_can_be_started_again(shop, waiting, monkeypatch, error, words):
    def breaks(*_words, **_more):
        raise error

    with monkeypatch.context() as broken:
        broken.setattr(compute, "interlace", breaks)
        compute.work_on(shop.shop, waiting)
    state, trouble = _state(shop, waiting)
    assert state == "failed"
    assert words in trouble
    assert _left_behind(shop) == []
    shop.act(lambda session, by: runs.again(session, by, run=session.get_one(Run, waiting)))
    compute.work_on(shop.shop, waiting)
    assert _state(shop, waiting) == ("done", None)


def test_a_run_that_two_workers_finish_is_recorded_once(shop, waiting, monkeypatch):
    """The first one was only slow: it comes back after its lease and finds another's record."""
    seen = []

    class Slow(compute._Heart):
        def __exit__(self, *words):
            super().__exit__(*words)
            if not seen:
                seen.append("the second one")
                compute.work_on(shop.shop, waiting, clock=lambda: datetime.now(UTC) + runs.LEASE + timedelta(hours=1))

    monkeypatch.setattr(compute, "_Heart", Slow)
    compute.work_on(shop.shop, waiting)
    assert _state(shop, waiting) == ("done", None)
    acts = shop.read(
        lambda session: [entry.action for entry in entries_for(session, f"run:{session.get_one(Run, waiting).code}")]
    )
    assert acts.count("interlace run done") == 1
    kept = shop.read(lambda session: session.get_one(Run, waiting).output.sha256)
    assert hash_file(shop.shop.store.path(kept)) == kept
