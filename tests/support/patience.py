"""Waiting for what another process or thread does."""

import time
from collections.abc import Callable


def until(condition: Callable[[], object], seconds: float = 60) -> None:
    """Wait until the condition holds; only a hang makes it fail."""
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "it did not happen in time"
        time.sleep(0.02)
