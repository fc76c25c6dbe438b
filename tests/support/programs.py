"""A program that serves pages, started as a person would and ended with everything it started."""

import os
import re
import signal
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

ADDRESS = re.compile(r"http://127\.0\.0\.1:\d+/")
START_SECONDS = 60
END_SECONDS = 15


@contextmanager
def serving(command: Sequence[str | Path], *, log: Path, environment: dict[str, str] | None = None) -> Iterator[str]:
    """Run a program until the block ends; gives the address that it printed.

    What it prints goes to ``log``. A program that ends or stays silent raises
    RuntimeError with everything it printed.
    """
    with log.open("wb") as output:
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            env={**os.environ, **(environment or {}), "PYTHONUNBUFFERED": "1"},
            start_new_session=True,
        )
    try:
        yield _wait_for_address(process, log)
    finally:
        _end(process)


def _wait_for_address(process: subprocess.Popen[bytes], log: Path) -> str:
    give_up = time.monotonic() + START_SECONDS
    while time.monotonic() < give_up:
        ended = process.poll() is not None
        printed = log.read_text(encoding="utf-8", errors="replace")
        if (found := ADDRESS.search(printed)) and not ended:
            return found[0]
        if ended:
            raise RuntimeError(f"the program ended with {process.returncode} before it served anything:\n{printed}")
        time.sleep(0.05)
    raise RuntimeError(f"the program printed no address within {START_SECONDS} s:\n{printed}")


def _end(process: subprocess.Popen[bytes]) -> None:
    _signal_group(process, signal.SIGTERM)
    try:
        process.wait(END_SECONDS)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
    # A worker that outlived its parent must not outlive the test.
    _signal_group(process, signal.SIGKILL)


def _signal_group(process: subprocess.Popen[bytes], number: signal.Signals) -> None:
    try:
        os.killpg(process.pid, number)
    except ProcessLookupError:
        return
