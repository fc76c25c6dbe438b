"""How far long work is: on standard error, and only where somebody watches."""

import sys
import time
from collections.abc import Callable

BAR = 24
TELL_SECONDS = 0.2
FORESEEN_FROM = 0.05
"""No time that is left is told before this part is done: it would jump about."""


def shown(what: str) -> Callable[[float], None]:
    """A bar that fills, with the time that is left; nothing where standard error is no terminal.

    What it returns is told the part that is done, 0 to 1, and ends its line at 1.
    """
    began, told, ended = time.monotonic(), 0.0, False

    def show(part: float) -> None:
        nonlocal told, ended
        now = time.monotonic()
        if ended or not sys.stderr.isatty() or (part < 1 and now - told < TELL_SECONDS):
            return
        told, ended = now, part >= 1
        print(f"\r{line(what, part, now - began)}", end="\n" if ended else "", file=sys.stderr, flush=True)

    return show


def line(what: str, part: float, spent: float) -> str:
    """One line of constant width: what is done, a bar, percent, and the seconds that are left."""
    done = min(1.0, max(0.0, part))
    left = f"about {max(1, round(spent * (1 - done) / done))} s left" if FORESEEN_FROM <= done < 1 else ""
    bar = "#" * int(done * BAR)
    return f"{what} [{bar:.<{BAR}}] {int(done * 100):3d} % {left:<20}"
