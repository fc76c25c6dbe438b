"""Bands painted in forked processes and in threads: the same bytes in the same order, and nothing left behind."""

import os
import signal
import time
import warnings

import numpy as np
import pytest
from PIL import Image

from logbook.engine import painting
from logbook.engine.interlace import Cancelled, interlace
from logbook.engine.plan import make_plan
from logbook.lengths import parse_length
from logbook.refusals import Refused

HIGH, WIDE = 37, 11


def _bands(paint, *, step=5, packed=False):
    return painting.Bands(paint, _packed if packed else lambda band: [band], (HIGH, WIDE, 3), "<u1", step, packed)


def _packed(band):
    """Strips of two rows, and one that is larger than what it holds."""
    return [bytes(band[top:top + 2].tobytes()) for top in range(0, len(band), 2)] + [b"more" * 50]


def _numbered(top, bottom, out):
    out[...] = np.arange(top, bottom, dtype=np.uint8)[:, None, None]


@pytest.fixture
def forked(monkeypatch):
    """The processes that a test forks, in the parent."""
    numbers, fork = [], os.fork

    def noted():
        number = fork()
        if number:
            numbers.append(number)
        return number

    monkeypatch.setattr(painting.os, "fork", noted)
    return numbers


def _collected(made):
    return [(band.copy(), [bytes(strip) for strip in strips]) for band, strips in made]


@pytest.mark.parametrize("step", [1, 5, 36, 37, 100])
@pytest.mark.parametrize("packed", [False, True])
def test_every_row_comes_once_and_in_order_from_either(step, packed):
    bands = _bands(_numbered, step=step, packed=packed)
    processes = _collected(painting._by_processes(bands, 3))
    threaded = _collected(painting._by_threads(bands, 2))
    assert np.concatenate([band for band, _ in processes])[:, 0, 0].tolist() == list(range(HIGH))
    assert [strips for _, strips in processes] == [strips for _, strips in threaded]
    assert all((one == other).all() for (one, _), (other, _) in zip(processes, threaded, strict=True))


@pytest.mark.parametrize("error", [Refused("The picture ended early.", field="pictures"), OSError(5, "no more")])
def test_what_goes_wrong_in_a_process_is_raised_here(error, forked):
    def paint(top, _bottom, _out):
        if top >= 20:
            raise error

    with pytest.raises(type(error)) as raised:
        _collected(painting._by_processes(_bands(paint), 2))
    assert raised.value.args == error.args
    assert getattr(raised.value, "field", None) == getattr(error, "field", None)
    _gone(forked)


def test_a_process_that_is_killed_is_one_clear_sentence(forked):
    def paint(top, _bottom, _out):
        if top >= 20:
            os.kill(os.getpid(), signal.SIGKILL)

    with pytest.raises(Refused, match="ended from outside"):
        _collected(painting._by_processes(_bands(paint), 2))
    _gone(forked)


def test_who_stops_listening_leaves_no_process_behind(forked):
    def slow(top, _bottom, _out):
        time.sleep(0.01 if top < 20 else 60)

    made = painting._by_processes(_bands(slow), 2)
    next(made)
    made.close()
    _gone(forked)


def _gone(forked):
    """Every process that was forked has ended and was waited for."""
    assert forked
    for process in forked:
        with pytest.raises(ProcessLookupError):
            os.kill(process, 0)


def test_threads_take_over_where_another_thread_runs():
    import threading

    assert not painting._may_fork() or threading.active_count() == 1
    other = threading.Timer(30, lambda: None)
    other.start()
    try:
        assert not painting._may_fork()
    finally:
        other.cancel()
        other.join()


@pytest.fixture
def pictures(tmp_path):
    dice = np.random.default_rng(3)
    paths = [tmp_path / f"{number}.png" for number in range(3)]
    for path in paths:
        Image.fromarray(dice.integers(0, 256, (91, 83, 3), dtype=np.uint8)).save(path)
    return paths


def _plan(**changes):
    wish = {"lpi": "20.12", "dpi": "720", "width": parse_length("3in"), "height": parse_length("4in"),
            "flip": "left-right", "fit": "stretch", "pictures": 3}
    return make_plan(**{**wish, **changes})


@pytest.mark.parametrize("flip", ["left-right", "up-down"])
@pytest.mark.parametrize("compression", ["none", "deflate"])
def test_a_print_has_the_same_bytes_from_processes_and_threads(flip, compression, pictures, tmp_path, monkeypatch):
    plan = _plan(flip=flip, compression=compression)
    hashes = {}
    for forked in (True, False):
        monkeypatch.setattr(painting, "_may_fork", lambda forked=forked: forked)
        hashes[forked] = interlace(plan, pictures, tmp_path / f"{forked}.tif").hashes
    assert hashes[True] == hashes[False] == interlace(plan, pictures, tmp_path / "three.tif", threads=3).hashes


def test_a_cancelled_print_leaves_neither_file_nor_process(pictures, tmp_path, monkeypatch, forked):
    monkeypatch.setattr(painting, "_may_fork", lambda: True)
    told = []
    before = sorted(tmp_path.iterdir())
    with pytest.raises(Cancelled):
        interlace(_plan(), pictures, tmp_path / "out.tif", progress=told.append, cancelled=lambda: len(told) > 4)
    assert sorted(tmp_path.iterdir()) == before
    _gone(forked)


def test_forking_warns_of_nothing():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert len(_collected(painting._by_processes(_bands(_numbered), 2))) == 8
