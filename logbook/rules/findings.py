"""Findings: what a rule answers. One sentence for the bench, and how strong it is."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import IntEnum

from logbook.refusals import Refused
from logbook.rules.reasons import told, too_few


class Strength(IntEnum):
    """note: shown and recorded; ask: needs one reason, which is printed; stop: not now, whatever the reason."""

    NOTE = 1
    ASK = 2
    STOP = 3

    @property
    def word(self) -> str:
        """The word on screen and paper."""
        return self.name.lower()


REASON_FIELD = "reason-"


@dataclass(frozen=True, slots=True)
class Finding:
    """One reason, in one sentence. ``safety`` marks a stop that nobody can lower; ``about``: its matter.

    ``alike`` is its sentence without what changes by the minute, where something does: of several that are signed in
    one act, those that are alike are asked once.
    """

    strength: Strength
    rule: str
    sentence: str
    safety: bool = False
    about: str = ""
    alike: str = ""

    @property
    def matter(self) -> str:
        """What it is about, in few words."""
        return self.about or self.rule

    @property
    def field(self) -> str:
        """The name of the field that takes the reason for this one alone."""
        return REASON_FIELD + re.sub(r"[^a-z0-9]+", "-", self.rule.lower())


def note(rule: str, sentence: str) -> Finding:
    """Shown and recorded; nothing is asked."""
    return Finding(Strength.NOTE, rule, sentence)


def ask(rule: str, sentence: str, *, about: str = "", alike: str = "") -> Finding:
    """Goes on with a reason."""
    return Finding(Strength.ASK, rule, sentence, about=about, alike=alike)


def stop(rule: str, sentence: str, *, safety: bool = False) -> Finding:
    """Does not go on."""
    return Finding(Strength.STOP, rule, sentence, safety)


def strongest(findings: Iterable[Finding]) -> Strength | None:
    """The strongest strength among the findings; None when there is none."""
    return max((finding.strength for finding in findings), default=None)


ADJUSTABLE = {
    "answer": "the customer has not approved what stands now",
    "origin": "a pitch that no test here found: carried over, nominal, forecast",
    "printer facts": "a printer that is not described, where a pitch is measured or a print made",
    "native dots": "a mode whose dots per inch the printer's driver makes anew",
    "printer history": "the printer was repaired or its head changed since the pitch was found",
    "paper lot": "another paper lot than the pitch was found on",
    "adhesive lot": "a sheet that is bonded and no lot of adhesive is named",
    "age": "a pitch older than a year",
    "climate": "the room has changed since the pitch was found",
    "distance": "the distance of a reading is not known, or cannot be converted",
    "uncertainty": "a pitch less sure than this print needs",
    "second reading": "a pitch test read by one person only, or by two who differ",
    "wait": "drying, resting or shipping time cut short",
    "expiry": "paper or adhesive past its date",
    "limit": "a measured value outside its limits",
    "inspector": "a piece inspected by its maker",
}
"""Rules whose strength the owner chooses, note or ask, and what they are about. Stops are not among them."""


def weighed(findings: Iterable[Finding], choices: Mapping[str, str]) -> list[Finding]:
    """The findings with the owner's choices of note or ask; a stop stays a stop, whatever was chosen.

    ``choices`` maps a rule's name (the part before any colon) to "note" or "ask".
    """
    return [_weighed(found, choices.get(found.rule.partition(":")[0])) for found in findings]


def _weighed(found: Finding, choice: str | None) -> Finding:
    if choice is None or found.strength is Strength.STOP:
        return found
    return replace(found, strength=Strength[choice.upper()])


def settle(findings: Iterable[Finding], *, reason: str | None, field: str = "reason") -> str:
    """Let an act pass, or refuse it: a stop always, an ask unless a reason is given.

    Returns the reason to record (empty where none was needed). Raises Refused
    with the sentences of what stands in the way.
    """
    findings = list(findings)
    strength = strongest(findings)
    given = told(reason)
    if strength is Strength.STOP:
        raise Refused(" ".join(found.sentence for found in findings if found.strength is Strength.STOP))
    if strength is Strength.ASK and not given:
        asked = " ".join(found.sentence for found in findings if found.strength is Strength.ASK)
        more = too_few(reason)
        raise Refused(f"{asked} Give a reason to go on; it is printed on the record.{more}", field=field)
    return given if strength is Strength.ASK else ""


def settle_each(findings: Iterable[Finding], *, reason: str = "", reasons: Mapping[str, str] | None = None) -> str:
    """As ``settle``, but every ask takes a reason of its own: one reason never serves two asks.

    ``reasons`` are by the asks' fields; ``reason`` alone serves where there is exactly one ask.
    Returns what is recorded: the reason, or of several each with its matter.
    """
    findings = list(findings)
    asked = [found for found in findings if found.strength is Strength.ASK]
    if not asked or strongest(findings) is Strength.STOP:
        return settle(findings, reason=None)
    typed = {found.field: (reasons or {}).get(found.field, "") for found in asked}
    if len(typed) == 1:
        return settle(findings, reason=typed[asked[0].field].strip() or reason, field=asked[0].field)
    if missing := [found for found in asked if not told(typed[found.field])]:
        asks = " ".join(found.sentence for found in missing)
        each = "for each of these" if len(missing) > 1 else "for this, too,"
        more = too_few("".join(typed[found.field] for found in missing))
        raise Refused(f"{asks} Give a reason {each} to go on; it is printed on the record.{more}",
                      field=missing[0].field)
    return "; ".join(dict.fromkeys(f"{found.matter}: {told(typed[found.field])}" for found in asked))
