"""Whether lens sheet, printer and rollers are large enough for a print; what nobody wrote down is not judged."""

from collections.abc import Iterator
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import recipes
from logbook.engine.plan import Plan
from logbook.lengths import Length
from logbook.records.floor import JobMaterials, Sheet
from logbook.records.machines import Machine
from logbook.rules.findings import Finding, ask, note

OF_THE_SHEET = ("lens sheet", "printer width", "roller width")
"""Rules that are asked of a sheet as a whole, not of a piece on it."""
_ROUNDED = 2
"""Dots that a print and its two margins may be larger than their lengths, each rounded to whole dots."""


def findings(session: Session, plan: Plan, materials: JobMaterials) -> list[Finding]:
    """What is too small for this sheet, before it is interlaced."""
    lot, printer = materials.lens_lot, materials.mode.machine
    found: list[Finding] = []
    if lot.sheet_width and lot.sheet_height and not _covers(lot.sheet_width, lot.sheet_height, plan):
        size = f"{lot.sheet_width} × {lot.sheet_height}"
        found.append(ask("lens sheet", f"The lens sheet of {size} does not cover the print with its check bars."))
    if printer.widest and _is_wider(plan, printer.widest):
        found.append(ask("printer width", f"{_told(plan, printer.widest)}; the printer takes {printer.widest}."))
    return [*found, *_at_the_widest_rollers(session, plan)]


def _at_the_widest_rollers(session: Session, plan: Plan) -> Iterator[Finding]:
    """Asked where every laminator in use has its width written down, and none takes the sheet."""
    in_use = select(Machine).where(Machine.kind == "laminator", Machine.out_of_use_reason.is_(None))
    rows = list(session.execute(in_use).scalars())
    widths = {row.name: row.widest for row in rows if row.widest}
    if not widths or len(widths) < len(rows):
        return
    name = max(widths, key=lambda one: widths[one].inches)
    if _is_wider(plan, widths[name]):
        yield ask("roller width", f"{_told(plan, widths[name])}; the widest rollers, {name}, take {widths[name]}.")


def at_rollers(machine: Machine, sheet: Sheet) -> list[Finding]:
    """A note where a printed sheet is wider than this machine's rollers."""
    if sheet.run is None or machine.widest is None:
        return []
    made = recipes.load(sheet.run.recipe)
    shared = recipes.shared_plan_of(made)
    plan = shared.sheet if shared else recipes.plan_of(made)
    if not _is_wider(plan, machine.widest):
        return []
    told = _told(plan, machine.widest, name=f"Sheet {sheet.number}")
    return [note("roller width", f"{told}; {machine.name} takes {machine.widest}: trim the waste, or do it elsewhere.")]


def _is_wider(plan: Plan, widest: Length) -> bool:
    """A sheet goes through by its narrower side."""
    return widest.inches < min(plan.inches)


def _told(plan: Plan, beside: Length, *, name: str = "The sheet") -> str:
    """The size of a sheet in the unit of the length that it is held against."""
    unit, scale, places = ("in", Fraction(1), 2) if beside.unit == "in" else ("mm", Fraction("25.4"), 0)
    size = " × ".join(f"{float(side * scale):.{places}f}" for side in plan.inches)
    return f"{name} is {size} {unit}"


def _covers(width: Length, height: Length, plan: Plan) -> bool:
    """The lens must cover the print and its check bars; the strip and the label below may lie bare.

    A sheet that is just as large is large enough, whatever whole dots add to the print.
    """
    left, top, _, _ = plan.margins
    wide = plan.printed.dots[0] + (0 if plan.across else 2 * left) - _ROUNDED
    high = plan.printed.dots[1] + (2 * top if plan.across else 0) - _ROUNDED
    return width.inches >= wide / plan.dpi[0] and height.inches >= high / plan.dpi[1]
