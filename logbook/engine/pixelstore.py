"""Decoded pictures by rows: in memory while they are small, else in an unnamed temporary file."""

import os
import tempfile
from pathlib import Path
from types import TracebackType
from typing import IO

import numpy as np

MEMORY_BUDGET = 48 * 2**20


class PixelStore:
    """Keeps decoded pictures and hands out rows; safe to read from several threads.

    ``folder`` is where the temporary file lies when the pictures together exceed
    ``budget`` bytes; it has no name and vanishes with the store.
    """

    def __init__(self, *, folder: Path | None = None, budget: int = MEMORY_BUDGET) -> None:
        self._folder, self._left = folder, budget
        self._kept: list[np.ndarray | None] = []
        self._where: list[tuple[int, int, np.dtype]] = []
        self._file: IO[bytes] | None = None
        self._end = 0

    def __enter__(self) -> "PixelStore":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self._kept.clear()
        if self._file is not None:
            self._file.close()

    def add(self, pixels: np.ndarray) -> None:
        """Keep the next picture, (high, wide, channels)."""
        rows = pixels.reshape(len(pixels), -1)
        if rows.nbytes <= self._left:
            self._left -= rows.nbytes
            self._kept.append(rows)
            self._where.append((0, rows.shape[1], rows.dtype))
            return
        if self._file is None:
            self._file = tempfile.TemporaryFile(dir=self._folder, buffering=0)  # noqa: SIM115 - closed in __exit__
        self._kept.append(None)
        self._where.append((self._end, rows.shape[1], rows.dtype))
        data, done = np.ascontiguousarray(rows).data.cast("B"), 0
        while done < len(data):
            done += os.pwrite(self._file.fileno(), data[done:done + 2**24], self._end + done)
        self._end += len(data)

    def rows(self, picture: int, low: int, high: int) -> np.ndarray:
        """Rows low … high-1 of picture 0 … as (rows, wide * channels)."""
        kept = self._kept[picture]
        if kept is not None:
            return kept[low:high]
        assert self._file is not None
        start, wide, kind = self._where[picture]
        result = np.empty((high - low, wide), dtype=kind)
        view, done = result.data.cast("B"), 0
        while done < len(view):
            read = os.preadv(self._file.fileno(), [view[done:]], start + low * wide * kind.itemsize + done)
            if read == 0:
                raise OSError("the temporary file of the decoded pictures ended early")
            done += read
        return result
