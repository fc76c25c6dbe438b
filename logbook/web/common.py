"""What all processes that answer for one shop know together: damage that was seen, who signed in only to look.

It lies in a file without a name that goes with the first of them: one byte for damage, a key, and the hashes of
sign-ins that have ended.
"""

import fcntl
import mmap
import os
import secrets
import sys
import tempfile
import weakref
from typing import IO

_KEY = slice(1, 33)
_HASH_BYTES = 32


def begun() -> IO[bytes]:
    """A new file for them, with a key of its own; whoever inherits its descriptor shares it."""
    kept = _nameless()
    kept.write(bytes(1) + secrets.token_bytes(_KEY.stop - _KEY.start))
    return kept


def _nameless() -> IO[bytes]:
    """In memory where the system knows such files: a shop whose disk is full is still shown."""
    if sys.platform != "linux":
        return tempfile.TemporaryFile("a+b", buffering=0)
    kept = os.fdopen(os.memfd_create("logbook"), "a+b", buffering=0)
    fcntl.fcntl(kept.fileno(), fcntl.F_SETFL, fcntl.fcntl(kept.fileno(), fcntl.F_GETFL) | os.O_APPEND)
    return kept


class Common:
    """One process's hold of it; without a descriptor this process is the only one."""

    def __init__(self, descriptor: int | None = None) -> None:
        if descriptor is None:
            own = begun()
            weakref.finalize(self, own.close)
            descriptor = own.fileno()
        self._file = descriptor
        self._seen = mmap.mmap(self._file, _KEY.stop)

    @property
    def damaged(self) -> bool:
        """Whether any of them met damage."""
        return bool(self._seen[0])

    def note_damage(self) -> None:
        """For good: until somebody restores and starts anew."""
        self._seen[0] = 1

    @property
    def key(self) -> bytes:
        """What they sign with."""
        return bytes(self._seen[_KEY])

    def end(self, sha256: str) -> None:
        """The sign-in with this hash has ended."""
        os.write(self._file, bytes.fromhex(sha256))  # in one piece at the end, whoever writes beside

    def has_ended(self, sha256: str) -> bool:
        """Whether it has, in any of them."""
        size = os.fstat(self._file).st_size - _KEY.stop
        told = os.pread(self._file, size, _KEY.stop)
        return bytes.fromhex(sha256) in {told[at:at + _HASH_BYTES] for at in range(0, size, _HASH_BYTES)}
