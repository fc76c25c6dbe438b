"""Numbers for the owner: what passed and what was lost, what material and failures cost. Reads only."""

import json
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from logbook.actions import sheetparts
from logbook.records.floor import Print, Sheet, StepRecord, Verdict, stands
from logbook.records.machines import Machine, PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.orders import Job
from logbook.rules.defects import cause_words, stage_of_cause

CENT = Decimal("0.01")
BONDED_ON = {"print": "paper", "adhesive": "adhesive", "laminate": "lens"}
"""The stage at which a sheet of each material is used up."""
NOT_SAID = "not said"


@dataclass(frozen=True, slots=True)
class Span:
    """Days of the shop's own calendar, both ends included."""

    first: date
    last: date

    def moments(self) -> tuple[datetime, datetime]:
        """From the first midnight up to, and without, the one after the last day."""
        return _midnight(self.first), _midnight(self.last + timedelta(days=1))


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time()).astimezone(UTC)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one print: good, or lost to a cause."""

    print_id: int
    at: datetime
    good: bool
    cause: str
    lot: str
    printer: str


@dataclass(frozen=True, slots=True)
class Share:
    """One line of a yield table; ``share`` is good among all, in percent to a tenth, None where there is none."""

    name: str
    good: int
    lost: int

    @property
    def share(self) -> Decimal | None:
        """Percent that were good."""
        return percent(self.good, self.good + self.lost)


def percent(part: int, whole: int) -> Decimal | None:
    """A share in percent, to a tenth; None of nothing."""
    return (Decimal(100 * part) / whole).quantize(Decimal("0.1"), ROUND_HALF_UP) if whole else None


def outcomes(session: Session, span: Span) -> list[Outcome]:
    """Every print that passed (or was let go as it is) or was lost within these days, samples left out.

    A print that passed and was lost later counts as lost, where both happened within the days.
    """
    begin, end = span.moments()
    passed = select(StepRecord.print_id, StepRecord.at).where(
        StepRecord.step_key == "inspect-result",
        StepRecord.value == "passed",
        StepRecord.at >= begin,
        StepRecord.at < end,
        stands(),
    )
    decided = select(Verdict.print_id, Verdict.at, Verdict.kind, Verdict.cause).where(
        Verdict.at >= begin, Verdict.at < end, Verdict.kind != "rework"
    )
    found: dict[int | None, tuple[datetime, bool, str]] = {
        print_id: (at, True, "") for print_id, at in session.execute(passed.order_by(StepRecord.id))
    }
    for print_id, at, kind, cause in session.execute(decided.order_by(Verdict.id)):
        found[print_id] = (at, kind == "concession", cause)
    made_of = _made_of(session, span)
    return [Outcome(one, *found[one], *made) for one, made in sorted(made_of.items()) if one in found]


def _made_of(session: Session, span: Span) -> dict[int, tuple[str, str]]:
    """Lens lot and printer of every print that was inspected or decided about within these days."""
    begin, end = span.moments()
    inspected = select(StepRecord.print_id).where(
        StepRecord.step_key == "inspect-result", StepRecord.at >= begin, StepRecord.at < end, stands()
    )
    decided = select(Verdict.print_id).where(Verdict.at >= begin, Verdict.at < end)
    rows = session.execute(
        select(Print.id, Material.name, Lot.label, Machine.name)
        .join(Sheet, Print.sheet_id == Sheet.id)
        .join(Lot, Sheet.lens_lot_id == Lot.id)
        .join(Material, Lot.material_id == Material.id)
        .outerjoin(PrinterMode, Sheet.mode_id == PrinterMode.id)
        .outerjoin(Machine, PrinterMode.machine_id == Machine.id)
        .where(Print.id.in_(inspected.union(decided)), Print.sample.is_(False))
    )
    return {one: (f"{material}, {label}", printer or NOT_SAID) for one, material, label, printer in rows}


def shares(found: Iterable[Outcome], name: Callable[[Outcome], str]) -> list[Share]:
    """Good and lost for each name, most lost first."""
    counted: Counter[tuple[str, bool]] = Counter((name(one), one.good) for one in found)
    names = {name for name, _ in counted}
    made = [Share(name, counted[name, True], counted[name, False]) for name in names]
    return sorted(made, key=lambda one: (-one.lost, one.name))


@dataclass(frozen=True, slots=True)
class Lost:
    """Prints lost to one cause, or at one stage, and which part of everything they are, in percent."""

    name: str
    lost: int
    of_all: Decimal | None


def lost_by(found: list[Outcome], name: Callable[[str], str]) -> list[Lost]:
    """Losses by what a cause is called: itself, or its stage."""
    counted = Counter(name(one.cause) for one in found if not one.good)
    return [Lost(words, many, percent(many, len(found))) for words, many in sorted(counted.items(), key=_most_first)]


def _most_first(one: tuple[str, int]) -> tuple[int, str]:
    return -one[1], one[0]


def by_cause(found: list[Outcome]) -> list[Lost]:
    """Losses by cause."""
    return lost_by(found, cause_words)


def by_stage(found: list[Outcome]) -> list[Lost]:
    """Losses by the stage that caused them."""
    return lost_by(found, stage_of_cause)


@dataclass(frozen=True, slots=True)
class Cost:
    """Money, and whether some sheet in it has no price on record."""

    amount: Decimal
    unpriced: bool = False

    def __add__(self, other: "Cost") -> "Cost":
        """Both together."""
        return Cost(self.amount + other.amount, self.unpriced or other.unpriced)


NOTHING = Cost(Decimal(0))


def print_costs(session: Session, prints: Iterable[int]) -> dict[int, Cost]:
    """What the material of these prints cost: each its part of its sheet, of what was used up by its stage so far.

    A lost print costs what was written off with it, whatever the lot's price became since.
    """
    wanted = sorted(set(prints))
    found: dict[int, Cost] = {}
    for start in range(0, len(wanted), 5000):
        part = wanted[start : start + 5000]
        found |= _print_costs(session, part) | _written_off(session, part)
    return found


def _written_off(session: Session, wanted: list[int]) -> dict[int, Cost]:
    rows = session.execute(
        select(Verdict.print_id, Verdict.written_off)
        .where(Verdict.print_id.in_(wanted), Verdict.written_off != "")
        .order_by(Verdict.id)
    )
    return {one: _sum_of(json.loads(off)) for one, off in rows}


def _sum_of(off: Mapping[str, str | None]) -> Cost:
    amounts = [Decimal(money) for money in off.values() if money is not None]
    return Cost(sum(amounts, Decimal(0)), unpriced=len(amounts) < len(off))


def _print_costs(session: Session, wanted: list[int]) -> dict[int, Cost]:
    sheet_of = dict(session.execute(select(Print.id, Print.sheet_id).where(Print.id.in_(wanted))).all())
    parts = sheetparts.parts(session, wanted)
    costs = _sheet_costs(session, list(set(sheet_of.values())))
    return {
        one: Cost(sheetparts.of(costs[sheet].amount, parts[one]), costs[sheet].unpriced) if sheet in costs else NOTHING
        for one, sheet in sheet_of.items()
    }


def _sheet_costs(session: Session, sheets: list[int]) -> dict[int, Cost]:
    lots = {kind: aliased(Lot) for kind in BONDED_ON.values()}
    keys = [f"{stage}-sign" for stage in BONDED_ON]
    rows = session.execute(
        select(Sheet.id, StepRecord.stage, *(lots[kind].price for kind in BONDED_ON.values()))
        .join(StepRecord, StepRecord.sheet_id == Sheet.id)
        .outerjoin(lots["paper"], Sheet.paper_lot_id == lots["paper"].id)
        .outerjoin(lots["adhesive"], Sheet.adhesive_lot_id == lots["adhesive"].id)
        .outerjoin(lots["lens"], Sheet.lens_lot_id == lots["lens"].id)
        .where(Sheet.id.in_(sheets), StepRecord.step_key.in_(keys), StepRecord.source != "before the logbook", stands())
        .distinct()
    )
    costs: dict[int, Cost] = defaultdict(lambda: NOTHING)
    for sheet, stage, *prices in rows:
        price = dict(zip(BONDED_ON, prices, strict=True))[stage]
        costs[sheet] += Cost(price or Decimal(0), unpriced=price is None)
    return costs


@dataclass(frozen=True, slots=True)
class JobCost:
    """A job that ended: what its material cost, lost pieces and samples included, beside what was asked for it."""

    job: Job
    material: Cost
    price: Decimal | None


def job_costs(session: Session, span: Span, *, most: int | None = None) -> list[JobCost]:
    """Jobs that ended within these days, newest first."""
    begin, end = span.moments()
    ended = select(Job).where(Job.ended_at >= begin, Job.ended_at < end).order_by(Job.ended_at.desc(), Job.id.desc())
    jobs = list(session.execute(ended.limit(most) if most else ended).scalars())
    job_of: dict[int, int] = {}
    for start in range(0, len(jobs), 5000):
        part = [job.id for job in jobs[start : start + 5000]]
        job_of |= dict(session.execute(select(Print.id, Print.job_id).where(Print.job_id.in_(part))).all())
    sums: dict[int, Cost] = defaultdict(lambda: NOTHING)
    for one, cost in print_costs(session, job_of).items():
        sums[job_of[one]] += cost
    return [JobCost(job, _in_cents(sums[job.id]), job.price and job.price * job.quantity) for job in jobs]


def _in_cents(cost: Cost) -> Cost:
    return Cost(cents(cost.amount), cost.unpriced)


def cents(amount: Decimal) -> Decimal:
    """To the cent, a half up."""
    return amount.quantize(CENT, ROUND_HALF_UP)


@dataclass(frozen=True, slots=True)
class Month:
    """One month: what was good, what was lost, and the material that the lost ones took with them."""

    name: str
    good: int
    lost: int
    cost: Cost

    @property
    def share(self) -> Decimal | None:
        """Percent that were good."""
        return percent(self.good, self.good + self.lost)


def months(session: Session, found: list[Outcome], span: Span) -> list[Month]:
    """Every month that the span touches, oldest first."""
    costs = print_costs(session, [one.print_id for one in found if not one.good])
    made, by_name = [], defaultdict(list)
    for one in found:
        by_name[f"{one.at.astimezone():%Y-%m}"].append(one)
    for name in _month_names(span):
        here = by_name[name]
        gone = sum((costs.get(one.print_id, NOTHING) for one in here if not one.good), NOTHING)
        good = sum(one.good for one in here)
        made.append(Month(name, good, len(here) - good, _in_cents(gone)))
    return made


def _month_names(span: Span) -> list[str]:
    first, last = (day.year * 12 + day.month - 1 for day in (span.first, span.last))
    return [f"{number // 12}-{number % 12 + 1:02d}" for number in range(first, last + 1)]
