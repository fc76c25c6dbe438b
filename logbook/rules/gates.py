"""The three gates of a job: the customer's answer, a pitch, the materials. They are met in any order."""

from collections.abc import Iterator
from dataclasses import dataclass

from logbook.rules.findings import Finding, ask, stop


@dataclass(frozen=True, slots=True)
class Gates:
    """What a job has so far. ``answer`` is "approved", "change", "waiting" (a proof is out) or "none"."""

    pictures: int
    answer: str
    answer_is_current: bool
    """False when pictures, size, flip, fit or quantity changed after the proof that was answered."""
    pitch_chosen: bool
    materials_chosen: bool
    for_shop: bool = False
    """A piece without a customer needs nobody's answer."""
    pitch_gone: str = ""
    """Why the chosen pitch serves no more; empty while it stands."""


def may_interlace(gates: Gates, *, sample: bool) -> list[Finding]:
    """What stands between this job and an interlace run; a sample needs no answer."""
    found = [*_needs(gates)]
    if not sample and not gates.for_shop:
        found.extend(_answer(gates))
    return found


def _needs(gates: Gates) -> Iterator[Finding]:
    if gates.pictures < 2:
        yield stop("pictures", "An interlaced print needs at least two pictures; add another one.")
    if not gates.materials_chosen:
        yield stop("materials", "Choose lens lot, printer and paper first.")
    if not gates.pitch_chosen:
        yield stop("pitch", "Choose a pitch first.")


def _answer(gates: Gates) -> Iterator[Finding]:
    if gates.answer == "approved" and gates.answer_is_current:
        return
    if gates.answer == "approved":
        yield ask(
            "answer", "Something changed after the proof that the customer approved; a new proof would ask again."
        )
    elif gates.answer == "change":
        yield ask("answer", "The customer asked for a change; a new proof would show it.")
    else:
        yield ask("answer", "The customer has not approved a proof; run it as a sample, or say why it goes on without.")


def may_leave(
    *, serial: str, sample: bool, for_order: bool, set_aside: str | None, failed: bool, conceded: bool
) -> list[Finding]:
    """What stands between a print and the door."""
    found = []
    if sample and for_order:
        found.append(stop("sample", f"{serial} is a sample and cannot leave as the order; send another print of it."))
    if set_aside:
        found.append(
            stop("set aside", f"{serial} was set aside: {set_aside}; the owner puts it back, or it is scrapped.")
        )
    if failed and not conceded:
        found.append(
            stop("inspection", f"{serial} failed its inspection; it needs rework or a concession by the owner.")
        )
    return found
