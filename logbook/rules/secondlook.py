"""A pitch test is read twice, the second time blind; a room has its usual band."""

from collections.abc import Iterator
from decimal import Decimal

from logbook.rules.findings import Finding, ask, note

WARMTH_C = (Decimal(21), Decimal(25))
HUMIDITY_PERCENT = (Decimal(45), Decimal(55))
"""Shop defaults without a source; TAPPI T 402 tests paper at 23.0 ± 1.0 °C and 50 ± 2 % (taken over, not re-read)."""


def readers(names: list[str], *, apart_lpi: Decimal | None, agree: bool) -> Iterator[Finding]:
    """One reader is a note; two who differ by more than their readings can explain are an ask.

    ``apart_lpi`` is how far the two farthest readers' own fits lie apart; None with one reader.
    """
    if len(names) < 2:
        yield note(
            "second reading",
            f"Read by {names[0] if names else 'nobody'} only; a second, blind reading would be better.",
        )
    elif not agree:
        yield ask(
            "second reading",
            f"The readers {' and '.join(names)} differ by {apart_lpi} lines per inch, more than their readings can "
            "explain: fix head position and distance, and read again.",
        )


def room(temperature_c: Decimal | None, humidity_percent: Decimal | None) -> Iterator[Finding]:
    """A note outside the usual band; what it does to a pitch is judged by the drift over the print."""
    for value, (low, high), unit in ((temperature_c, WARMTH_C, "°C"), (humidity_percent, HUMIDITY_PERCENT, "% RH")):
        if value is not None and not low <= value <= high:
            yield note("room", f"The room is at {value} {unit}; {low} to {high} is usual.")
