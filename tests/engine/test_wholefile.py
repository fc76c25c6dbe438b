"""Files written whole or not at all: every byte, in its order, on disks that take straight writing and on others."""

import errno
import fcntl
import hashlib
import os
import random

import pytest

from logbook.engine import wholefile
from logbook.engine.wholefile import BUFFER_BYTES, BUFFERS, WholeFile
from logbook.refusals import Refused

CONTENT = random.Random(3).randbytes(BUFFER_BYTES * (2 * BUFFERS + 1) + 12_345)


def written(path, *, piece=1_000_003):
    with WholeFile(path) as whole:
        for start in range(0, len(CONTENT), piece):
            whole.write(memoryview(CONTENT)[start:start + piece])
        sha256 = whole.sha256()
        whole.commit()
    return sha256


def test_more_than_all_buffers_hold_arrives_whole_and_in_order(tmp_path):
    assert written(tmp_path / "out") == hashlib.sha256(CONTENT).hexdigest()
    assert (tmp_path / "out").read_bytes() == CONTENT


@pytest.mark.parametrize("refused_when", ["asked", "written", "elsewhere"])
def test_a_disk_that_takes_no_straight_writing_gets_the_same_bytes(tmp_path, monkeypatch, refused_when):
    # open(2), O_DIRECT: "EINVAL … the filesystem does not support the O_DIRECT flag", or a block is not aligned.
    write, control = os.write, fcntl.fcntl

    def no_write(number, data):
        if control(number, fcntl.F_GETFL) & os.O_DIRECT:
            raise OSError(errno.EINVAL, "no")
        return write(number, data)

    def no_switch(number, command, *words):
        if words and words[0] & os.O_DIRECT:
            raise OSError(errno.EINVAL, "no")
        return control(number, command, *words)

    if refused_when == "elsewhere":  # a system without the flag: its bytes come to no other call
        monkeypatch.setattr(wholefile.sys, "platform", "another")
        monkeypatch.setattr(fcntl, "fcntl", None)
    elif refused_when == "asked":
        monkeypatch.setattr(fcntl, "fcntl", no_switch)
    else:
        monkeypatch.setattr(wholefile.os, "write", no_write)
    assert written(tmp_path / "out") == hashlib.sha256(CONTENT).hexdigest()
    assert (tmp_path / "out").read_bytes() == CONTENT


def test_what_follows_a_settled_part_is_written_behind_it(tmp_path):
    with WholeFile(tmp_path / "out") as whole:
        whole.write(memoryview(CONTENT)[:BUFFER_BYTES])  # nothing is left in a buffer
        whole.settle()
        whole.write(memoryview(CONTENT)[BUFFER_BYTES:BUFFER_BYTES + 5])
        whole.settle()
        whole.write(memoryview(CONTENT)[BUFFER_BYTES + 5:])
        whole.commit()
    assert (tmp_path / "out").read_bytes() == CONTENT


def test_a_disk_that_fills_up_behind_our_back_leaves_one_sentence_and_nothing_else(tmp_path, monkeypatch):
    write, left = os.write, [3]

    def full(number, data):
        left[0] -= 1
        if left[0] < 0:
            raise OSError(errno.ENOSPC, "no")
        return write(number, data)

    monkeypatch.setattr(wholefile.os, "write", full)
    (tmp_path / "out").write_text("the previous print")
    with pytest.raises(Refused, match="the disk is full"):
        written(tmp_path / "out")
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    assert (tmp_path / "out").read_text() == "the previous print"
