"""Traits of a machine or a shift, by which cautions and check lines are chosen.

What is not known counts as present: a caution is left out only where the shop
has said that it does not apply.
"""

from collections.abc import Iterable

from logbook.refusals import Refused

GROUPS = (
    frozenset({"powered", "hand-driven"}),
    frozenset({"heated", "unheated"}),
    frozenset({"knife", "guillotine", "lever", "rotary"}),
    frozenset({"alone", "two-people"}),
)
"""Of each group at most one holds; ``rotary`` is a trimmer whose cutting wheel runs in an enclosed head."""
ALL = frozenset().union(*GROUPS)

BY_HAND = frozenset({"hand-driven", "knife"})
"""A knife along a rule: in reach of every trimmer, whatever its head."""


def ways_of_working(kind: str, traits: Iterable[str]) -> tuple[frozenset[str], ...]:
    """Every way in which the work of a kind of machine may be done: with it, and of a trimmer by hand as well."""
    return (frozenset(traits), BY_HAND) if kind == "trimmer" else (frozenset(traits),)


def check_traits(traits: Iterable[str], *, where: str) -> tuple[str, ...]:
    """The traits as a tuple; Refused where one is not known."""
    traits = tuple(traits)
    for trait in traits:
        if trait not in ALL:
            raise Refused(f"{where}: the trait {trait!r} is not known; use {', '.join(sorted(ALL))}.")
    return traits


def may_be(trait: str, traits: Iterable[str]) -> bool:
    """Whether a trait holds or is not ruled out by another one of its group."""
    traits = frozenset(traits)
    group = next(group for group in GROUPS if trait in group)
    return trait in traits or not group & traits


def fits(only_for: Iterable[str], traits: Iterable[str]) -> bool:
    """Whether something meant only for some traits belongs here; nothing named means always."""
    only_for = tuple(only_for)
    return not only_for or any(may_be(trait, traits) for trait in only_for)


def machine_traits(*, drive: str = "", heated: bool | None = None, cutting: str = "",
                   people: int = 0) -> frozenset[str]:
    """Traits from a machine's record and the shift; empty text, None and 0 mean "not known".

    ``drive`` is powered or hand, ``cutting`` a trimmer's knife, rotary,
    guillotine or lever, ``people`` how many work at the machine.
    """
    traits = {{"hand": "hand-driven"}.get(drive, drive), cutting, {1: "alone", 2: "two-people"}.get(people, "")}
    if heated is not None:
        traits.add("heated" if heated else "unheated")
    return frozenset(check_traits(traits - {""}, where="Machine"))
