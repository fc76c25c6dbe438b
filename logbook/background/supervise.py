"""A worker process beside the web server: started again when it dies, ended with its parent."""

import subprocess
import sys
import threading
import time

from logbook.settings import Settings

RESTART_SECONDS = 2
LONGEST_PAUSE_SECONDS = 300
LIVED_SECONDS = 60
"""A worker that ran for so long did not fail at its start: the next one begins at once."""


class Supervisor:
    """Keeps one worker process running."""

    def __init__(self, settings: Settings) -> None:
        self._command = [sys.executable, "-m", "logbook", "worker", "--data", str(settings.data), "--with-parent"]
        self._ending = threading.Event()
        self._child: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._keep_running, daemon=True)

    def start(self) -> None:
        """Start the worker and watch it."""
        self._thread.start()

    def stop(self) -> None:
        """End the worker."""
        self._ending.set()
        if self._child is not None:
            self._child.terminate()

    @property
    def pid(self) -> int | None:
        """The worker's process number while it runs."""
        return self._child.pid if self._child is not None and self._child.poll() is None else None

    def _keep_running(self) -> None:
        pause = RESTART_SECONDS / 2
        while not self._ending.is_set():
            began = time.monotonic()
            # the pipe closes by itself when this process ends, however it ends
            with subprocess.Popen(self._command, stdin=subprocess.PIPE) as child:
                self._child = child
                child.wait()
            pause = next_pause(pause, lived=time.monotonic() - began)
            self._ending.wait(pause)


def next_pause(before: float, *, lived: float) -> float:
    """Seconds until a worker is started again: short for one that had run, twice as long for each that fails to."""
    return RESTART_SECONDS if lived >= LIVED_SECONDS else min(2 * before, LONGEST_PAUSE_SECONDS)
