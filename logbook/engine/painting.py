"""Bands of a print, painted beside each other and handed over in their order.

Threads serve everywhere. Where nothing else runs in this process, forked processes
take their place: short numpy calls make threads wait for each other, processes not.
Both paint the same bytes, and in both no more bands wait than there are workers, or two for each.
"""

import contextlib
import mmap
import os
import pickle
import signal
import struct
import sys
import threading
import warnings
from collections import deque
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from logbook.refusals import Refused

_SLOTS = 2
"""Bands that one process may have painted while nobody took them yet."""
_SPARE = 2**16
"""Room that packing may add to strips that it cannot make smaller."""

Strips = list[bytes | np.ndarray]


@dataclass(frozen=True)
class Bands:
    """What is to be painted: ``paint`` fills rows top … bottom-1, ``encode`` makes them ready for the file.

    ``shape`` is (high, wide, channels) of the whole raster, ``step`` the rows of one band, ``packed`` whether
    ``encode`` gives bytes of its own.
    """

    paint: Callable[[int, int, np.ndarray], None]
    encode: Callable[[np.ndarray], Strips]
    shape: tuple[int, int, int]
    kind: str
    step: int
    packed: bool

    @property
    def tops(self) -> range:
        """First rows of the bands."""
        return range(0, self.shape[0], self.step)

    @property
    def most_bytes(self) -> int:
        """Bytes of one band."""
        return self.step * self.shape[1] * self.shape[2] * np.dtype(self.kind).itemsize

    def within(self, memory: memoryview | np.ndarray, top: int) -> np.ndarray:
        """The band from ``top`` as it lies in some memory."""
        rows = min(self.step, self.shape[0] - top)
        count = rows * self.shape[1] * self.shape[2]
        return np.frombuffer(memory, dtype=self.kind, count=count).reshape(rows, *self.shape[1:])


def painted(bands: Bands, *, workers: int | None = None) -> Generator[tuple[np.ndarray, Strips]]:
    """Every band from the top with its strips; each is valid until the next is asked for.

    ``workers`` None: as many as help here, in processes where that is possible; a number: so many threads.
    """
    processors = os.cpu_count() or 1
    if workers is None and processors > 1 and _may_fork():
        return _by_processes(bands, min(4, processors, len(bands.tops)))
    # one thread hashes and writes; more than are left for painting only wait for each other
    return _by_threads(bands, workers or max(1, min(4, processors - 1)))


def _may_fork() -> bool:
    """Only where no other thread could hold a lock that the copies would wait for, and only where forking is sound."""
    return sys.platform == "linux" and threading.active_count() == 1


# -- threads ----------------------------------------------------------------------------------------


def _by_threads(bands: Bands, workers: int) -> Generator[tuple[np.ndarray, Strips]]:
    spare: deque[np.ndarray] = deque()

    def work(top: int) -> tuple[np.ndarray, np.ndarray, Strips]:
        buffer = spare.pop() if spare else np.empty(bands.most_bytes, dtype=np.uint8)
        band = bands.within(buffer, top)
        bands.paint(top, top + len(band), band)
        return buffer, band, bands.encode(band)

    with _pool(workers) as pool:
        waiting: deque[Future[tuple[np.ndarray, np.ndarray, Strips]]] = deque()
        for top in bands.tops:
            if len(waiting) > workers:
                buffer, band, strips = waiting.popleft().result()
                yield band, strips
                spare.append(buffer)
            waiting.append(pool.submit(work, top))
        while waiting:
            _, band, strips = waiting.popleft().result()
            yield band, strips


@contextmanager
def _pool(workers: int) -> Iterator[ThreadPoolExecutor]:
    pool = ThreadPoolExecutor(workers, thread_name_prefix="weave")
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


# -- processes --------------------------------------------------------------------------------------


