"""Year's end: what was shipped with net, tax and gross, and what lay in stock on a day at its purchase price."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from logbook.actions.numbers import Span, cents
from logbook.records.floor import Departure, Print
from logbook.records.materials import Lot, StockMove
from logbook.records.orders import Job
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused


@dataclass(frozen=True, slots=True)
class Shipped:
    """Pieces of one job that left on one day; amounts None where the job has no price."""

    on: date
    job: Job
    pieces: int
    net: Decimal | None
    tax: Decimal | None
    gross: Decimal | None


def tax_percent(text: str) -> Decimal:
    """The shop's tax in percent; nothing written is none. Refused where it is no percentage."""
    try:
        rate = Decimal(text.strip().removesuffix("%").strip().replace(",", ".") or 0)
    except InvalidOperation:
        rate = Decimal(-1)
    if not rate.is_finite() or not 0 <= rate <= 100:
        raise Refused(f"The tax {text.strip()!r} is no percentage from 0 to 100.", field="tax")
    return rate


def shipped(session: Session, span: Span, *, tax: Decimal) -> list[Shipped]:
    """Everything sent or collected within these days by day and job; what stayed here and samples are left out.

    A job's price is for one piece, without tax; tax is rounded to the cent once for each line.
    """
    rows = session.execute(_left(span)).all()
    jobs = _jobs(session, {job for _, job, _ in rows})
    return [_line(on, jobs[job], pieces, tax) for on, job, pieces in rows]


def _left(span: Span) -> Select[date, int, int]:
    """Day, job and how many pieces of it left then."""
    left = select(Departure.on, Print.job_id, func.count(Print.id)).join(Print, Departure.print_id == Print.id)
    within = (Departure.on >= span.first, Departure.on <= span.last, Departure.how != "kept", Print.sample.is_(False))
    return left.where(*within).group_by(Departure.on, Print.job_id).order_by(Departure.on, Print.job_id)


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums of the lines of a list; ``unpriced`` pieces or lots have no price on record and are in no sum."""

    net: Decimal = Decimal(0)
    tax: Decimal = Decimal(0)
    unpriced: int = 0

    @property
    def gross(self) -> Decimal:
        """Net and tax together."""
        return self.net + self.tax


def shipped_totals(session: Session, span: Span, *, tax: Decimal) -> Totals:
    """The sums over what ``shipped`` lists, without loading a job for each line."""
    priced = _left(span).add_columns(Job.price).join(Job, Print.job_id == Job.id).group_by(Job.price)
    rows = session.execute(priced).all()
    nets = [cents(price * pieces) for _, _, pieces, price in rows if price is not None]
    dues = (cents(net * tax / 100) for net in nets)
    unpriced = sum(pieces for _, _, pieces, price in rows if price is None)
    return Totals(sum(nets, Decimal(0)), sum(dues, Decimal(0)), unpriced)


def _jobs(session: Session, wanted: set[int]) -> dict[int, Job]:
    found, listed = {}, sorted(wanted)
    for start in range(0, len(listed), 5000):
        part = session.execute(select(Job).where(Job.id.in_(listed[start : start + 5000]))).scalars()
        found.update({job.id: job for job in part})
    return found


def _line(on: date, job: Job, pieces: int, tax: Decimal) -> Shipped:
    if job.price is None:
        return Shipped(on, job, pieces, None, None, None)
    net = cents(job.price * pieces)
    due = cents(net * tax / 100)
    return Shipped(on, job, pieces, net, due, net + due)


@dataclass(frozen=True, slots=True)
class Lying:
    """One lot on a day; the value is None where the lot has no price."""

    lot: Lot
    count: int
    value: Decimal | None


def stock_on(session: Session, day: date) -> list[Lying]:
    """Every counted lot of which something lay here at the end of a day."""
    _, end = Span(day, day).moments()
    sums = select(StockMove.lot_id, func.sum(StockMove.change)).where(StockMove.at < end).group_by(StockMove.lot_id)
    counts = dict(session.execute(sums).all())
    lots = session.execute(select(Lot).where(Lot.received_at < end).order_by(Lot.material_id, Lot.id)).scalars()
    return [
        Lying(lot, counts[lot.id], None if lot.price is None else cents(lot.price * counts[lot.id]))
        for lot in lots
        if counts.get(lot.id)
    ]


def stock_totals(lying: list[Lying]) -> Totals:
    """What the lots of a day are worth together."""
    values = [line.value for line in lying if line.value is not None]
    return Totals(sum(values, Decimal(0)), unpriced=len(lying) - len(values))


def uncounted_on(session: Session, day: date) -> list[Lot]:
    """Lots that were here by then and that nobody counts."""
    _, end = Span(day, day).moments()
    counted = select(StockMove.lot_id)
    query = select(Lot).where(Lot.received_at < end, Lot.id.not_in(counted)).order_by(Lot.id)
    return list(session.execute(query).scalars())


def pitches(session: Session, span: Span) -> dict[str, list[PitchOnRecord]]:
    """Pitches put on record within these days by lens type, in the order in which they were found."""
    begin, end = span.moments()
    rows = session.execute(
        select(PitchOnRecord)
        .where(PitchOnRecord.accepted_at >= begin, PitchOnRecord.accepted_at < end)
        .order_by(PitchOnRecord.known_since, PitchOnRecord.id)
    ).scalars()
    found: dict[str, list[PitchOnRecord]] = defaultdict(list)
    for row in rows:
        found[row.lens_lot.material.name].append(row)
    return dict(found)


def day_of(moment: datetime) -> date:
    """The shop's own day of a moment."""
    return moment.astimezone().date()
