"""Sheets that were started and never printed, taken off the bench: nothing was used up, so nothing is lost with them.

Their numbers and serials stay taken; the newest go first, so that the ones that stay are those written on paper.
"""

from collections.abc import Iterable

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.orders import close_if_done
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Print, Run, Sheet, StepRecord, Verdict, stands
from logbook.refusals import Refused


def unprinted(session: Session, run: Run) -> list[Sheet]:
    """Sheets of a run that wait to be printed and on which nothing is recorded, oldest first."""
    worked_on = select(StepRecord.sheet_id).join(Sheet).where(Sheet.run_id == run.id, stands())
    touched = set(session.execute(worked_on).scalars())
    return [sheet for sheet in run.sheets if sheet.stage == "print" and sheet.id not in touched]


def take_off(session: Session, by: Actor, *, run: Run, count: int) -> list[Sheet]:
    """Take so many unprinted sheets off the bench, the newest first."""
    ahead = unprinted(session, run)
    if not ahead:
        raise Refused("No sheet of this run waits to be printed; there is nothing to take off.", field="count")
    if not 1 <= count <= len(ahead):
        waiting = "1 sheet waits" if len(ahead) == 1 else f"{len(ahead)} sheets wait"
        raise Refused(f"{waiting} to be printed; take off no more than that.", field="count")
    gone = ahead[-count:]
    pieces = [piece for sheet in gone for piece in sheet.prints]
    for sheet in gone:
        sheet.stage = "scrapped"
    for piece in pieces:
        piece.stage = "scrapped"
    session.flush()
    jobs = list(dict.fromkeys(piece.job for piece in pieces))
    for job in jobs:
        close_if_done(session, by, job)
    touched = [*map(ref, gone), *map(ref, pieces), *map(ref, jobs)]
    told = {"sheets": [sheet.number for sheet in gone], "serials": [piece.serial for piece in pieces]}
    record(session, by, Act("sheets taken off unprinted", [ref(run), *touched], old=told))
    return gone


def taken_off(session: Session, sheets: Iterable[Sheet]) -> set[int]:
    """The row ids of those that ended unprinted: nobody decided about any of their pieces."""
    ended = {sheet.id for sheet in sheets if sheet.stage == "scrapped"}
    decided = select(Print.sheet_id).join(Verdict, Verdict.print_id == Print.id).where(Print.sheet_id.in_(ended))
    return ended - set(session.execute(decided).scalars()) if ended else ended