class _Painter:
    """One forked process that paints every ``stride``-th band into memory that both see."""

    def __init__(self, bands: Bands, tops: list[int]) -> None:
        self._bands, self._tops = bands, tops
        self._room = bands.most_bytes * 2 + _SPARE if bands.packed else bands.most_bytes
        self._memory = mmap.mmap(-1, self._room * _SLOTS)
        self._taken = 0
        told_out, told_in = os.pipe()
        freed_out, freed_in = os.pipe()
        self._told, self._freed = os.fdopen(told_out, "rb"), freed_in
        os.write(freed_in, b"." * _SLOTS)
        with warnings.catch_warnings():
            # later Pythons warn where a library keeps threads of its own: this one's handle a fork themselves
            warnings.simplefilter("ignore", DeprecationWarning)
            self.pid = os.fork()
        if self.pid == 0:
            os.close(told_out)
            os.close(freed_in)
            self._paint_all(told_in, freed_out)
        os.close(told_in)
        os.close(freed_out)

    def _slot(self, number: int) -> memoryview:
        start = number % _SLOTS * self._room
        return memoryview(self._memory)[start:start + self._room]

    def _paint_all(self, told: int, freed: int) -> None:
        """The forked process, which never returns: neither its caller's clean-up nor its output is its own."""
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent hears it and ends this process
        ended = 1
        try:
            for number, top in enumerate(self._tops):
                if not os.read(freed, 1):
                    break  # nobody is there any more
                _send(told, self._one(self._slot(number), top))
            ended = 0
        except BaseException as error:
            with contextlib.suppress(Exception):
                _send(told, pickle.dumps(error))
        finally:
            os._exit(ended)

    def _one(self, slot: memoryview, top: int) -> bytes:
        band = self._bands.within(slot, top)
        self._bands.paint(top, top + len(band), band)
        at, lengths = self._bands.most_bytes, []
        for strip in self._bands.encode(band) if self._bands.packed else []:
            assert isinstance(strip, bytes)
            slot[at:at + len(strip)] = strip
            at += len(strip)
            lengths.append(len(strip))
        return pickle.dumps(lengths)

    def take(self) -> tuple[np.ndarray, Strips]:
        """The next of its bands."""
        top, slot = self._tops[self._taken], self._slot(self._taken)
        lengths = self._heard()
        band = self._bands.within(slot, top)
        if not self._bands.packed:
            return band, self._bands.encode(band)
        edges = np.cumsum([self._bands.most_bytes, *lengths]).tolist()
        return band, [bytes(slot[low:high]) for low, high in pairwise(edges)]

    def _heard(self) -> list[int]:
        size = self._told.read(_LENGTH.size)
        if len(size) < _LENGTH.size:
            raise Refused("The computation was ended from outside, perhaps for want of memory: nothing was left.")
        said = pickle.loads(self._told.read(_LENGTH.unpack(size)[0]))  # noqa: S301 - from our own copy
        if isinstance(said, BaseException):
            raise said
        lengths: list[int] = said
        return lengths

    def free(self) -> None:
        """Its oldest band was used: the memory may be painted over."""
        self._taken += 1
        with contextlib.suppress(BrokenPipeError):  # it has painted its last band and gone
            os.write(self._freed, b".")

    def end(self) -> None:
        """Stop it, wherever it is."""
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        self._told.close()
        os.close(self._freed)


_LENGTH = struct.Struct("<I")


def _send(told: int, said: bytes) -> None:
    data = _LENGTH.pack(len(said)) + said
    while data:
        data = data[os.write(told, data):]


def _by_processes(bands: Bands, count: int) -> Generator[tuple[np.ndarray, Strips]]:
    tops = list(bands.tops)
    painters: list[_Painter] = []
    try:
        painters.extend(_Painter(bands, tops[number::count]) for number in range(count))
        for number in range(len(tops)):
            painter = painters[number % count]
            yield painter.take()
            painter.free()
    finally:
        for painter in painters:
            painter.end()
