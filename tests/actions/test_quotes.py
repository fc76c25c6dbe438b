"""Quotes: reckoned from the shop's own prices, held until their last day, turned into an order with its jobs."""

from datetime import timedelta
from decimal import Decimal

import pytest
from sqlalchemy import select

from logbook.actions import jobs, materials, quotepapers, quotes, smallpapers
from logbook.actions import shop as shops
from logbook.lengths import parse_length
from logbook.manner import Manner
from logbook.records.audit import AuditEntry
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.records.orders import Customer, Order
from logbook.records.quotes import Quote
from logbook.refusals import Refused
from support.small_shop import one


def _line(session, **changes):
    known = {
        "artwork": "Two Gulls",
        "width": parse_length("70mm"),
        "height": parse_length("8in"),
        "flip": "up-down",
        "quantity": 4,
        "lens_lot": one(session, Lot, label="L-1"),
        "effect": "depth",
        "use": "hand",
        "distance": parse_length("40cm"),
        "minutes": Decimal(90),
    }
    return quotes.LineWish(**{**known, **changes})


@pytest.fixture
def priced(shop):
    """The shop's lots have prices."""
    with shop.shop.database.writing() as session:
        for label, price in (("L-1", "6.80"), ("P-1", "0.70"), ("A-1", "0.50")):
            one(session, Lot, label=label).price = Decimal(price)
    return shop


def _give(shop, *, days=30, **line):
    def give(session, by):
        return quotes.give_quote(
            session,
            by,
            customer_name="Pellworm Kites",
            contact="Quay 7",
            valid_until=by.day + timedelta(days=days),
            hourly_rate=Decimal(40),
            line=_line(session, **line),
        ).code

    return shop.act(give)


def _quote(session, code):
    return one(session, Quote, code=code)


def _accept(shop, code, **more):
    own = shop.shop.settings.own_safety_path

    def accept(session, by):
        chosen = {
            "mode": one(session, Machine, name="Printer").modes[0],
            "paper": one(session, Material, kind="paper"),
            **more,
        }
        acceptance = quotes.Acceptance(**chosen)
        return quotes.accept_quote(session, by, own, quote=_quote(session, code), more=acceptance).code

    return shop.act(accept)


def test_a_line_is_reckoned_at_the_prices_of_the_day(priced):
    with priced.shop.database.reading() as session:
        line = _quote(session, _give(priced)).lines[0]
        assert line.sheets == 5  # 4 and 0.4 rounded up
        assert line.material == Decimal("40.00")  # 5 x 8.00
        assert line.labour == Decimal("60.00")  # an hour and a half at 40
        assert line.price == Decimal("25.00")  # 100 for 4
        assert line.unpriced == ""


def test_a_price_that_changes_later_changes_no_quote(priced):
    code = _give(priced)
    with priced.shop.database.writing() as session:
        one(session, Lot, label="L-1").price = Decimal(99)
    assert priced.read(lambda session: _quote(session, code).lines[0].material) == Decimal("40.00")


def test_what_has_no_price_is_named(shop):
    code = _give(shop)
    assert shop.read(lambda session: _quote(session, code).lines[0].unpriced) == "lens, paper, adhesive"


def test_acceptance_makes_the_order_with_a_job_for_each_line(priced):
    code = _give(priced)
    priced.act(
        lambda session, by: quotes.add_line(
            session, by, quote=_quote(session, code), line=_line(session, artwork="Kite", price=Decimal(33))
        )
    )
    order = _accept(priced, code)
    with priced.shop.database.reading() as session:
        made = one(session, Order, code=order)
        assert [job.artwork for job in made.jobs] == ["Two Gulls", "Kite"]
        first = made.jobs[0]
        assert (str(first.width), str(first.height), first.flip) == ("70mm", "8in", "up-down")
        assert (first.effect, first.use, str(first.distance)) == ("depth", "hand", "40cm")
        assert (first.quantity, first.price, made.jobs[1].price) == (4, Decimal("25.00"), Decimal(33))
        assert made.customer.name == "Pellworm Kites"
        assert jobs.materials_of(session, first).lens_lot.label == "L-1"
        gates = jobs.gates(session, first)
        assert (gates.answer, gates.pitch_chosen) == ("none", False)
        assert _quote(session, code).order is made
        assert quotes.state(_quote(session, code), priced.now.date()) == "accepted"


def test_a_lens_lot_that_was_set_aside_since_leaves_the_materials_open(priced):
    code = _give(priced)
    priced.act(
        lambda session, by: materials.set_lot_aside(session, by, lot=one(session, Lot, label="L-1"), reason="hazy")
    )
    order = _accept(priced, code)
    assert priced.read(lambda session: jobs.materials_of(session, one(session, Order, code=order).jobs[0])) is None


def test_a_quote_that_ran_out_is_prolonged_before_it_is_accepted(priced):
    code = _give(priced, days=1)
    priced.wait(days=3)
    assert priced.read(lambda session: quotes.state(_quote(session, code), priced.now.date())) == "run out"
    with pytest.raises(Refused, match="ran out on"):
        _accept(priced, code)
    assert priced.read(lambda session: session.execute(select(Order)).first()) is None
    priced.act(lambda session, by: quotes.prolong(session, by, quote=_quote(session, code), valid_until=by.day))
    _accept(priced, code)


