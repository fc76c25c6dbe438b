"""A process beside the web server: started again when it dies, ended with its parent."""

import os
import subprocess
import sys
import threading
import time
from collections.abc import Sequence

from logbook.settings import Settings

RESTART_SECONDS = 2
LONGEST_PAUSE_SECONDS = 300
LIVED_SECONDS = 60
"""A process that ran for so long did not fail at its start: the next one begins at once."""


def program(module: str, *words: object) -> list[str]:
    """The command that runs a module of this Python."""
    return [sys.executable, "-m", module, *map(str, words)]


def worker_command(settings: Settings) -> list[str]:
    """The command of a worker that ends with its parent."""
    return program("logbook", "worker", "--data", settings.data, "--with-parent")


def end_with_parent() -> None:
    """End this process when its parent, which holds the other end of its standard input, has ended."""
    # plain reads: a buffered one would hold its lock while the process ends
    while os.read(0, 1024):
        pass
    os._exit(0)


class Supervisor:
    """Keeps one process running, which inherits ``files`` and reads a pipe that closes with this process."""

    def __init__(self, command: Sequence[str], *, files: Sequence[int] = ()) -> None:
        self._command, self._files = list(command), tuple(files)
        self._ending = threading.Event()
        self._child: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._keep_running, daemon=True)

    def start(self) -> None:
        """Start it and watch it."""
        self._thread.start()

    def stop(self) -> None:
        """End it."""
        self._ending.set()
        if self._child is not None:
            self._child.terminate()

    @property
    def pid(self) -> int | None:
        """Its process number while it runs."""
        return self._child.pid if self._child is not None and self._child.poll() is None else None

    def _keep_running(self) -> None:
        pause = RESTART_SECONDS / 2
        while not self._ending.is_set():
            began = time.monotonic()
            # the pipe closes by itself when this process ends, however it ends
            with subprocess.Popen(self._command, stdin=subprocess.PIPE, pass_fds=self._files) as child:
                self._child = child
                child.wait()
            pause = next_pause(pause, lived=time.monotonic() - began)
            self._ending.wait(pause)


def next_pause(before: float, *, lived: float) -> float:
    """Seconds until a process is started again: short for one that had run, twice as long for each that fails to."""
    return RESTART_SECONDS if lived >= LIVED_SECONDS else min(2 * before, LONGEST_PAUSE_SECONDS)
