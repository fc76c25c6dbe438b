"""Several signed in one act: what asks the same of some of them is asked once, whatever differs by itself."""

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
    """The findings of all, those that are alike once; each names whom it is about, unless that is everyone.

    The field of an ask carries the code of the first that it is about, so that no reason serves another ask.
    Of one alone they are what they were.
    """
    if len(each) == 1:
        return list(each[0].findings)
    return [_told(asked, len(each)) for asked in _grouped(each)]


def reasons_of(each: Sequence[Weighed], given: Mapping[str, str]) -> list[Mapping[str, str]]:
    """For each of them its own reasons, by the fields that its findings have when it is signed alone."""
    if len(each) == 1:
        return [given]
    own: dict[str, dict[str, str]] = {one.code: {} for one in each}
    for asked in _grouped(each):
        reason = given.get(_told(asked, len(each)).field, "")
        for one, found in asked:
            own[one.code][found.field] = reason
    return list(own.values())


_Asked = Sequence[tuple[Weighed, Finding]]
"""Whom one thing is about, each with its finding: they are alike, and may differ by what changes by the minute."""


def _grouped(each: Sequence[Weighed]) -> list[_Asked]:
    groups: dict[Finding, list[tuple[Weighed, Finding]]] = {}
    for one in each:
        for found in dict.fromkeys(one.findings):
            alike = replace(found, sentence=found.alike or found.sentence)
            groups.setdefault(alike, []).append((one, found))
    return list(groups.values())


def _told(asked: _Asked, everyone: int) -> Finding:
    first, found = asked[0]
    rule, names = f"{found.rule}: {first.code}", ", ".join(one.called for one, _ in asked)
    whose: dict[str, list[str]] = {}
    for one, own in asked:
        whose.setdefault(own.sentence, []).append(one.called)
    if len(asked) == everyone and len(whose) == 1:
        return replace(found, rule=rule, about=found.matter)
    sentence = " ".join(f"{', '.join(called)}: {words}" for words, called in whose.items())
    about = found.matter if len(asked) == everyone else f"{found.matter} ({names})"
    return replace(found, rule=rule, about=about, sentence=sentence)
