"""In doubt: what is held back, with nothing decided yet. A second doubt does not make the first one forgotten."""

from collections.abc import Iterable

from logbook.records.floor import Print


def set_aside(pieces: Iterable[Print], why: str) -> None:
    """Hold back every piece that has not left; part of another act."""
    for piece in pieces:
        known = piece.set_aside_reason
        if piece.stage not in ("gone", "scrapped") and why not in (known or "").split("; "):
            piece.set_aside_reason = f"{known}; {why}" if known else why
