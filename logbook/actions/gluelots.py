"""The adhesive that is really brought on: named where the rollers are set up, whatever was planned for the job."""

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions.strengths import weigh
from logbook.records.audit import Actor
from logbook.records.floor import RollerSession, Sheet, StepRecord
from logbook.records.materials import Lot
from logbook.refusals import Refused
from logbook.rules import signing
from logbook.rules.findings import Finding

_NEWEST_ROWS = 500


def findings(session: Session, by: Actor, lot: Lot | None) -> list[Finding]:
    """What speaks against using this lot now; ``by`` tells the day."""
    return weigh(session, signing.lot_now(lot.label, lot.set_aside_reason, lot.expires_on, today=by.day)) if lot else []


def at_the_rollers(session: Session, by: Actor, lot: Lot | None) -> list[Finding]:
    """What speaks against bringing this lot on now, or none that anybody names."""
    return findings(session, by, lot) if lot else weigh(session, [signing.no_glue_named()])


def on_the_rollers(session: Session, covering: RollerSession) -> Lot | None:
    """The lot of the sheet that was last set up for in this session; None where the session saw none."""
    # a session lives half an hour from sheet to sheet: its rows are among the newest, and nothing older is looked at
    newest = select(func.max(StepRecord.id)).scalar_subquery() - _NEWEST_ROWS
    mine = (StepRecord.roller_session_id == covering.id, StepRecord.step_key == "adhesive-before")
    last = select(StepRecord.sheet_id).where(StepRecord.id > newest, *mine).order_by(StepRecord.id.desc()).limit(1)
    sheet = session.execute(select(Sheet).where(Sheet.id.in_(last))).scalars().first()
    return sheet.adhesive_lot if sheet else None


def lay(sheets: Sequence[Sheet], lot: Lot | None) -> dict[str, dict[str, str | None]]:
    """Write the lot down on the sheets; None leaves what was planned. What changed, as the trail tells it by "old"."""
    if lot is None:
        return {}
    if lot.material.kind != "adhesive":
        raise Refused(
            f"Lot {lot.label} is {lot.material.name}: no adhesive; choose a lot of adhesive.", field="adhesive_lot"
        )
    was = {sheet.code: sheet.adhesive_lot.code if sheet.adhesive_lot else None for sheet in sheets}
    for sheet in sheets:
        sheet.adhesive_lot = lot
    changed = {code: old for code, old in was.items() if old != lot.code}
    return {"adhesive lots": changed} if changed else {}
