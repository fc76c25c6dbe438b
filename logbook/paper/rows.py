"""From a step list to printable blocks: cautions stand before the step they guard, in full once per stage."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from logbook.paper.shelf import Sign, signs
from logbook.paper.views import Bench, Column, Entry, Traveller
from logbook.rules.cards import Card, in_force
from logbook.rules.steplist import Stage, Step
from logbook.rules.traits import ways_of_working

MOST_COLUMNS = 4
"""Columns side by side; more sheets continue in a block of their own below."""


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution in full, ready to print."""

    card: Card
    word: str
    signs: tuple[Sign, ...]
    kind: Literal["caution"] = "caution"

    @property
    def css(self) -> str:
        """The class that colours the panel; word and symbol carry the level alone."""
        return "level-" + self.word.lower().replace(" ", "-")

    @property
    def alert(self) -> bool:
        """Whether the alert symbol stands beside the word: only where someone can be hurt."""
        return self.word not in ("NOTICE", "HOLD POINT")


@dataclass(frozen=True, slots=True)
class Reminder:
    """A caution as sign, word and code at a later step."""

    code: str
    word: str
    sign: Sign | None


@dataclass(frozen=True, slots=True)
class Marker:
    """A bar across the page: rollers start, rollers stopped."""

    name: str
    text: str
    kind: Literal["marker"] = "marker"


@dataclass(frozen=True, slots=True)
class Cell:
    """What one column shows for one step: something recorded, or the place to record it, or neither where ``aside``."""

    record: str
    entry: Entry | None = None
    aside: bool = False


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step with its cells, one for each column."""

    number: str
    step: Step
    text: str
    limits: str
    reminders: tuple[Reminder, ...]
    cells: tuple[Cell, ...]
    kind: Literal["step"] = "step"

    @property
    def recorded(self) -> bool:
        """Whether something is recorded already in any column."""
        return any(cell.entry for cell in self.cells)

    @property
    def blank(self) -> bool:
        """Whether there is nothing to record and nothing recorded in any column."""
        return self.step.record == "none" and not self.recorded


@dataclass(frozen=True, slots=True)
class Block:
    """One stage for up to four columns.

    ``closed`` replaces the rows by one line; ``stop_sentence`` with ``missing``
    replaces them by the NOT SET or out-of-use frame.
    """

    stage: Stage
    columns: tuple[Column, ...]
    rows: tuple[Caution | Marker | StepRow, ...] = ()
    machine: Bench | None = None
    closed: str = ""
    stop_sentence: str = ""
    missing: tuple[str, ...] = field(default=())
    continued: bool = False


def caution(card: Card, traits: Iterable[str] = ()) -> Caution:
    """A card with the signal word for these traits and its sign drawings."""
    return Caution(card, card.word(traits), tuple(signs()[code] for code in card.signs if code in signs()))


def shown_cards(view: Traveller) -> tuple[str, ...]:
    """The versions of all cards that a traveller shows in full, for the record."""
    rows = (row for block in blocks(view) for row in block.rows)
    return tuple(sorted({row.card.label for row in rows if isinstance(row, Caution)}))


def blocks(view: Traveller) -> tuple[Block, ...]:
    """Every stage in order, split where there are more columns than fit side by side."""
    return tuple(block for stage in view.steps.stages for block in _stage_blocks(stage, view))


def _stage_blocks(stage: Stage, view: Traveller) -> Iterator[Block]:
    columns = {"job": (Column(""),), "sheet": view.sheets, "piece": view.pieces}[stage.on] or (Column(""),)
    closed = next((closed.line for closed in view.closed if closed.stage == stage.key), "")
    machine = view.machine(stage.machine)
    if closed:
        yield Block(stage, columns, closed=closed, machine=machine)
    elif sentence := _standstill(stage, machine):
        yield Block(stage, columns, machine=machine, stop_sentence=sentence, missing=machine.missing if machine else ())
    else:
        for start in range(0, len(columns), MOST_COLUMNS):
            few = columns[start:start + MOST_COLUMNS]
            yield Block(stage, few, tuple(_rows(stage, few, view, machine, again=start > 0)), machine,
                        continued=start > 0)


def _standstill(stage: Stage, machine: Bench | None) -> str:
    if not stage.machine:
        return ""
    if machine is None:
        return f"No {stage.machine} is named for this job."
    if machine.missing:
        return f"{machine.name}: these facts of the machine are missing."
    return f"{machine.name} is out of use: {machine.out_of_use}" if machine.out_of_use else ""


def _rows(stage: Stage, columns: tuple[Column, ...], view: Traveller, machine: Bench | None, *,
          again: bool) -> Iterator[Caution | Marker | StepRow]:
    ways = ways_of_working(stage.machine, machine.traits(view.people) if machine else ())
    known = {code: in_force(view.cards[code], ways) for code in stage.cards if code in view.cards}
    cards = {code: (view.cards[code], traits) for code, traits in known.items() if traits is not None}
    entries = {(entry.step, entry.column): entry for entry in view.entries}
    for place, step in enumerate(stage.steps, start=1):
        fresh = () if again else tuple(code for code in stage.cards_before(step.key) if code in cards)
        yield from (caution(*cards[code]) for code in fresh)
        if step.marker == "rollers-start":
            yield Marker(step.marker, "ROLLERS START")
        yield StepRow(
            number=f"{stage.code.lstrip('S')}.{place}",
            step=step,
            text=step.wording(view.people),
            limits=view.limits.get(step.key) or limits(step),
            reminders=tuple(_reminder(*cards[code])
                            for code in step.guards if code in cards and code not in fresh),
            cells=tuple(Cell(step.record, entries.get((step.key, column.code)), bool(column.aside))
                        for column in columns),
        )
        if step.marker == "rollers-stopped":
            yield Marker(step.marker, "ROLLERS STOPPED")


def _reminder(card: Card, traits: Iterable[str]) -> Reminder:
    return Reminder(card.id, card.word(traits), signs().get(card.signs[0]) if card.signs else None)


def limits(step: Step) -> str:
    """The limits of a number in words, with unit; empty where there are none."""
    if step.low is None and step.high is None:
        return ""
    if step.low is None:
        return f"at most {_plain(step.high)} {step.unit}"
    if step.high is None:
        return f"at least {_plain(step.low)} {step.unit}"
    return f"{_plain(step.low)}–{_plain(step.high)} {step.unit}"


def _plain(number: Decimal | None) -> str:
    return f"{number:f}"
