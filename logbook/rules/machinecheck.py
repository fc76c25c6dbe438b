"""The daily machine check: what is looked at, on which kind of machine, before its first job of the day."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from logbook.refusals import Refused
from logbook.rules import reading
from logbook.rules.steplist import MACHINES
from logbook.rules.traits import check_traits, fits


@dataclass(frozen=True, slots=True)
class CheckItem:
    """One line of the check; a "no" puts the machine out of use, a number is only noted.

    ``low`` and ``high``: what a number in this unit can be at all; beyond it another unit was meant.
    """

    key: str
    text: str
    record: str = "yes-no"
    unit: str = ""
    kinds: tuple[str, ...] = MACHINES
    only_for: tuple[str, ...] = ()
    cards: tuple[str, ...] = ()
    low: Decimal | None = None
    high: Decimal | None = None


@dataclass(frozen=True, slots=True)
class MachineCheck:
    """All lines of the daily check, with the revision they belong to."""

    revision: str
    title: str
    items: tuple[CheckItem, ...]

    def items_for(self, kind: str, traits: Iterable[str] = ()) -> tuple[CheckItem, ...]:
        """The lines for one machine; a trait that is not known counts as present."""
        return tuple(item for item in self.items if kind in item.kinds and fits(item.only_for, traits))


def read_machine_check(mapping: Mapping) -> MachineCheck:
    """Check the already-loaded list and freeze it; Refused with one sentence otherwise."""
    where = "Machine check"
    reading.no_stranger(mapping, ("revision", "title", "item"), where=where)
    items = tuple(_item(entry) for entry in mapping.get("item", ()))
    if len({item.key for item in items}) != len(items) or not items:
        raise Refused(f"{where}: it needs lines, and each line a key of its own.")
    return MachineCheck(reading.text(mapping, "revision", where=where), reading.text(mapping, "title", where=where),
                        items)


def _item(entry: Mapping) -> CheckItem:
    where = f"Check line {entry.get('key', '?')}"
    reading.no_stranger(entry, CheckItem.__slots__, where=where)
    item = CheckItem(
        key=reading.text(entry, "key", where=where),
        text=reading.text(entry, "text", where=where),
        record=reading.one_of(entry, "record", ("yes-no", "number"), where=where, default="yes-no"),
        unit=reading.text(entry, "unit", where=where, required=False),
        kinds=reading.texts(entry, "kinds", where=where) or MACHINES,
        only_for=check_traits(reading.texts(entry, "only_for", where=where), where=where),
        cards=reading.texts(entry, "cards", where=where),
        low=reading.number(entry, "low", where=where),
        high=reading.number(entry, "high", where=where),
    )
    if not set(item.kinds) <= set(MACHINES):
        raise Refused(f"{where}: kinds are {', '.join(MACHINES)}.")
    if (item.record == "number") != bool(item.unit):
        raise Refused(f"{where}: a number has a unit, a question has none.")
    return item
