"""The owner's numbers, each beside a plain recomputation over a small shop: prices and pieces are this file's own."""

from datetime import timedelta
from decimal import Decimal

import pytest
from sqlalchemy import select

from logbook.actions import bench, leaving, materials, numbers, orders, yearend
from logbook.actions.numbers import Span
from logbook.records.audit import entries_for
from logbook.records.floor import Verdict
from logbook.records.materials import Lot
from logbook.refusals import Refused
from logbook.rules.defects import CAUSES
from support.small_shop import job, one, prints

pytestmark = pytest.mark.both_databases

LENS, PAPER, FILM = Decimal("11.405"), Decimal("0.85"), Decimal("2.10")
SHEET = LENS + PAPER + FILM
PRICE = Decimal("84.10")


@pytest.fixture
def worked(shop):
    """Three pieces ordered, one lost to a crease and made anew; all three gone; one more job, conceded."""
    for label, price in (("L-1", LENS), ("P-1", PAPER), ("A-1", FILM)):
        shop.act(lambda session, _by, label=label, price=price: setattr(one(session, Lot, label=label), "price", price))
    code = shop.ready(quantity=3)
    _price(shop, code)
    shop.mount(code)
    _fail_first(shop, code, "replace", "A1")
    shop.inspect(code)
    shop.leave(code)
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    other = shop.ready()
    shop.mount(other)
    _fail_first(shop, other, "concession", "L1")
    shop.leave(other)
    return code, other


def _price(shop, code):
    shop.act(lambda session, by: orders.change_job(session, by, job=job(session, code), changes={"price": PRICE}))


def _fail_first(shop, code, kind, cause):
    def fail(session, by):
        failed = bench.Signature(values={"inspect-result": "failed"})
        bench.sign_stage(session, by, subjects=[prints(session, code)[0]], stage="inspect", signature=failed)

    shop.act(fail, who="Otto")
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[0], kind=kind, reason="seen in raking light", cause=cause
        )
    )


def _span(shop, days=40):
    day = shop.now.astimezone().date()
    return Span(day - timedelta(days=days), day)


@pytest.mark.usefixtures("worked")
def test_five_prints_of_which_one_was_lost_are_four_fifths_good(shop):
    found = shop.read(lambda session: numbers.outcomes(session, _span(shop)))
    assert sorted(one.good for one in found) == [False, True, True, True, True]
    assert [(line.name, line.lost, line.of_all) for line in numbers.by_cause(found)] == [
        ("A1 crease", 1, Decimal("20.0"))
    ]
    assert [(line.name, line.lost) for line in numbers.by_stage(found)] == [("adhesive", 1)]
    for name in (lambda one: one.lot, lambda one: one.printer):
        lines = [(line.good, line.lost, line.share) for line in numbers.shares(found, name)]
        assert lines == [(4, 1, Decimal("80.0"))]
    assert {one.lot for one in found} == {"20 LPI lens, L-1"}
    assert {one.printer for one in found} == {"Printer"}


def test_a_print_that_passed_and_was_spoiled_later_is_lost(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code)
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[0], kind="scrap", reason="fell", cause="H1"
        )
    )
    found = shop.read(lambda session: numbers.outcomes(session, _span(shop)))
    assert [(one.good, one.cause) for one in found] == [(False, "H1")]


@pytest.mark.usefixtures("worked")
def test_days_outside_the_span_are_left_out(shop):
    day = shop.now.astimezone().date()
    assert shop.read(lambda session: numbers.outcomes(session, Span(day + timedelta(1), day + timedelta(9)))) == []
    assert numbers.percent(0, 0) is None


def test_a_job_costs_every_sheet_it_used_up_the_lost_one_too(shop, worked):
    lines = shop.read(lambda session: numbers.job_costs(session, _span(shop)))
    costs = {line.job.code: (line.material.amount, line.price, line.material.unpriced) for line in lines}
    # three sheets of 14.355, and 11.41 + 0.85 + 2.10 written off: 57.425; a half cent goes up
    assert costs == {
        worked[0]: (Decimal("57.43"), 3 * PRICE, False),
        worked[1]: (Decimal("14.36"), None, False),
    }


def test_a_failure_before_the_lens_went_on_costs_no_lens(shop):
    for label, price in (("L-1", LENS), ("P-1", PAPER)):  # the film has no price
        shop.act(lambda session, _by, label=label, price=price: setattr(one(session, Lot, label=label), "price", price))
    code = shop.ready()
    shop.sign(code, "print")
    cost = shop.read(lambda session: numbers.print_costs(session, [prints(session, code)[0].id]))
    assert list(cost.values()) == [numbers.Cost(PAPER)]
    shop.wait(hours=25)
    shop.sign(code, "dry")
    shop.roll(code, "adhesive")
    cost = shop.read(lambda session: numbers.print_costs(session, [prints(session, code)[0].id]))
    assert list(cost.values()) == [numbers.Cost(PAPER, unpriced=True)]


@pytest.mark.usefixtures("worked")
def test_the_month_of_a_failure_carries_its_material_at_the_price_of_that_day(shop):
    span = _span(shop, 70)
    shop.act(lambda session, _by: setattr(one(session, Lot, label="L-1"), "price", 9 * LENS))
    months = shop.read(lambda session: numbers.months(session, numbers.outcomes(session, span), span))
    assert sum(month.good for month in months) == 4
    assert [(month.lost, month.cost.amount) for month in months if month.lost] == [(1, SHEET.quantize(Decimal("0.01")))]
    assert [month.name for month in months] == sorted({month.name for month in months})
    assert sum((month.cost.amount for month in months), Decimal(0)) == SHEET.quantize(Decimal("0.01"))


