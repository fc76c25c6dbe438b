"""Numbers for the owner: yield, cost, failure, pitch, year's end; every table as CSV as well."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from flask import Blueprint, Response, abort, render_template, request
from sqlalchemy.orm import Session

from logbook.actions import numbers, yearend
from logbook.actions.finding import fact
from logbook.actions.numbers import Outcome, Span
from logbook.actions.yearend import day_of, tax_percent
from logbook.refusals import Refused
from logbook.web import csvs, plots
from logbook.web.acting import reading
from logbook.web.gate import actor, owner_only

pages = Blueprint("numbers", __name__)
MOST_JOBS, MOST_LOTS, MOST_PITCHES = 12, 12, 12


@dataclass(frozen=True, slots=True)
class Asked:
    """What a page is asked for: days, and the tax in percent; what was wrong about it, in sentences."""

    span: Span
    tax: Decimal
    wrong: tuple[str, ...]


def _asked(session: Session) -> Asked:
    today = actor().day
    wrong: list[str] = []
    last = _day("last", today, wrong)
    first = _day("first", date(last.year - 1, last.month, 1), wrong)
    if first > last:
        wrong.append("The first day lies after the last one.")
        first = last
    tax = Decimal(0)
    try:
        tax = tax_percent(request.args.get("tax") or fact(session, "tax"))
    except Refused as refusal:
        wrong.append(refusal.sentence)
    return Asked(Span(first, last), tax, tuple(wrong))


def _day(name: str, usual: date, wrong: list[str]) -> date:
    typed = request.args.get(name, "")
    try:
        day = date.fromisoformat(typed) if typed else usual
        if not 1970 <= day.year <= 2999:
            raise ValueError
    except ValueError:
        wrong.append(f"{typed[:40]!r} is no day; write it like {usual:%Y-%m-%d}.")
        return usual
    return day


@pages.get("/shop/numbers")
@owner_only
def overview() -> tuple[str, int]:
    """Everything on one page, for the last twelve months or the days asked for."""
    with reading() as session:
        asked = _asked(session)
        found = numbers.outcomes(session, asked.span)
        by_month = numbers.months(session, found, asked.span)
        pitches = yearend.pitches(session, asked.span)
        newest = [row for rows in pitches.values() for row in rows]
        shown = render_template(
            "numbers.html",
            asked=asked,
            months=by_month,
            good=sum(month.good for month in by_month),
            lost=sum(month.lost for month in by_month),
            share=numbers.percent(sum(one.good for one in found), len(found)),
            by_cause=numbers.by_cause(found),
            by_stage=numbers.by_stage(found),
            by_lot=numbers.shares(found, _lot)[:MOST_LOTS],
            by_printer=numbers.shares(found, _printer),
            jobs=numbers.job_costs(session, asked.span, most=MOST_JOBS),
            pitches=sorted(newest, key=lambda row: row.id, reverse=True)[:MOST_PITCHES],
            plots=_plots(by_month, pitches),
            left=yearend.shipped_totals(session, asked.span, tax=asked.tax),
            lying=yearend.stock_totals(yearend.stock_on(session, asked.span.last)),
            money=fact(session, "money"),
        )
    return shown, 422 if asked.wrong else 200


def _lot(one: Outcome) -> str:
    return one.lot


def _printer(one: Outcome) -> str:
    return one.printer


def _plots(by_month: list[numbers.Month], pitches: dict[str, list]) -> dict[str, object]:
    shares = [(month.name, month.share) for month in by_month]
    costs = [(month.name, month.cost.amount) for month in by_month]
    return {
        "share": plots.bars(shares, label="Percent of prints that were good, by month", most=Decimal(100)),
        "cost": plots.bars(costs, label="Material lost with failed prints, by month"),
        "pitches": {
            name: plots.dots(
                [(day_of(row.known_since), row.lpi, f"{row.lens_lot.label}: {row.lpi}") for row in rows],
                label=f"Pitches on record for {name}, lines per inch by day",
            )
            for name, rows in pitches.items()
        },
    }


Rows = Iterator[Sequence[object]]


def _months(session: Session, asked: Asked) -> Rows:
    found = numbers.outcomes(session, asked.span)
    for month in numbers.months(session, found, asked.span):
        some = "some sheets have no price" if month.cost.unpriced else ""
        yield month.name, month.good, month.lost, month.share, month.cost.amount, some


def _losses(session: Session, asked: Asked) -> Rows:
    found = numbers.outcomes(session, asked.span)
    for what, lines in (("stage", numbers.by_stage(found)), ("cause", numbers.by_cause(found))):
        for line in lines:
            yield what, line.name, line.lost, line.of_all


def _shares(name: Callable[[Outcome], str]) -> Callable[[Session, Asked], Rows]:
    def rows(session: Session, asked: Asked) -> Rows:
        for line in numbers.shares(numbers.outcomes(session, asked.span), name):
            yield line.name, line.good, line.lost, line.share

    return rows


def _jobs(session: Session, asked: Asked) -> Rows:
    for line in numbers.job_costs(session, asked.span):
        some = "some sheets have no price" if line.material.unpriced else ""
        yield line.job.number, line.job.artwork, line.job.quantity, line.material.amount, line.price, some


def _pitches(session: Session, asked: Asked) -> Rows:
    for name, rows in yearend.pitches(session, asked.span).items():
        for row in rows:
            printer, end = f"{row.mode.machine.name}, {row.mode.name}", row.withdrawal
            made = (day_of(row.known_since), name, row.lens_lot.label, printer, row.axis, row.lpi, row.u_lpi)
            yield *made, row.origin, day_of(end.at) if end else None


def _shipped(session: Session, asked: Asked) -> Rows:
    for line in yearend.shipped(session, asked.span, tax=asked.tax):
        order = line.job.order
        customer = order.customer.called if order.customer else "the shop's own"
        yield line.on, order.number, line.job.number, customer, line.pieces, line.net, line.tax, line.gross


def _stock(session: Session, asked: Asked) -> Rows:
    for line in yearend.stock_on(session, asked.span.last):
        material = line.lot.material
        yield material.kind, material.name, line.lot.label, line.count, line.lot.price, line.value
    for lot in yearend.uncounted_on(session, asked.span.last):
        yield lot.material.kind, lot.material.name, lot.label, "not counted", lot.price, None


TABLES: dict[str, tuple[tuple[str, ...], Callable[[Session, Asked], Rows]]] = {
    "months": (("month", "good", "lost", "percent good", "material lost", "remark"), _months),
    "losses": (("by", "what", "lost", "percent of all"), _losses),
    "lots": (("lens lot", "good", "lost", "percent good"), _shares(_lot)),
    "printers": (("printer", "good", "lost", "percent good"), _shares(_printer)),
    "jobs": (("job", "artwork", "pieces", "material", "price", "remark"), _jobs),
    "pitches": (
        ("day", "lens", "lot", "printer", "axis", "lines per inch", "uncertainty", "origin", "withdrawn on"),
        _pitches,
    ),
    "shipped": (("day", "order", "job", "customer", "pieces", "net", "tax", "gross"), _shipped),
    "stock": (("kind", "material", "lot", "count", "price of one", "value"), _stock),
}


@pages.get("/shop/numbers/<table>.csv")
@owner_only
def as_csv(table: str) -> Response:
    """One table as a file."""
    if table not in TABLES:
        abort(404)
    head, rows = TABLES[table]
    with reading() as session:
        asked = _asked(session)
        if asked.wrong:
            raise Refused(asked.wrong[0])
        return csvs.answer(f"{table}-{asked.span.first}-{asked.span.last}.csv", head, list(rows(session, asked)))
