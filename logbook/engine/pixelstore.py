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
        self.folder, self._left = folder, budget
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
        if self._room(picture, rows.shape, rows.dtype):
            self._kept[picture] = rows
        else:
            self._write(picture, 0, rows)

    def reserve(self, picture: int, shape: tuple[int, int, int], kind: np.dtype) -> None:
        """Make room for picture 0 … of this shape (high, wide, channels), to be filled by ``put``."""
        rows = shape[0], shape[1] * shape[2]
        if self._room(picture, rows, kind):
            self._kept[picture] = np.empty(rows, dtype=kind)

    def put(self, picture: int, top: int, pixels: np.ndarray) -> None:
        """Fill the rows from ``top`` of a picture for which there is room."""
        rows = np.ascontiguousarray(pixels).reshape(len(pixels), -1)
        if picture in self._kept:
            self._kept[picture][top:top + len(rows)] = rows
        else:
            self._write(picture, top, rows)

    def _room(self, picture: int, shape: tuple[int, ...], kind: np.dtype) -> bool:
        """Whether a picture is kept in memory; else it has its place in the file."""
        size = shape[0] * shape[1] * kind.itemsize
        with self._lock:
            if size <= self._left:
                self._left -= size
                return True
            if self._file is None:
                import tempfile  # only many pictures need it
                self._file = tempfile.TemporaryFile(dir=self.folder, buffering=0)  # noqa: SIM115 - closed in __exit__
            start, self._end = self._end, self._end + size
        self._where[picture] = start, shape[1], kind
        return False

    def _write(self, picture: int, top: int, rows: np.ndarray) -> None:
        assert self._file is not None  # a picture is either kept or in the file
        start, wide, kind = self._where[picture]
        data, done, start = rows.data.cast("B"), 0, start + top * wide * kind.itemsize
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
