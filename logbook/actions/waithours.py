"""How long what is printed dries and what is mounted rests: what the makers of its materials say."""

from decimal import Decimal

from logbook.records.floor import JobMaterials, Sheet
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot, Material
from logbook.rules import waits

Hours = dict[str, Decimal | None]
"""Hours by the stage that waits; None where nobody says anything, and the shop's default counts."""
STEPS = {"dry": "dry-wait", "dwell": "dwell-sign", "pack": "pack-sign"}
"""The step beside which paper prints the hours."""


def of_sheet(sheet: Sheet) -> Hours:
    """Of a sheet as it is made."""
    paper = sheet.paper_lot.material if sheet.paper_lot else sheet.run.paper if sheet.run else None
    return _hours(paper, sheet.mode, sheet.adhesive_lot)


def planned(chosen: JobMaterials | None) -> Hours:
    """Of the materials that a job is to be made of."""
    return _hours(chosen.paper, chosen.mode, chosen.adhesive_lot) if chosen else _hours(None, None, None)


def _hours(paper: Material | None, mode: PrinterMode | None, glue: Lot | None) -> Hours:
    ink = mode.machine if mode else None
    return {
        "dry": waits.longest(paper.dry_hours if paper else None, ink.dry_hours if ink else None),
        "dwell": glue.material.trim_hours if glue else None,
        "pack": glue.material.ship_hours if glue else None,
    }


def on_paper(sheets: list[Sheet], chosen: JobMaterials | None) -> dict[str, str]:
    """How long each wait lasts, by step key: the longest of these sheets, or as planned while there is none."""
    told = [of_sheet(sheet) for sheet in sheets] or [planned(chosen)]
    whole = {stage: max(waits.whole(stage, one) for one in told) for stage in STEPS}
    return {STEPS[stage]: f"{hours.normalize():f} h from {waits.FROM[stage]}" for stage, hours in whole.items()}
