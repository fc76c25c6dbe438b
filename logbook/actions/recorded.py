"""What a page lists as recorded: everything that stands, and the signatures that their makers took back."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.benchrecords import Subject, records_of
from logbook.records.floor import TAKEN_BACK, Print, StepRecord


@dataclass(frozen=True, slots=True)
class Recorded:
    """One line, and what stood beside a signature that was taken back: its values, struck out."""

    row: StepRecord
    untold: tuple[StepRecord, ...] = ()


def listed(session: Session, *subjects: Subject) -> list[Recorded]:
    """Of one subject after the other, each in the order of the records; a signature taken back is one line."""
    return [row for subject in subjects for row in _of(session, subject)]


def _of(session: Session, subject: Subject) -> list[Recorded]:
    column = StepRecord.print_id if isinstance(subject, Print) else StepRecord.sheet_id
    corrections = select(StepRecord).where(column == subject.id, StepRecord.step_key.endswith(TAKEN_BACK))
    # a signature and everything that was entered with it are taken back at one moment
    together: dict[tuple[str, datetime], list[StepRecord]] = defaultdict(list)
    for row in session.execute(corrections.order_by(StepRecord.id)).scalars():
        together[row.stage, row.at].append(row)
    told = [Recorded(row) for row in records_of(session, subject)]
    told += [Recorded(rows[-1], _values(session, rows)) for rows in together.values()]
    return sorted(told, key=lambda one: one.row.id)


def _values(session: Session, corrections: list[StepRecord]) -> tuple[StepRecord, ...]:
    """What they replace, beside the signature itself."""
    replaced = [session.get(StepRecord, row.replaces_id) for row in corrections]
    return tuple(row for row in replaced if row is not None and row.value and not row.step_key.endswith("-sign"))
