"""Findings: what a rule answers. One sentence for the bench, and how strong it is."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum

from logbook.refusals import Refused


class Strength(IntEnum):
    """note: shown and recorded; ask: needs one reason, which is printed; stop: not now, whatever the reason."""

    NOTE = 1
    ASK = 2
    STOP = 3

    @property
    def word(self) -> str:
        """The word on screen and paper."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Finding:
    """One reason, in one sentence. ``safety`` marks a stop that nobody can lower."""

    strength: Strength
    rule: str
    sentence: str
    safety: bool = False


def note(rule: str, sentence: str) -> Finding:
    """Shown and recorded; nothing is asked."""
    return Finding(Strength.NOTE, rule, sentence)


def ask(rule: str, sentence: str) -> Finding:
    """Goes on with a reason."""
    return Finding(Strength.ASK, rule, sentence)


def stop(rule: str, sentence: str, *, safety: bool = False) -> Finding:
    """Does not go on."""
    return Finding(Strength.STOP, rule, sentence, safety)


def strongest(findings: Iterable[Finding]) -> Strength | None:
    """The strongest strength among the findings; None when there is none."""
    return max((finding.strength for finding in findings), default=None)


def settle(findings: Iterable[Finding], *, reason: str | None, field: str = "reason") -> str:
    """Let an act pass, or refuse it: a stop always, an ask unless a reason is given.

    Returns the reason to record (empty where none was needed). Raises Refused
    with the sentences of what stands in the way.
    """
    findings = list(findings)
    strength = strongest(findings)
    given = (reason or "").strip()
    if strength is Strength.STOP:
        raise Refused(" ".join(found.sentence for found in findings if found.strength is Strength.STOP))
    if strength is Strength.ASK and not given:
        asked = " ".join(found.sentence for found in findings if found.strength is Strength.ASK)
        raise Refused(f"{asked} Give a reason to go on; it is printed on the record.", field=field)
    return given if strength is Strength.ASK else ""
