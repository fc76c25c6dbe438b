"""What may happen to a machine, and what each such thing ends: pitches of a printer, the daily check of the others."""

from logbook.refusals import Refused

EVENTS = {
    "printer": ("head change", "feed adjustment", "driver change", "repair", "service", "note"),
    "laminator": ("repair", "service", "adjustment", "roller change", "note"),
    "trimmer": ("repair", "service", "adjustment", "blade change", "note"),
}
"""What is noted, by the kind of machine."""
NEEDS_RECORD = ("repair", "service")
"""Work after which a machine stays out of use until its record is written: what, by whom, what was proven."""
NEW_SCALE_EVENTS = ("head change", "feed adjustment", "driver change")
"""What always changes how large a printer prints."""
NOTHING, NEW_SCALE, ENDS = "none", "new scale", "ends"
EFFECTS = {
    NOTHING: "no: it prints as before",
    NEW_SCALE: "maybe: ask before an earlier pitch is used",
    ENDS: "surely: no earlier pitch serves any more",
}
"""What an event means for pitches that were found before it."""


def effect_on_pitches(kind: str, what: str, effect: str) -> str:
    """The effect that is recorded; empty ``effect`` is filled in where only one answer is sensible.

    Raises Refused for an event or effect that does not belong to this kind of machine, and where it must be said.
    """
    if what not in EVENTS[kind]:
        raise Refused(f"{what!r} is no event of a {kind}.", field="what")
    if kind != "printer" or what == "note":
        return NOTHING
    if not effect and what in NEW_SCALE_EVENTS:
        return NEW_SCALE
    if effect not in EFFECTS:
        raise Refused(f"Say what this {what} means for the pitches that were found before it.", field="effect")
    if effect == NOTHING and what in NEW_SCALE_EVENTS:
        raise Refused(f"After a {what} it may print larger or smaller; choose one of the other two.", field="effect")
    return effect


def ends_check(kind: str, what: str) -> bool:
    """Whether the daily check that was signed before says nothing any more."""
    return kind != "printer" and what != "note"


def proofs_missing(*, powered: bool, stops: bool, guards: bool, test_piece: bool) -> bool:
    """Whether something is not proven that must be before a machine is used again; hand-driven ones have no stops."""
    return not (guards and test_piece and (stops or not powered))
