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
from logbook.records.materials import Lot
from logbook.rules.findings import Finding, ask, note
from logbook.rules.rollers import LEADING_EDGE

OF_THE_SHEET = ("lens sheet", "paper sheet", "printer width", "roller width")
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
    if sizes := _papers_too_small(session, plan, materials):
        told = f"{_told(plan, sizes[-1][0])} with its marks"
        found.append(ask("paper sheet", f"{told}; the paper on record is {sizes[-1][0]} × {sizes[-1][1]}."))
    if printer.widest and printer.widest.inches < min(plan.inches):
        found.append(ask("printer width", f"{_told(plan, printer.widest)}; the printer takes {printer.widest}."))
    return [*found, *_at_the_widest_rollers(session, plan)]


def _papers_too_small(session: Session, plan: Plan, materials: JobMaterials) -> list[tuple[Length, Length]]:
    """The sheets of the paper on record, smallest first, where none of them holds the print; else nothing.

    Of the lot that was chosen, else of every lot; one without a size, as a roll is, holds it.
    """
    of_paper = Lot.id == materials.paper_lot_id if materials.paper_lot_id else Lot.material_id == materials.paper_id
    sizes = session.execute(select(Lot.sheet_width, Lot.sheet_height).where(of_paper)).all()
    known = [(wide, high) for wide, high in sizes if wide and high]
    if not known or len(known) < len(sizes) or any(_holds(*size, plan) for size in known):
        return []
    return sorted(known, key=lambda size: size[0].inches * size[1].inches)


def _holds(width: Length, height: Length, plan: Plan) -> bool:
    """Whether a sheet is as large as the print, in one position or turned."""
    sides, print_sides = sorted((width.inches, height.inches)), sorted(plan.inches)
    return all(side >= one for side, one in zip(sides, print_sides, strict=True))


def _at_the_widest_rollers(session: Session, plan: Plan) -> Iterator[Finding]:
    """Asked where every laminator in use has its width written down, and none takes the sheet."""
    in_use = select(Machine).where(Machine.kind == "laminator", Machine.out_of_use_reason.is_(None))
    rows = list(session.execute(in_use).scalars())
    widths = {row.name: row.widest for row in rows if row.widest}
    if not widths or len(widths) < len(rows):
        return
    name = max(widths, key=lambda one: widths[one].inches)
    if _is_wider(plan, widths[name]):
        told = f"{_told(plan, widths[name])} and goes in with its {LEADING_EDGE[plan.flip]} edge first"
        yield ask("roller width", f"{told}; the widest rollers, {name}, take {widths[name]}.")


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
    """The leading edge lies across the rollers: the top one is as long as the sheet is wide."""
    return widest.inches < plan.inches[0 if LEADING_EDGE[plan.flip] == "top" else 1]


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
