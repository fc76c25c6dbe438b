"""Whether a pitch still stands: its own withdrawal, or that of a test in a forecast."""

from collections.abc import Iterable

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.orm import Session

from logbook.records.floor import Run
from logbook.records.forecasts import ForecastSource
from logbook.records.pitch import PitchOnRecord, PitchWithdrawal
from logbook.refusals import Refused


def why_withdrawn(session: Session, pitch: PitchOnRecord) -> str | None:
    """The reason why a pitch serves no more; None while it stands. A forecast falls with any of its tests."""
    if pitch.withdrawal is not None:
        return pitch.withdrawal.reason
    return why_fallen(session, pitch.id) if pitch.origin == "forecast" else None


def why_fallen(session: Session, forecast_id: int) -> str | None:
    """Which of the tests in a forecast was withdrawn, and why; None while all of them stand."""
    row = session.execute(
        select(PitchOnRecord.code, PitchWithdrawal.reason)
        .join(ForecastSource, ForecastSource.source_id == PitchOnRecord.id)
        .join(PitchWithdrawal, PitchWithdrawal.pitch_id == PitchOnRecord.id)
        .where(ForecastSource.forecast_id == forecast_id)
        .order_by(PitchWithdrawal.id)
    ).first()
    return f"its test {row[0]} was withdrawn: {row[1]}" if row else None


def refuse_withdrawn(session: Session, run: Run) -> None:
    """What was made at a pitch that serves no more goes to no printer."""
    if (why := why_withdrawn(session, run.pitch)) is not None:
        end = "" if why.endswith((".", "!", "?")) else "."
        raise Refused(f"The pitch of this run was withdrawn: {why}{end} Start another run.")


def runs_of(*pitch_ids: int) -> ColumnElement[bool]:
    """Runs made at one of these pitches, or at a forecast that was made from one of them."""
    forecasts = select(ForecastSource.forecast_id).where(ForecastSource.source_id.in_(pitch_ids))
    return or_(Run.pitch_id.in_(pitch_ids), Run.pitch_id.in_(forecasts))


def has_fallen() -> ColumnElement[bool]:
    """Of a run in a query: its pitch, or a test in the forecast that it used, was withdrawn since."""
    withdrawn = select(PitchWithdrawal.pitch_id)
    fallen = select(ForecastSource.forecast_id).where(ForecastSource.source_id.in_(withdrawn))
    return or_(Run.pitch_id.in_(withdrawn), Run.pitch_id.in_(fallen))


def fallen_among(session: Session, runs: Iterable[Run]) -> set[int]:
    """The ids of those runs whose pitch serves no more; asks nothing where there are none."""
    ids = [run.id for run in runs]
    return set(session.execute(select(Run.id).where(Run.id.in_(ids), has_fallen())).scalars()) if ids else set()
