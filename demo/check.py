"""Walks the main job once through a running server, in a shop of its own, and says what failed.

python demo/check.py --data FOLDER      FOLDER holds the demo, which is verified too
"""

import argparse
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from walking import STEPS, Walk

PATIENCE = 90
SECONDS_TO_END = 10


def walk(data: Path, *, more: list[str], patience: int) -> str | None:
    """Start a server on an empty folder and walk; None when all went well, else what failed."""
    command = [sys.executable, "-m", "logbook", "serve", "--data", str(data), "--port", "0", *more]
    with _running(command) as server:
        assert server.stdout is not None
        address = server.stdout.readline().strip()
        if not address.startswith("http"):
            return f"the server did not start, it said: {address or 'nothing'}"
        return _walk(Walk(address, data, patience=patience))


@contextmanager
def _running(command: list[str]) -> Iterator[subprocess.Popen[str]]:
    # a session of its own, so that the server's worker ends with it in any case
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True)
    with server:
        try:
            yield server
        finally:
            server.terminate()
            with suppress(subprocess.TimeoutExpired):
                server.wait(SECONDS_TO_END)
            with suppress(ProcessLookupError):
                os.killpg(server.pid, signal.SIGKILL)


def _walk(walking: Walk) -> str | None:
    for step in STEPS:
        words = step.replace("_", " ")
        try:
            getattr(walking, step)()
        except AssertionError as error:
            return f"{words}: {error}"
        except Exception as error:  # whatever goes wrong is what this command is there to say
            return f"{words}: {type(error).__name__}: {error}"
        print(f"  {words}", flush=True)
    return None


def verified(data: Path) -> str | None:
    """What is wrong with a shop's records; None when nothing is."""
    told = subprocess.run(
        [sys.executable, "-m", "logbook", "verify", "--data", str(data)], check=False, capture_output=True, text=True
    )
    return None if told.returncode == 0 else f"verify {data}: {told.stdout.strip() or told.stderr.strip()}"


def check(demo: Path, *, more: list[str], patience: int) -> str | None:
    """The demo's records, the walk, and the records that the walk left; None when all are well."""
    with tempfile.TemporaryDirectory() as folder:
        fault = verified(demo)
        if fault is None:
            print("  open and verify the demo", flush=True)
            fault = walk(Path(folder), more=more, patience=patience)
        return fault or verified(Path(folder))


def main() -> None:
    """Verify the demo, walk the main job, exit with 0 or say what failed."""
    parser = argparse.ArgumentParser(description="Walk the main job once through a running server.")
    parser.add_argument("--data", type=Path, required=True, help="the demo's folder, verified first")
    parser.add_argument("--no-worker", action="store_true", help="walk without a worker: must fail")
    parser.add_argument("--patience", type=int, default=PATIENCE, help="seconds to wait for the run")
    asked = parser.parse_args()
    # being told to end must still end the server and remove its folder
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("The check was stopped."))
    fault = check(asked.data, more=["--no-worker"] if asked.no_worker else [], patience=asked.patience)
    if fault:
        sys.exit(f"The check failed at: {fault}")
    print("The main job went from the order to the door.")


if __name__ == "__main__":
    main()
