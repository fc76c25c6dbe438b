"""Safety cards: hazards, their controls in order, and what they rest on.

``read_card`` and ``read_first_aid`` turn already-loaded mappings into frozen
dataclasses; ``choose`` lets the shop's own version win over the shipped one,
and refuses to lower a level without a name and a reason.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from logbook.refusals import Refused
from logbook.rules import reading
from logbook.rules.traits import ALL, check_traits, fits, may_be

SIGNAL_WORDS = {
    "DANGER": "will cause death or serious injury if not avoided",
    "WARNING": "could cause death or serious injury",
    "HOLD POINT": "work stops here until this is done",
    "CAUTION": "could cause minor or moderate injury",
    "NOTICE": "practice not related to injury",
}
"""Signal words with their meaning, highest first (ANSI Z535.4-2007, 4.14: taken over, not re-read)."""
_LEVEL = {"DANGER": 4, "WARNING": 3, "HOLD POINT": 3, "CAUTION": 2, "NOTICE": 1}

MARKS = {
    "read": "read",
    "taken-over": "taken over, not re-read",
    "memory": "from memory",
    "practice": "common practice",
    "default": "shop default",
}
"""How far a source line can be trusted: the code in the file and the words that print."""

_ROLLER_SIGN = "W025"
_GAP = re.compile(r"\d\s*(mm|cm|in|inch|inches|millimet)", re.IGNORECASE)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_SIGN = re.compile(r"[WMPE]\d{3}")


@dataclass(frozen=True, slots=True)
class Source:
    """One thing a card rests on, how far it was checked, and where it is law or custom."""

    text: str
    mark: str
    country: str

    @property
    def mark_words(self) -> str:
        """The mark as it prints."""
        return MARKS[self.mark]


@dataclass(frozen=True, slots=True)
class Change:
    """Who of the shop changed a card, and why."""

    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class Card:
    """One hazard: what it is, what it does, how to avoid it.

    ``avoid`` is the short message of the traveller, ``controls`` the whole list
    in the order of their strength. ``only_for`` names the traits to which the
    card belongs (empty: always), ``signal_for`` pairs a trait with another word.
    ``lowered`` is set by ``choose`` where the shop put the level below the
    shipped one; ``based_on`` is the shipped version that the shop started from.
    """

    id: str
    title: str
    signal: str
    hazard: str
    consequence: str
    avoid: str
    controls: tuple[str, ...]
    protective: tuple[str, ...]
    signs: tuple[str, ...]
    sources: tuple[Source, ...]
    version: str
    date: str
    only_for: tuple[str, ...] = ()
    signal_for: tuple[tuple[str, str], ...] = ()
    change: Change | None = None
    lowered: bool = False
    based_on: str = ""

    @property
    def label(self) -> str:
        """Code, version and date, as a traveller records them."""
        return f"{self.id} v{self.version} {self.date}"

    def applies(self, traits: Iterable[str] = ()) -> bool:
        """Whether the card belongs to these traits; what is not known counts as present."""
        return fits(self.only_for, traits)

    def word(self, traits: Iterable[str] = ()) -> str:
        """The signal word for these traits; the highest word wins while a trait is not known."""
        traits = frozenset(traits)
        sure = [word for trait, word in self.signal_for if trait in traits]
        open_words = [word for trait, word in self.signal_for if may_be(trait, traits)]
        return max(sure or [self.signal, *open_words], key=_LEVEL.__getitem__)


@dataclass(frozen=True, slots=True)
class Case:
    """One first-aid case: what happened, and what to do in order."""

    key: str
    title: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FirstAid:
    """The first-aid card; ``facts`` are the shop's own, filled in once or by hand on the wall."""

    title: str
    preface: str
    cases: tuple[Case, ...]
    facts: tuple[str, ...]
    signs: tuple[str, ...]
    sources: tuple[Source, ...]
    version: str
    date: str


_CARD_KEYS = ("id", "title", "signal", "hazard", "consequence", "avoid", "controls", "protective", "signs", "source",
              "version", "date", "only_for", "signal_for", "change", "based_on")


def read_card(mapping: Mapping) -> Card:
    """Check an already-loaded card and freeze it; Refused with one sentence otherwise."""
    where = f"Card {mapping.get('id', '?')}"
    reading.no_stranger(mapping, _CARD_KEYS, where=where)
    card = Card(
        id=reading.text(mapping, "id", where=where),
        title=reading.text(mapping, "title", where=where),
        hazard=reading.text(mapping, "hazard", where=where),
        consequence=reading.text(mapping, "consequence", where=where),
        avoid=reading.text(mapping, "avoid", where=where),
        version=reading.text(mapping, "version", where=where),
        based_on=reading.text(mapping, "based_on", where=where, required=False),
        signal=_signal(mapping.get("signal"), where=where),
        controls=reading.texts(mapping, "controls", where=where, required=True),
        protective=reading.texts(mapping, "protective", where=where),
        signs=_signs(mapping, where=where),
        sources=_sources(mapping, where=where),
        date=_day(mapping, where=where),
        only_for=check_traits(reading.texts(mapping, "only_for", where=where), where=where),
        signal_for=_signal_for(mapping, where=where),
        change=_change(mapping, where=where),
    )
    _refuse_gap_at_rollers(card)
    return card