@pytest.mark.parametrize("how", ["accepted", "declined"])
def test_what_was_answered_is_answered_once(priced, how):
    code = _give(priced)
    if how == "accepted":
        _accept(priced, code)
    else:
        priced.act(lambda session, by: quotes.decline(session, by, quote=_quote(session, code)))
    for again in (
        lambda session, by: quotes.decline(session, by, quote=_quote(session, code)),
        lambda session, by: quotes.add_line(session, by, quote=_quote(session, code), line=_line(session)),
        lambda session, by: quotes.prolong(session, by, quote=_quote(session, code), valid_until=by.day),
    ):
        with pytest.raises(Refused, match=f"was {how} already"):
            priced.act(again)


def test_the_last_line_stays(priced):
    code = _give(priced)
    with pytest.raises(Refused, match="needs a line"):
        priced.act(lambda session, by: quotes.take_line_out(session, by, line=_quote(session, code).lines[0]))


def test_a_line_that_was_taken_out_is_neither_told_nor_ordered(priced):
    code = _give(priced)
    priced.act(
        lambda session, by: quotes.add_line(
            session, by, quote=_quote(session, code), line=_line(session, artwork="Kite", price=Decimal(33))
        )
    )
    priced.act(lambda session, by: quotes.take_line_out(session, by, line=_quote(session, code).lines[0]))
    assert priced.read(lambda session: quotes.total(_quote(session, code))) == 132
    order = _accept(priced, code)
    assert priced.read(lambda session: [job.artwork for job in one(session, Order, code=order).jobs]) == ["Kite"]


@pytest.mark.parametrize(
    ("changes", "field"), [({"quantity": 0}, "quantity"), ({"lens": "P-1"}, "lens_lot"), ({"days": -1}, "valid_until")]
)
def test_what_cannot_be_quoted_leaves_nothing(shop, changes, field):
    if lens := changes.pop("lens", None):
        changes["lens_lot"] = shop.read(lambda session: one(session, Lot, label=lens))
    with pytest.raises(Refused) as refused:
        _give(shop, **changes)
    assert refused.value.field == field
    for table in (Quote, Customer):
        assert shop.read(lambda session, table=table: session.execute(select(table)).first()) is None


def test_the_customer_reads_prices_and_never_what_it_costs_the_shop(priced):
    code = _give(priced)
    priced.act(lambda session, by: shops.set_facts(session, by, {"money": "EUR", "shop name": "Ridge & Co"}))
    with priced.shop.database.reading() as session:
        text = quotepapers.quote_text(session, _quote(session, code))
        desk = smallpapers.Desk(_nobody(priced), priced.shop.settings.own_safety_path, "http://127.0.0.1/")
        paper = quotepapers.quote_paper(session, desk, code)
    seen = "70 mm × 203.2 mm, depth, up-down, in the hand, seen from 400 mm"
    assert f"4 × Two Gulls, {seen}" in text
    assert seen in paper.lines[0].detail
    assert "25.00 EUR each, 100.00 EUR" in text
    assert "Total: 100.00 EUR" in text
    assert paper.totals == (("Total", "100.00 EUR"),)
    assert paper.customer == ("Pellworm Kites", "Quay 7")
    for inside in ("40.00", "60.00"):
        assert inside not in text + str(paper)


def test_a_shop_with_a_tax_states_it_below_the_prices(priced):
    code = _give(priced)
    priced.act(lambda session, by: shops.set_facts(session, by, {"money": "EUR", "tax": "7,7"}))
    text = priced.read(lambda session: quotepapers.quote_text(session, _quote(session, code)))
    # 7.7 % of 100.00
    assert "Without tax: 100.00 EUR\nTax 7.7 %: 7.70 EUR\nTotal: 107.70 EUR" in text


@pytest.mark.parametrize(("sheet", "covers"), [("80mm", True), ("79mm", False), (None, True)])
def test_a_size_that_no_sheet_of_the_lot_covers_with_its_bleed_is_named(priced, sheet, covers):
    with priced.shop.database.writing() as session:
        lot = one(session, Lot, label="L-1")
        lot.sheet_width, lot.sheet_height = (parse_length(sheet), parse_length("300mm")) if sheet else (None, None)
    code = _give(priced, height=parse_length("80mm"))
    said = priced.read(lambda session: [quotes.uncovered(line, Manner()) for line in _quote(session, code).lines])
    assert all(("does not cover" in one) is not covers for one in said)


def _nobody(shop):
    from logbook.records.audit import Actor

    return Actor(None, "Olga", "owner", shop.now)


def test_deposit_and_paid_date_are_two_facts_that_may_change(priced):
    order = _accept(priced, _give(priced))

    def write(session, by, deposit, paid_on):
        quotes.write_money(session, by, order=one(session, Order, code=order), deposit=deposit, paid_on=paid_on)

    priced.act(lambda session, by: write(session, by, Decimal(30), None))
    priced.act(lambda session, by: write(session, by, Decimal(30), by.day))
    with priced.shop.database.reading() as session:
        money = quotes.money_of(session, one(session, Order, code=order))
        assert (money.deposit, money.paid_on) == (30, priced.now.date())
        acts = session.execute(select(AuditEntry).where(AuditEntry.action == "money written down")).scalars().all()
    assert len(acts) == 2


def test_the_usual_rate_is_what_the_shop_wrote_down(shop):
    assert shop.read(quotes.usual_rate) is None
    for written, rate in (("42,50", Decimal("42.50")), ("about forty", None), ("-3", None)):
        shop.act(lambda session, by, written=written: shops.set_facts(session, by, {"hourly rate": written}))
        assert shop.read(quotes.usual_rate) == rate