def test_months_run_over_the_new_year_without_a_gap():
    from datetime import date

    names = numbers._month_names(Span(date(2025, 11, 30), date(2026, 2, 1)))
    assert names == ["2025-11", "2025-12", "2026-01", "2026-02"]


@pytest.mark.parametrize(("typed", "rate"), [("", "0"), ("19", "19"), ("7,7 %", "7.7"), ("0", "0"), ("100", "100")])
def test_the_tax_is_read_as_people_write_it(typed, rate):
    assert yearend.tax_percent(typed) == Decimal(rate)


@pytest.mark.parametrize("typed", ["nineteen", "-1", "101", "NaN", "Infinity", "1e9"])
def test_a_tax_that_is_no_percentage_is_refused(typed):
    with pytest.raises(Refused, match="percentage"):
        yearend.tax_percent(typed)


def test_what_left_is_listed_by_day_with_net_tax_and_gross(shop, worked):
    lines = shop.read(lambda session: yearend.shipped(session, _span(shop), tax=Decimal(19)))
    told = [(line.job.code, line.pieces, line.net, line.tax, line.gross) for line in lines]
    # 2 × 84.10 = 168.20, its 19 % 31.958; 84.10, its 19 % 15.979: a pocket calculator
    assert told == [
        (worked[0], 2, Decimal("168.20"), Decimal("31.96"), Decimal("200.16")),
        (worked[0], 1, Decimal("84.10"), Decimal("15.98"), Decimal("100.08")),
        (worked[1], 1, None, None, None),
    ]
    assert all(line.on <= shop.now.date() for line in lines)
    sums = shop.read(lambda session: yearend.shipped_totals(session, _span(shop), tax=Decimal(19)))
    assert (sums.net, sums.tax, sums.gross, sums.unpriced) == (*map(Decimal, ("252.30", "47.94", "300.24")), 1)


def test_what_stayed_in_the_shop_was_not_shipped(shop):
    code = shop.ready(customer="")
    shop.mount(code)
    shop.inspect(code)
    shop.wait(hours=80)
    shop.act(
        lambda session, by: leaving.leave(
            session, by, piece=prints(session, code)[0], way=leaving.WayOut(how="kept", on=by.day), values={}
        )
    )
    assert shop.read(lambda session: yearend.shipped(session, _span(shop), tax=Decimal(0))) == []


@pytest.mark.usefixtures("worked")
def test_stock_on_a_day_is_what_lay_there_then_at_its_purchase_price(shop):
    today = shop.now.astimezone().date()
    lying = {line.lot.label: line for line in shop.read(lambda session: yearend.stock_on(session, today))}
    # 50 of each came; 3 + 1 + 1 sheets were printed and mounted
    assert {label: line.count for label, line in lying.items()} == {"L-1": 45, "P-1": 45, "A-1": 45}
    assert lying["L-1"].value == Decimal("513.23")  # 45 × 11.405 = 513.225
    assert lying["P-1"].value == 45 * PAPER
    assert yearend.stock_totals(list(lying.values())).net == Decimal("645.98")  # 513.23 + 38.25 + 94.50
    first = shop.read(lambda session: one(session, Lot, label="L-1").received_at).astimezone().date()
    then = shop.read(lambda session: yearend.stock_on(session, first))
    assert {line.lot.label: line.count for line in then} == {"L-1": 50, "P-1": 47, "A-1": 50}  # 3 printed
    assert shop.read(lambda session: yearend.stock_on(session, first - timedelta(days=1))) == []


def test_a_lot_that_nobody_counts_is_named_as_such(shop):
    def add(session, by):
        lens = one(session, Lot, label="L-1").material
        materials.add_lot(session, by, material=lens, label="uncounted")

    shop.act(add)
    today = shop.now.astimezone().date()
    assert [lot.label for lot in shop.read(lambda session: yearend.uncounted_on(session, today))] == ["uncounted"]
    assert "uncounted" not in {line.lot.label for line in shop.read(lambda s: yearend.stock_on(s, today))}


def test_a_cause_is_kept_with_the_verdict_and_in_the_trail_and_a_strange_one_is_refused(shop):
    code = shop.ready()
    shop.mount(code)
    with pytest.raises(Refused, match="no cause"):
        _fail_first(shop, code, "replace", "Z9")
    assert shop.read(lambda session: session.execute(select(Verdict)).first()) is None
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[0], kind="scrap", reason="bent", cause="W1"
        )
    )
    piece = shop.read(lambda session: prints(session, code)[0].code)
    entry = shop.read(lambda session: list(entries_for(session, f"print:{piece}"))[-1].body)
    assert '"cause":"W1"' in entry
    assert shop.read(lambda session: one(session, Verdict).cause) == "W1"


def test_every_cause_names_a_stage_and_its_code_is_short():
    stages = {"interlace", "print", "dry", "adhesive", "laminate", "dwell", "trim", "pack", "materials"}
    assert {stage for _, stage in CAUSES.values()} == stages
    assert all(len(code) <= 4 for code in CAUSES)
