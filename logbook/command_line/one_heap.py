"""One heap for all threads of a server: with one for each of them (glibc's own way) memory that one thread gave back
is of no use to the next, and a process that only ever needs little at a time keeps several times as much.

Measured over 350 damaged pictures sent to ``logbook serve``: from 144 to 242 MB as it was, to 161 MB with one heap.
"""

import ctypes
from contextlib import suppress

_ARENA_MAX = -8
"""M_ARENA_MAX of glibc's <malloc.h>."""


def use_one_heap() -> None:
    """Before any thread starts; nothing happens where the C library knows no such setting."""
    with suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).mallopt(_ARENA_MAX, 1)
