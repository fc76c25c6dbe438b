"""What is lost with a print: the material that its sheet had used up, its share of it, at the lots' prices."""

import json
from collections.abc import Mapping
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import sheetparts
from logbook.actions.numbers import BONDED_ON, cents
from logbook.records.floor import Print, StepRecord, Verdict, stands
from logbook.records.materials import Lot

_WORDS = {"paper": "print", "adhesive": "adhesive", "lens": "lens"}


def of(session: Session, piece: Print) -> dict[str, str | None]:
    """Money by material, to the cent; None where the lot has no price, and nothing for what was not used up yet."""
    sheet = piece.sheet
    signed = select(StepRecord.stage).where(
        StepRecord.sheet_id == sheet.id,
        StepRecord.step_key.in_([f"{stage}-sign" for stage in BONDED_ON]),
        StepRecord.source != "before the logbook",
        stands(),
    )
    done = set(session.execute(signed).scalars())
    lots = {"paper": sheet.paper_lot, "adhesive": sheet.adhesive_lot, "lens": sheet.lens_lot}
    used = [material for stage, material in BONDED_ON.items() if stage in done]
    part = sheetparts.parts(session, [piece.id])[piece.id]
    return {material: _share(lots[material], part) for material in used}


def _share(lot: Lot | None, part: Fraction) -> str | None:
    return None if lot is None or lot.price is None else str(cents(sheetparts.of(lot.price, part)))


def words(off: Mapping[str, str | None]) -> str:
    """In words, for a page and the trail."""
    parts = [f"{_WORDS[material]} {money or '(no price on record)'}" for material, money in off.items()]
    return ", ".join(parts) or "nothing was used up yet"


def told(verdict: Verdict) -> str:
    """What a verdict wrote off, in words; empty where it did not, or before this was kept."""
    return words(json.loads(verdict.written_off)) if verdict.written_off else ""
