"""Memory that is used again: fresh memory costs as much time as the arithmetic done in it."""

import math
import threading
from typing import Any

import numpy as np


class Scratch(threading.local):
    """Buffers that each thread uses again for every band: fresh memory costs as much time as the arithmetic."""

    def __init__(self) -> None:
        self._kept: dict[str, np.ndarray] = {}

    def take(self, name: str, shape: tuple[int, ...], kind: Any) -> np.ndarray:
        """An array of this shape whose content is arbitrary, valid until the name is taken again."""
        size = math.prod(shape) * np.dtype(kind).itemsize
        if name not in self._kept or self._kept[name].nbytes < size:
            self._kept[name] = np.empty(size, dtype=np.uint8)
        taken: np.ndarray = self._kept[name][:size].view(kind).reshape(shape)
        return taken
