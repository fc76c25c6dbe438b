"""A child process kept warm: asked through a pipe, limited in time and memory, replaced when it dies.

The parent's side is ``WarmChild``, the child's ``answer_for_ever`` and ``limit``.
Every message carries its length.
"""

import contextlib
import os
import subprocess
import sys
import threading
import weakref
from collections.abc import Callable, Sequence
from multiprocessing.connection import Connection

_PARTING_SECONDS = 5.0


class Overran(Exception):
    """The child took longer than it may and was killed."""


class Died(Exception):
    """The child ended while it was asked: out of memory, out of processor time, or killed."""


class WarmChild:
    """Runs ``python -m MODULE ARGUMENTS`` and asks it one thing after the other; may be shared by threads.

    ``seconds`` is the longest an answer may take by the clock on the wall.
    """

    def __init__(self, module: str, *arguments: str, seconds: float) -> None:
        self.seconds = seconds
        self.process: subprocess.Popen[bytes] | None = None
        self._command = [sys.executable, "-m", module, *arguments]
        self._lock = threading.Lock()

    def ask(self, messages: Sequence[bytes]) -> bytes:
        """Send the messages of one question, wait for the answer. Raises Overran or Died; the next child is new."""
        with self._lock:
            child = self._running()
            try:
                return self._asked(child, messages)
            except (OSError, EOFError):
                self._end()
                raise Died from None

    def close(self) -> None:
        """Let the child go: it ends when its input does, and is ended where it lingers."""
        with self._lock:
            if self.process is not None and self.process.stdin is not None:
                self.process.stdin.close()
                with contextlib.suppress(subprocess.TimeoutExpired):
                    self.process.wait(timeout=_PARTING_SECONDS)
            self._end()

    def _running(self) -> "subprocess.Popen[bytes]":
        if self.process is None or self.process.poll() is not None:
            self._end()
            self.process = subprocess.Popen(self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
            # nobody may have closed it: it goes with whoever asked, and at the end at the latest
            weakref.finalize(self, _let_go, self.process)
        return self.process

    def _asked(self, child: "subprocess.Popen[bytes]", messages: Sequence[bytes]) -> bytes:
        assert child.stdin is not None
        assert child.stdout is not None
        # A Connection closes its descriptor when it goes: hand it copies.
        to_child = Connection(os.dup(child.stdin.fileno()), readable=False)
        from_child = Connection(os.dup(child.stdout.fileno()), writable=False)
        with to_child, from_child:
            timer = threading.Timer(self.seconds, child.kill)
            timer.start()
            try:
                for message in messages:
                    to_child.send_bytes(message)
                return from_child.recv_bytes()
            except (OSError, EOFError):
                if timer.is_alive():
                    raise
                self._end()
                raise Overran from None
            finally:
                timer.cancel()

    def _end(self) -> None:
        if self.process is None:
            return
        child, self.process = self.process, None
        _let_go(child)


def _let_go(child: "subprocess.Popen[bytes]") -> None:
    child.kill()
    child.wait()
    for stream in (child.stdin, child.stdout):
        if stream is not None:
            stream.close()


def answer_for_ever(answer: Callable[[Connection], bytes]) -> None:
    """The child's side: read requests from standard input, answer on standard output, end when the parent is gone."""
    requests = Connection(sys.stdin.fileno(), writable=False)
    answers = Connection(sys.stdout.fileno(), readable=False)
    while True:
        try:
            answers.send_bytes(answer(requests))
        except (EOFError, BrokenPipeError):
            return


def limit(*, memory_bytes: int | None = None, processor_seconds: int | None = None) -> None:
    """Limit this process: its address space for good, its processor time from now on.

    Not on Windows, which has no such limits: there the parent's clock alone holds.
    """
    try:
        import resource
    except ImportError:
        return
    if memory_bytes is not None:
        resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
    if processor_seconds is not None:
        used = resource.getrusage(resource.RUSAGE_SELF)
        hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
        allowed = int(used.ru_utime + used.ru_stime) + processor_seconds + 1
        resource.setrlimit(resource.RLIMIT_CPU, (allowed if hard < 0 else min(allowed, hard), hard))
