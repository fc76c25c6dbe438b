"""What a job's size and a run's file ask of the steps at the bench."""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from logbook.actions import recipes
from logbook.engine.plan import Plan
from logbook.engine.sheet import scale_bar_mm
from logbook.records.floor import Run
from logbook.records.orders import Job
from logbook.rules import targets
from logbook.rules.targets import Target

QUARTER = Fraction(1, 4)


def of_stage(stage: str, *, job: Job, run: Run | None) -> Mapping[str, Target]:
    """The targets of the steps of a stage, by step key."""
    if stage == "trim":
        return {"trim-width": targets.finished(job.width.mm), "trim-height": targets.finished(job.height.mm)}
    if stage == "print" and (bar := _bar(run)):
        return {"print-scale": bar}
    return {}


def _bar(run: Run | None) -> Target | None:
    """The scale bar in the waste of a run's file; None where it was made without one."""
    plan = recipes.plan_of(recipes.load(run.recipe)) if run is not None else None
    if plan is None or plan.waste is None:
        return None
    length = scale_bar_mm(plan.waste, plan.printed, width=plan.dots[0])
    return targets.scale_bar(length, quarter_strip_mm=float(length * _quarter_strip(plan)))


def _quarter_strip(plan: Plan) -> Fraction:
    """The stretch that moves the far edge of the print by a quarter of a strip, as a part of its length."""
    axis = 0 if plan.across else 1
    lenticules = Fraction(plan.printed.dots[axis]) / plan.pitch_dpi * Fraction(Decimal(plan.lpi))
    return QUARTER / plan.pictures / lenticules
