"""Decoded pictures by rows: in memory while they are small, else in an unnamed temporary file."""

import os
import threading
from pathlib import Path
from types import TracebackType
from typing import IO

import numpy as np

from logbook.engine.scratch import Scratch

MEMORY_BUDGET = 42 * 2**20
_PIECE = 2**24


class PixelStore:
    """Keeps decoded pictures and hands out rows; safe to use from several threads.

    ``folder`` is where the temporary file lies when the pictures together exceed
    ``budget`` bytes; it has no name and vanishes with the store.
    """

    def __init__(self, *, folder: Path | None = None, budget: int = MEMORY_BUDGET) -> None:
        self._folder, self._left = folder, budget
        self._kept: dict[int, np.ndarray] = {}
        self._where: dict[int, tuple[int, int, np.dtype]] = {}
        self._file: IO[bytes] | None = None
        self._end = 0
        self._lock = threading.Lock()
        self._scratch = Scratch()

    def __enter__(self) -> "PixelStore":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self._kept.clear()
        if self._file is not None:
            self._file.close()

    def add(self, picture: int, pixels: np.ndarray) -> None:
        """Keep picture 0 …, (high, wide, channels)."""
        rows = pixels.reshape(len(pixels), -1)
        with self._lock:
            if rows.nbytes <= self._left:
                self._left -= rows.nbytes
                self._kept[picture] = rows
                return
            if self._file is None:
                import tempfile  # only many pictures need it
                self._file = tempfile.TemporaryFile(dir=self._folder, buffering=0)  # noqa: SIM115 - closed in __exit__
            start, self._end = self._end, self._end + rows.nbytes
        self._where[picture] = start, rows.shape[1], rows.dtype
        data, done = rows.data.cast("B"), 0
        while done < len(data):
            done += os.pwrite(self._file.fileno(), data[done:done + _PIECE], start + done)

    def rows(self, picture: int, low: int, high: int) -> np.ndarray:
        """Rows low … high-1 of a picture as (rows, wide * channels), valid until this thread asks for others."""
        if picture in self._kept:
            return self._kept[picture][low:high]
        assert self._file is not None  # a picture is either kept or in the file
        start, wide, kind = self._where[picture]
        result = self._scratch.take("rows", (high - low, wide), kind)
        data, done, start = result.data.cast("B"), 0, start + low * wide * kind.itemsize
        while done < len(data):
            read = os.preadv(self._file.fileno(), [data[done:]], start + done)
            if read == 0:
                raise OSError("the temporary file of the decoded pictures ended early")
            done += read
        return result
