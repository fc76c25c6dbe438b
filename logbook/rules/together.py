"""Several signed in one act: what asks the very same of some of them is asked once, whatever differs by itself."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from logbook.rules.findings import Finding


@dataclass(frozen=True, slots=True)
class Weighed:
    """One of several: what people call it, its code, and what speaks against signing it."""

    called: str
    code: str
    findings: Sequence[Finding]


def told_together(each: Sequence[Weighed]) -> list[Finding]:
    """The findings of all, those that say the very same once; each names whom it is about, unless that is everyone.

    The field of an ask carries the code of the first that it is about, so that no reason serves another ask.
    Of one alone they are what they were.
    """
    if len(each) == 1:
        return list(each[0].findings)
    return [_of_some(found, some, len(each)) for found, some in _grouped(each)]


def reasons_of(each: Sequence[Weighed], given: Mapping[str, str]) -> list[Mapping[str, str]]:
    """For each of them its own reasons, by the fields that its findings have when it is signed alone."""
    if len(each) == 1:
        return [given]
    own: dict[str, dict[str, str]] = {one.code: {} for one in each}
    for found, some in _grouped(each):
        reason = given.get(_of_some(found, some, len(each)).field, "")
        for one in some:
            own[one.code][found.field] = reason
    return list(own.values())


def _grouped(each: Sequence[Weighed]) -> list[tuple[Finding, list[Weighed]]]:
    groups: dict[Finding, list[Weighed]] = {}
    for one in each:
        for found in dict.fromkeys(one.findings):
            groups.setdefault(found, []).append(one)
    return list(groups.items())


def _of_some(found: Finding, some: Sequence[Weighed], everyone: int) -> Finding:
    rule = f"{found.rule}: {some[0].code}"
    if len(some) == everyone:
        return replace(found, rule=rule, about=found.matter)
    names = ", ".join(one.called for one in some)
    return replace(found, rule=rule, about=f"{found.matter} ({names})", sentence=f"{names}: {found.sentence}")
