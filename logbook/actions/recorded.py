"""What a page lists as recorded: everything that stands, and the signatures that their makers took back."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.bench import Subject, records_of
from logbook.records.floor import TAKEN_BACK, Print, StepRecord


def listed(session: Session, *subjects: Subject) -> list[StepRecord]:
    """Of one subject after the other, each in the order of the records; a signature taken back is one line."""
    return [row for subject in subjects for row in _of(session, subject)]


def _of(session: Session, subject: Subject) -> list[StepRecord]:
    column = StepRecord.print_id if isinstance(subject, Print) else StepRecord.sheet_id
    corrections = select(StepRecord).where(column == subject.id, StepRecord.step_key.endswith(TAKEN_BACK))
    # a signature and everything that was entered with it are taken back at one moment
    once_each = {(row.stage, row.at): row for row in session.execute(corrections).scalars()}
    return sorted([*records_of(session, subject), *once_each.values()], key=lambda row: row.id)
