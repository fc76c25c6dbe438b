"""The shelf: safety cards, signs, step list and machine check, read from their folders.

The shipped folder is read-only; what the shop wrote lies in its own folder
(``cards/``, ``steps.toml``, ``machine-check.toml``, ``first-aid.toml`` inside
``cards/``) and wins. A file of the shop's that cannot be read never takes a
caution away: the shipped one stands in, and the sentence is kept in ``problems``.
"""

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

from logbook import resources
from logbook.refusals import Refused
from logbook.rules.cards import Card, FirstAid, choose, differences, read_card, read_first_aid
from logbook.rules.machinecheck import MachineCheck, read_machine_check
from logbook.rules.steplist import StepList, read_step_list

_T = TypeVar("_T")
_TITLE = re.compile(r"<title>(.+?) \(own drawing after \w+\)</title>")


@dataclass(frozen=True, slots=True)
class Sign:
    """Our own drawing after a registered sign: its code, its words and the SVG itself."""

    code: str
    title: str
    svg: str


@dataclass(frozen=True, slots=True)
class Shelf:
    """All that hangs on the bench, the shop's own versions already in place.

    ``news`` holds, by card, how the shop's version differs from a shipped one
    that is newer than the one it was based on.
    """

    steps: StepList
    cards: Mapping[str, Card]
    first_aid: FirstAid
    machine_check: MachineCheck
    signs: Mapping[str, Sign]
    problems: tuple[str, ...] = ()
    news: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def read_shelf(own: Path | None = None) -> Shelf:
    """Read the shipped folder and, where there is one, the shop's own folder; anew only when a file was changed."""
    return _read(own, tuple(_stamps(resources.folder("safety"))), tuple(_stamps(own)) if own else ())


def _stamps(folder: Path) -> Iterator[tuple[str, int, int]]:
    """Which files there are, when each was written and how long it is."""
    for path in sorted((*folder.glob("*.toml"), *folder.glob("cards/*.toml"))):
        with suppress(FileNotFoundError):
            about = path.stat()
            yield str(path), about.st_mtime_ns, about.st_size


@lru_cache(maxsize=4)
def _read(own: Path | None, _shipped: tuple[object, ...], _own: tuple[object, ...]) -> Shelf:
    cards = read_cards(resources.folder("safety") / "cards")
    problems: list[str] = []
    news: dict[str, tuple[str, ...]] = {}
    if own is not None:
        _lay_over(cards, own / "cards", problems, news)
    return Shelf(
        steps=_own_or_shipped("steps.toml", read_step_list, own, problems),
        cards=cards,
        first_aid=_own_or_shipped("cards/first-aid.toml", read_first_aid, own, problems),
        machine_check=_own_or_shipped("machine-check.toml", read_machine_check, own, problems),
        signs=signs(),
        problems=tuple(problems),
        news=news,
    )


def read_cards(folder: Path) -> dict[str, Card]:
    """Every hazard card of a folder by its id; Refused where one is wrong or misnamed."""
    return {path.stem: _card(path) for path in sorted(folder.glob("C*.toml"))}


@lru_cache(maxsize=1)
def signs() -> Mapping[str, Sign]:
    """The shipped sign drawings by code."""
    return {path.stem: _sign(path) for path in sorted((resources.folder("safety") / "signs").glob("*.svg"))}


def load_toml(path: Path) -> dict:
    """A TOML file with exact decimals; Refused with one sentence where it is not readable."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Refused(f"{path.name} cannot be read: {error}.") from error


def _card(path: Path) -> Card:
    card = read_card(load_toml(path))
    if card.id != path.stem:
        raise Refused(f"{path.name} holds card {card.id}; name the file {card.id}.toml.")
    return card


def _lay_over(cards: dict[str, Card], folder: Path, problems: list[str], news: dict[str, tuple[str, ...]]) -> None:
    for path in sorted(folder.glob("C*.toml")):
        shipped = cards.get(path.stem)
        try:
            own = choose(shipped, _card(path))
        except Refused as refusal:
            problems.append(refusal.sentence)
            continue
        cards[own.id] = own
        if shipped is not None and own.based_on != shipped.version:
            news[own.id] = differences(shipped, own)


def _own_or_shipped(name: str, read: Callable[[Mapping], _T], own: Path | None, problems: list[str]) -> _T:
    if own is not None and (own / name).is_file():
        try:
            return read(load_toml(own / name))
        except Refused as refusal:
            problems.append(f"{name}: {refusal.sentence}")
    return read(load_toml(resources.folder("safety") / name))


def _sign(path: Path) -> Sign:
    svg = path.read_text(encoding="utf-8").strip()
    title = _TITLE.search(svg)
    if title is None:
        raise Refused(f"{path.name} has no title that calls it an own drawing.")
    return Sign(code=path.stem, title=title[1], svg=svg)
