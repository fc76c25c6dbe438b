"""A file that is written whole or not at all, past the page cache where that helps.

A print is large and written once: copying it into the page cache costs more processor time
than weaving it may, and bringing it to the disk at the end makes somebody wait. So full
buffers go straight to the disk (open(2), O_DIRECT) where the file system takes that, in a
thread that hashes them as well, while the next are filled. Small files know nothing of it.
"""

import contextlib
import errno
import hashlib
import mmap
import os
import sys
from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import TracebackType

from logbook.faults import fault
from logbook.refusals import Refused

BUFFER_BYTES, BUFFERS = 2**21, 3
"""Whole disk blocks each, in memory of whole pages: what O_DIRECT asks for."""


class WholeFile:
    """A file that appears under its name only when complete: temporary name, fsync, rename, fsync of the folder.

    Left by an exception, it removes the temporary file and leaves whatever stood there before untouched.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._part = path.with_name(f".{path.name}.{os.urandom(4).hex()}.part")
        self._hash = hashlib.sha256()
        self._free: deque[mmap.mmap] = deque()
        self._busy: deque[Future[mmap.mmap]] = deque()
        self._filling: mmap.mmap | None = None
        self._filled = 0
        self._pool: ThreadPoolExecutor | None = None
        self._straight = False

    def __enter__(self) -> "WholeFile":
        try:
            self.file = self._part.open("x+b", buffering=0)
        except OSError as error:
            raise refused_writing(self.path, error) from None
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
        self.file.close()
        with contextlib.suppress(FileNotFoundError):
            self._part.unlink()
        if isinstance(error, OSError):
            raise refused_writing(self.path, error) from None

    def write(self, data: memoryview) -> None:
        """Append bytes, which may be used again at once. A full disk may show at a later call."""
        done = 0
        while done < len(data):
            buffer = self._buffer()
            count = min(BUFFER_BYTES - self._filled, len(data) - done)
            buffer[self._filled:self._filled + count] = data[done:done + count]
            done, self._filled = done + count, self._filled + count
            if self._filled == BUFFER_BYTES:
                self._hand_over(buffer)
            fault("writing")

    def _buffer(self) -> mmap.mmap:
        """The one that is being filled; waits for the disk where all are on their way."""
        if self._filling is None:
            if not self._free and len(self._busy) == BUFFERS - 1:
                self._free.append(self._busy.popleft().result())
            self._filling = self._free.popleft() if self._free else mmap.mmap(-1, BUFFER_BYTES)
        return self._filling

    def _hand_over(self, buffer: mmap.mmap) -> None:
        if self._pool is None:
            self._pool = ThreadPoolExecutor(1, thread_name_prefix="write")
            self._straight = _straight(self.file.fileno(), wanted=True)
        self._busy.append(self._pool.submit(self._written, buffer))
        self._filling, self._filled = None, 0

    def _written(self, buffer: mmap.mmap) -> mmap.mmap:
        with memoryview(buffer) as data:
            self._put(data)
        return buffer

    def _put(self, data: memoryview) -> None:
        self._hash.update(data)
        done = 0
        while done < len(data):
            try:
                done += os.write(self.file.fileno(), data[done:])
            except OSError as error:
                if error.errno != errno.EINVAL or not self._straight:
                    raise
                self._straight = _straight(self.file.fileno(), wanted=False)  # this disk wants larger blocks

    def settle(self) -> None:
        """Bring what was appended into the file, which may then be read and written as any other."""
        while self._busy:
            self._free.append(self._busy.popleft().result())
        self._straight = self._straight and _straight(self.file.fileno(), wanted=False)
        if self._filling is not None:
            with memoryview(self._filling) as data:
                self._put(data[:self._filled])
            self._filled = 0

    def sha256(self) -> str:
        """SHA-256 of all that was appended, as hexadecimal digits."""
        self.settle()
        return self._hash.hexdigest()

    def commit(self) -> None:
        """Bring the bytes to the disk and give the file its name."""
        self.settle()
        os.fsync(self.file.fileno())
        self._part.replace(self.path)
        folder = os.open(self.path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _straight(number: int, *, wanted: bool) -> bool:
    """Switch an open file to writing past the page cache or back; whether it does so now."""
    if sys.platform != "linux":
        return False
    import fcntl
    flags = fcntl.fcntl(number, fcntl.F_GETFL)
    flags = flags | os.O_DIRECT if wanted else flags & ~os.O_DIRECT
    try:
        fcntl.fcntl(number, fcntl.F_SETFL, flags)
    except OSError:  # a file system that cannot
        return False
    return wanted


def refused_writing(path: Path, error: OSError) -> Refused:
    """One sentence for a file that cannot be written."""
    reason = {errno.ENOSPC: "the disk is full", errno.EDQUOT: "the disk quota is used up",
              errno.EFBIG: "the file would be larger than this disk allows",
              errno.ENOENT: "its folder does not exist", errno.EACCES: "writing there is not permitted",
              errno.EROFS: "the disk is read-only"}.get(error.errno or 0, error.strerror or str(error))
    return Refused(f"{path.name} was not written: {reason}; nothing was left behind.", field="out")
