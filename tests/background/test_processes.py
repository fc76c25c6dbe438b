"""Server, worker and the bell between them: whoever dies is replaced, whatever is lost is made good."""

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import urllib.request
from contextlib import ExitStack, suppress
from datetime import UTC, datetime, timedelta
from unittest import mock

import pytest
from sqlalchemy.exc import DatabaseError

from logbook.actions import repairs
from logbook.background import worker
from logbook.background.bell import Bell
from logbook.background.supervise import Supervisor, worker_command
from logbook.command_line import serving
from logbook.records.floor import Run
from logbook.refusals import Refused
from logbook.settings import Settings
from logbook.web import lookers
from logbook.web.common import Common, begun
from logbook.web.condition import DAMAGED, Condition
from logbook.web.lookers import Lookers
from support.patience import until


def _state(shop, run_id):
    return shop.read(lambda session: (session.get_one(Run, run_id).state, session.get_one(Run, run_id).trouble))


def test_a_lost_ring_is_made_good_by_the_sweep(shop, waiting):
    rung = []
    bell = Bell(shop.shop.settings, rung.append)
    worker.sweep(shop.shop, bell)
    worker.sweep(shop.shop, bell)  # it lies in the queue already
    assert [task.args for task in bell.huey.pending()] == [(waiting,)]
    bell.huey.execute(bell.huey.dequeue())
    assert rung == [waiting]


def test_what_a_crash_left_is_swept_and_that_is_on_record(shop):
    left = shop.shop.store.temporary()
    os.utime(left, (0, 0))
    shop.shop.store.temporary()  # somebody is at this one
    worker.sweep(shop.shop, Bell(shop.shop.settings))
    told = shop.read(lambda session: [one.sentence for one in repairs.newest(session, 5)])
    assert (left.exists(), told) == (False, ["left-over files deleted (half-written files: 1)"])


def test_a_queue_that_is_no_database_any_more_is_begun_anew(shop, waiting):
    shop.shop.settings.bell_path.write_bytes(b"This was a queue once." * 400)
    bell = Bell(shop.shop.settings)
    worker.sweep(shop.shop, bell)
    assert [task.args for task in bell.huey.pending()] == [(waiting,)]


def test_a_queue_where_nothing_can_be_written_is_kept_in_memory(tmp_path):
    bell = Bell(Settings(data=tmp_path / "not there"))
    bell.ring(7)
    assert [task.args for task in bell.huey.pending()] == [(7,)]


def test_a_ring_that_fails_undoes_nothing_that_was_recorded(shop, waiting):
    bell = Bell(shop.shop.settings)
    bell.huey.storage.close()
    shop.shop.settings.bell_path.write_bytes(b"This was a queue once." * 400)
    bell.ring(waiting)
    assert _state(shop, waiting)[0] == "waiting"


def _alive(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def test_a_worker_that_dies_is_started_again_and_does_what_waits(shop, waiting):
    supervisor = Supervisor(worker_command(shop.shop.settings))
    supervisor.start()
    try:
        until(lambda: supervisor.pid is not None)
        first = supervisor.pid
        os.kill(first, signal.SIGKILL)
        until(lambda: supervisor.pid not in (None, first))
        until(lambda: _state(shop, waiting)[0] == "done", seconds=60)
    finally:
        supervisor.stop()


def test_a_worker_ends_with_the_server_however_that_ends(tmp_path):
    command = [sys.executable, "-m", "logbook", "serve", "--data", tmp_path / "data", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as server:
        server.stdout.readline()
        until(lambda: _children(server.pid))
        child = _children(server.pid)[0]
        server.kill()
        server.wait()
    until(lambda: not _alive(child))


def _children(pid):
    told = subprocess.run(["ps", "-o", "pid=", "--ppid", str(pid)], capture_output=True, text=True, check=False).stdout
    return [int(word) for word in told.split()]


def test_every_process_that_answers_ends_with_the_first_and_one_that_dies_is_replaced(tmp_path):
    command = [sys.executable, "-m", "logbook", "serve", "--data", tmp_path / "data", "--port", "0", "--no-worker"]
    with subprocess.Popen([*command, "--processes", "2"], stdout=subprocess.PIPE, text=True) as server:
        address = server.stdout.readline().strip()
        until(lambda: _children(server.pid))
        first = _children(server.pid)[0]
        os.kill(first, signal.SIGKILL)
        until(lambda: _children(server.pid) not in ([], [first]))
        second = _children(server.pid)[0]
        with urllib.request.urlopen(address) as page:
            assert "owner" in page.read().decode()
        server.kill()
        server.wait()
    until(lambda: not _alive(second))


def test_connections_are_dealt_out_to_all_processes_and_nobody_else_may_listen_there():
    first = serving.listen("127.0.0.1", 0)
    with first, serving.listen_beside(first.dup()) as second, ExitStack() as people:
        for _ in range(64):
            people.enter_context(socket.create_connection(first.getsockname()))
        for one in (first, second):
            one.setblocking(False)
        taken = [people.enter_context(_Taken(one)).count for one in (first, second)]
        assert sum(taken) == 64
        # fewer than eight of 64 fair coins: once in ten million million times
        assert min(taken) >= 8 or not serving._SHARED
        with pytest.raises(Refused, match="cannot be used"):
            serving.listen("127.0.0.1", first.getsockname()[1])


class _Taken:
    """How many connections wait at a socket; taken until the block ends."""

    def __init__(self, listener):
        self._lines = ExitStack()
        self.count = 0
        with suppress(BlockingIOError):
            while True:
                self._lines.enter_context(listener.accept()[0])
                self.count += 1

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._lines.close()


def test_damage_that_one_process_saw_is_known_to_all(shop):
    with begun() as shared:
        mine, theirs = (Condition(shop.shop, Common(shared.fileno())) for _ in range(2))
        assert (mine.damage, theirs.damage) == ("", "")
        mine.learn(DatabaseError("", {}, sqlite3.DatabaseError("database disk image is malformed")))
        assert theirs.damage == theirs.words == DAMAGED


def test_who_signed_in_only_to_look_is_known_to_all_processes_and_gone_in_all(monkeypatch):
    monkeypatch.setattr(lookers, "condition", lambda: mock.Mock(words="read-only"))
    with begun() as shared, begun() as other:
        mine, theirs, strange = (Lookers(Common(one.fileno())) for one in (shared, shared, other))
        now = datetime.now(UTC)
        first, second = mine.begin(7, now), mine.begin(7, now)
        assert first != second
        assert [one.who(first, now) for one in (mine, theirs, strange)] == [7, 7, None]
        assert theirs.who(first, now + timedelta(hours=13)) is None
        assert (theirs.end(first), theirs.end("a token of another kind")) == (True, False)
        assert [mine.who(token, now) for token in (first, second)] == [None, 7]
