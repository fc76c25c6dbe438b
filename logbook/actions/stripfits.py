"""The pitch strip of a sheet: what was printed, what was counted, what fits."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import recipes
from logbook.engine.strip import BANDS, StripPlan, fit_strip, make_strip
from logbook.records.floor import Run, Sheet, StripReading
from logbook.refusals import Refused


def plan_of(run: Run | None) -> StripPlan | None:
    """The strip that was printed beside a run's print; None where there is none."""
    if run is None:
        return None
    plan = recipes.plan_of(recipes.load(run.recipe))
    if plan.waste is None or plan.waste.strip_lpi is None or plan.waste.bench_distance is None:
        return None
    axis = 0 if plan.across else 1
    return make_strip(
        lpi=plan.waste.strip_lpi,
        length_dots=plan.printed.dots[axis],
        pitch_dpi=plan.dpi[axis],
        line_dpi=plan.dpi[1 - axis],
        bench_distance=plan.waste.bench_distance,
    )


def counts_of(session: Session, sheet: Sheet) -> list[StripReading]:
    """The newest five counts of a sheet; empty where nobody read its strip."""
    rows = list(
        session.execute(
            select(StripReading).where(StripReading.sheet_id == sheet.id).order_by(StripReading.id.desc()).limit(BANDS)
        ).scalars()
    )
    return rows[::-1]


@dataclass(frozen=True, slots=True)
class StripFit:
    """What a sheet's strip says: the pitch at the bench distance, and how far the print is off, end to end."""

    at: datetime
    sheet: Sheet
    lpi: Decimal
    u_lpi: float
    off_lenticules: float
    u_lenticules: float


def fit_of(session: Session, sheet: Sheet) -> StripFit | None:
    """A sheet's strip, fitted; None where it was not read or its counts fit nothing."""
    rows, plan = counts_of(session, sheet), plan_of(sheet.run)
    if not rows or plan is None:
        return None
    try:
        fit = fit_strip(plan, [row.fringes for row in rows])
    except Refused:
        return None
    off = float(fit.lpi - plan.lpi) * float(plan.length_in)
    return StripFit(rows[-1].at, sheet, fit.lpi, fit.u_lpi, off, fit.u_lenticules)
