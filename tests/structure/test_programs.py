"""Starting and ending a program for a test."""

import fcntl
import sys
import time

import pytest

from support.programs import serving

# The child holds a lock for as long as it lives.
PARENT = """\
import subprocess, sys
child = subprocess.Popen([sys.executable, "-c", sys.argv[1], sys.argv[2]], stdout=subprocess.PIPE, text=True)
child.stdout.readline()
print("http://127.0.0.1:1/")
child.wait()
"""
CHILD = """\
import fcntl, signal, sys, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
held = open(sys.argv[1], "w")
fcntl.flock(held, fcntl.LOCK_EX)
print("held", flush=True)
time.sleep(600)
"""


def _is_free(path) -> bool:
    with path.open("w") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
    return True


def _becomes_free(path) -> bool:
    """A killed process takes a moment to let go."""
    for _ in range(200):
        if _is_free(path):
            return True
        time.sleep(0.05)
    return False


def test_a_program_that_ends_before_it_serves_is_reported_with_its_words(tmp_path):
    command = [sys.executable, "-c", "raise SystemExit('the port is taken')"]
    with pytest.raises(RuntimeError, match="the port is taken"), serving(command, log=tmp_path / "log"):
        pytest.fail("nothing is served")


def test_a_child_that_outlives_its_parent_ends_with_the_block(tmp_path):
    lock = tmp_path / "lock"
    with serving([sys.executable, "-c", PARENT, CHILD, lock], log=tmp_path / "log") as address:
        assert address == "http://127.0.0.1:1/"
        assert not _is_free(lock)
    assert _becomes_free(lock)


def test_a_failure_inside_the_block_ends_the_program_too(tmp_path):
    lock = tmp_path / "lock"
    command = [sys.executable, "-c", PARENT, CHILD, lock]
    with pytest.raises(ZeroDivisionError), serving(command, log=tmp_path / "log"):
        raise ZeroDivisionError
    assert _becomes_free(lock)
