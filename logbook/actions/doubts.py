"""In doubt: what is held back, with nothing decided yet. Each doubt stands until it is lifted by itself."""

from collections.abc import Iterable

from logbook.records.floor import Print
from logbook.refusals import Refused

_BETWEEN = "; "


def reasons(piece: Print) -> list[str]:
    """Why a piece is held back, oldest first; empty where nothing holds it."""
    return piece.set_aside_reason.split(_BETWEEN) if piece.set_aside_reason else []


def as_kept(why: str) -> str:
    """A reason as it stands on the prints that it holds."""
    return why.replace(_BETWEEN, ", ")


def set_aside(pieces: Iterable[Print], why: str) -> None:
    """Hold back every piece that has not left; part of another act.

    What parts two reasons cannot stand inside one: whoever lifts a reason must lift the whole of it.
    """
    why = as_kept(why)
    for piece in pieces:
        known = reasons(piece)
        if piece.stage not in ("gone", "scrapped") and why not in known:
            piece.set_aside_reason = _BETWEEN.join([*known, why])


def lift(piece: Print, why: str) -> str:
    """Take one reason away and return it; part of another act.

    ``why`` may be empty where one reason stands alone. Refused where it names none that holds the piece.
    """
    known = reasons(piece)
    if not why and len(known) > 1:
        raise Refused("Say which of the reasons is settled; the others keep holding it.", field="lifted")
    why = why or known[0]
    if why not in known:
        raise Refused(
            f"{piece.serial} is not held for this reason any more ({why}); open its page again.", field="lifted"
        )
    known.remove(why)
    piece.set_aside_reason = _BETWEEN.join(known) or None
    return why