def in_force(card: Card, ways: Iterable[frozenset[str]]) -> frozenset[str] | None:
    """The first way of working to which a card applies; None where it applies to none."""
    return next((traits for traits in ways if card.applies(traits)), None)


def read_first_aid(mapping: Mapping) -> FirstAid:
    """Check the already-loaded first-aid card and freeze it."""
    where = "First-aid card"
    known = ("id", "title", "preface", "case", "facts", "signs", "source", "version", "date")
    reading.no_stranger(mapping, known, where=where)
    return FirstAid(
        title=reading.text(mapping, "title", where=where),
        preface=reading.text(mapping, "preface", where=where),
        cases=tuple(_case(entry) for entry in mapping.get("case", ())),
        facts=reading.texts(mapping, "facts", where=where, required=True),
        signs=_signs(mapping, where=where),
        sources=_sources(mapping, where=where),
        version=reading.text(mapping, "version", where=where),
        date=_day(mapping, where=where),
    )


def choose(shipped: Card | None, own: Card) -> Card:
    """The shop's own version, which wins; Refused where it lowers the level without name and reason."""
    if shipped is None or not _lower(own, shipped):
        return own
    if own.change is None:
        raise Refused(f"Card {own.id}: lowering {shipped.signal} to {own.signal} needs a name and a reason.",
                      field="signal")
    return replace(own, lowered=True)


def differences(shipped: Card, own: Card) -> tuple[str, ...]:
    """One line for each field in which the shop's version differs from the shipped one."""
    skip = {"change", "lowered", "based_on"}
    fields = [name for name in Card.__slots__ if name not in skip and getattr(shipped, name) != getattr(own, name)]
    return tuple(f"{name}: shipped {_plain(getattr(shipped, name))} — own {_plain(getattr(own, name))}"
                 for name in fields)


def _plain(value: object) -> str:
    if not isinstance(value, tuple):
        return str(value)
    return "; ".join(item.text if isinstance(item, Source) else " ".join(item) if isinstance(item, tuple) else str(item)
                     for item in value) or "nothing"


def _lower(own: Card, shipped: Card) -> bool:
    situations = [frozenset(), *(frozenset({trait}) for trait in ALL)]
    return any(_LEVEL[own.word(traits)] < _LEVEL[shipped.word(traits)] for traits in situations)


def _signal(word: object, *, where: str) -> str:
    if word not in SIGNAL_WORDS:
        raise Refused(f"{where}: the signal word is {word!r}; use {', '.join(SIGNAL_WORDS)}.")
    return str(word)


def _signal_for(mapping: Mapping, *, where: str) -> tuple[tuple[str, str], ...]:
    table = mapping.get("signal_for", {})
    check_traits(table, where=where)
    return tuple((trait, _signal(word, where=where)) for trait, word in table.items())


def _signs(mapping: Mapping, *, where: str) -> tuple[str, ...]:
    signs = reading.texts(mapping, "signs", where=where)
    for sign in signs:
        if not _SIGN.fullmatch(sign):
            raise Refused(f"{where}: {sign!r} is no sign code, for example W025.")
    return signs


def _sources(mapping: Mapping, *, where: str) -> tuple[Source, ...]:
    entries = mapping.get("source", ())
    if not entries:
        raise Refused(f"{where}: it must say what it rests on.")
    return tuple(_source(entry, where=where) for entry in entries)


def _source(entry: Mapping, *, where: str) -> Source:
    reading.no_stranger(entry, ("text", "mark", "country"), where=where)
    if entry.get("mark") not in MARKS:
        raise Refused(f"{where}: each source has a mark, one of {', '.join(MARKS)}.")
    return Source(reading.text(entry, "text", where=where), entry["mark"], reading.text(entry, "country", where=where))


def _change(mapping: Mapping, *, where: str) -> Change | None:
    if "change" not in mapping:
        return None
    entry = mapping["change"]
    reading.no_stranger(entry, ("by", "reason"), where=where)
    return Change(reading.text(entry, "by", where=where), reading.text(entry, "reason", where=where))


def _day(mapping: Mapping, *, where: str) -> str:
    day = str(mapping.get("date", ""))
    if not _DAY.fullmatch(day):
        raise Refused(f"{where}: date must be a day, for example 2026-11-25.")
    return day


def _case(entry: Mapping) -> Case:
    where = f"First-aid case {entry.get('key', '?')}"
    reading.no_stranger(entry, ("key", "title", "steps"), where=where)
    return Case(reading.text(entry, "key", where=where), reading.text(entry, "title", where=where),
                reading.texts(entry, "steps", where=where, required=True))


def _refuse_gap_at_rollers(card: Card) -> None:
    if _ROLLER_SIGN not in card.signs:
        return
    for sentence in (card.hazard, card.consequence, card.avoid, *card.controls):
        if _GAP.search(sentence):
            raise Refused(f"Card {card.id}: no number stands for a gap at rollers; say “as small as the maker allows”.",
                          field="controls")
