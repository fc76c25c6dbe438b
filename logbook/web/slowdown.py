"""Slows down whoever asks too often: kept in memory, so that strangers write nothing into the shop's folder."""

import math
import threading
from collections import OrderedDict
from collections.abc import Callable

MOST_ADDRESSES = 5000


class Slowdown:
    """Each address has a purse that fills again with time; what finds nothing costs more than what does.

    ``clock`` gives seconds. Only the addresses heard of last are remembered.
    """

    def __init__(self, clock: Callable[[], float], *, purse: float = 120, each_second: float = 2) -> None:
        self._clock, self._most, self._rate = clock, purse, each_second
        self._purses: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._lock = threading.Lock()

    def take(self, address: str, cost: float) -> int:
        """Pay for a request; 0 when that was possible, otherwise the seconds to wait."""
        with self._lock:
            left, now = self._left(address)
            short = cost - left
            self._purses[address] = (left if short > 0 else left - cost, now)
            self._purses.move_to_end(address)
            while len(self._purses) > MOST_ADDRESSES:
                self._purses.popitem(last=False)
        return math.ceil(short / self._rate) if short > 0 else 0

    def fine(self, address: str, cost: float) -> None:
        """Take what there is, at most ``cost``, after a request that found nothing."""
        with self._lock:
            left, now = self._left(address)
            self._purses[address] = (max(0.0, left - cost), now)

    def _left(self, address: str) -> tuple[float, float]:
        now = self._clock()
        left, then = self._purses.get(address, (self._most, now))
        return min(self._most, left + (now - then) * self._rate), now
