"""Printers: what must be known of one, written down, and what asks where it is not."""

from decimal import Decimal

from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.machines import dots_per_inch
from logbook.actions.strengths import weigh
from logbook.records.audit import Act, Actor, record
from logbook.records.machines import Machine, PrinterMode
from logbook.refusals import Refused
from logbook.rules import printers
from logbook.rules.findings import Finding

FIELDS = tuple(name for name, _ in printers.REQUIRED)


def facts(machine: Machine) -> printers.PrinterFacts:
    """A printer as the rules see it."""
    return printers.PrinterFacts(machine.name, **{name: getattr(machine, name) for name in FIELDS})


def undescribed(machine: Machine) -> list[str]:
    """What nobody has written down of a printer yet, as words; of other machines nothing."""
    return printers.undescribed(facts(machine)) if machine.kind == "printer" else []


def describe(session: Session, by: Actor, *, machine: Machine, values: dict[str, str | Decimal | None]) -> None:
    """Write down what must be known of a printer; ``values`` by the names of its facts.

    Raises Refused where the driver's dots per inch cannot be read.
    """
    try:
        printers.read_native(str(values.get("native_dpi") or ""))
    except Refused as refusal:
        raise Refused(refusal.sentence, field="native_dpi") from None
    meant = {name: _stripped(values.get(name)) for name in FIELDS}
    meant = {name: value for name, value in meant.items() if value != getattr(machine, name)}
    old = {name: getattr(machine, name) for name in meant}
    for name, value in meant.items():
        setattr(machine, name, value)
    if meant:
        record(session, by, Act("machine facts set", [ref(machine)], old=old, new=meant))


def _stripped(value: str | Decimal | None) -> str | Decimal | None:
    return value.strip() if isinstance(value, str) else value


def findings(session: Session, mode: PrinterMode) -> list[Finding]:
    """What asks before a chart or a print is made in this mode, as this shop weighs it."""
    dpi = dots_per_inch(mode.dpi_across), dots_per_inch(mode.dpi_down)
    return weigh(session, printers.findings(facts(mode.machine), dpi))
