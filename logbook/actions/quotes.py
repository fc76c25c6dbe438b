"""Quotes: what it would cost, until when, and what the customer said."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions.finding import fact, ref
from logbook.actions.jobs import MaterialChoice, keep_materials
from logbook.actions.numbers import cents
from logbook.actions.orders import (
    DEFAULT_BLEED,
    DEFAULT_DISTANCE,
    JobWish,
    check_effect,
    customer_named,
    hashed,
    new_job,
    new_order,
)
from logbook.actions.yearend import tax_percent
from logbook.lengths import Length
from logbook.manner import Manner, plain
from logbook.records.audit import Act, Actor, record
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.orders import Order
from logbook.records.quotes import OrderMoney, Quote, QuoteLine
from logbook.refusals import Refused
from logbook.rules.reckoning import Reckoning, reckon

DEFAULT_WASTE = Decimal(10)
RUN_OUT = "run out"


@dataclass(frozen=True, slots=True)
class LineWish:
    """One line as it was typed; without a price it is what the pieces cost to make."""

    artwork: str
    width: Length
    height: Length
    flip: str
    quantity: int
    lens_lot: Lot
    minutes: Decimal = Decimal(0)
    waste_percent: Decimal = DEFAULT_WASTE
    price: Decimal | None = None
    effect: str = ""
    use: str = "wall"
    distance: Length = DEFAULT_DISTANCE


def usual_rate(session: Session) -> Decimal | None:
    """The shop's price of an hour's work; None where it is not a number."""
    try:
        rate = Decimal(fact(session, "hourly rate").replace(",", "."))
    except InvalidOperation:
        return None
    return rate if rate.is_finite() and rate >= 0 else None


def give_quote(
    session: Session,
    by: Actor,
    *,
    customer_name: str,
    valid_until: date,
    line: LineWish,
    contact: str = "",
    hourly_rate: Decimal | None = None,
    note: str = "",
) -> Quote:
    """A new quote with its first line."""
    if valid_until < by.day:
        raise Refused("That day is over already; write a later one.", field="valid_until")
    customer, old_contact = customer_named(session, customer_name, contact)
    if customer is None:
        raise Refused("A quote is for somebody: write down the customer.", field="customer")
    quote = Quote(
        number=_next_number(session, by),
        customer=customer,
        made_at=by.now,
        made_by_id=by.person_id,
        valid_until=valid_until,
        hourly_rate=hourly_rate,
        note=note.strip(),
    )
    session.add(quote)
    session.flush()
    row = _new_line(session, quote, line)
    old = hashed(customer, contact=old_contact) if customer.contact != old_contact else {}
    told = {"number": quote.number, "valid until": valid_until, "hourly rate": hourly_rate, **_told(row)}
    new = {**hashed(customer, customer=customer.name, contact=customer.contact), **told}
    record(session, by, Act("quote given", [ref(quote), ref(row), ref(customer)], old=old, new=new))
    return quote


def _next_number(session: Session, by: Actor) -> str:
    year = f"Q{by.day:%y}-"
    count = session.execute(select(func.count(Quote.id)).where(Quote.number.like(f"{year}%"))).scalar_one()
    return f"{year}{count + 1:04d}"


def add_line(session: Session, by: Actor, *, quote: Quote, line: LineWish) -> QuoteLine:
    """Another artwork or size in an open quote."""
    _expect_open(quote)
    row = _new_line(session, quote, line)
    record(session, by, Act("quote line added", [ref(quote), ref(row)], new=_told(row)))
    return row


def take_line_out(session: Session, by: Actor, *, line: QuoteLine) -> None:
    """A line no longer stands; a quote keeps at least one."""
    _expect_open(line.quote)
    if line.taken_out_at is not None:
        raise Refused("That line was taken out already; open the page again.")
    if len(line.quote.lines) == 1:
        raise Refused("A quote needs a line: add the better one first, or decline the quote.")
    line.taken_out_at = by.now
    record(session, by, Act("quote line taken out", [ref(line.quote), ref(line)], old=_told(line)))


def _new_line(session: Session, quote: Quote, wish: LineWish) -> QuoteLine:
    if wish.lens_lot.material.kind != "lens":
        raise Refused(
            f"Lot {wish.lens_lot.label} is {wish.lens_lot.material.name}: no lens; choose a lot of a lens.",
            field="lens_lot",
        )
    check_effect(wish.effect)
    if wish.quantity < 1:
        raise Refused("Write how many pieces: at least one.", field="quantity")
    cost = cost_of(session, wish, quote.hourly_rate)
    row = QuoteLine(
        quote=quote,
        artwork=wish.artwork.strip() or "untitled",
        width=wish.width,
        height=wish.height,
        flip=wish.flip,
        effect=wish.effect,
        use=wish.use,
        distance=wish.distance,
        quantity=wish.quantity,
        lens_lot=wish.lens_lot,
        waste_percent=wish.waste_percent,
        sheets=cost.sheets,
        minutes=wish.minutes,
        material=cost.material,
        labour=cost.labour,
        unpriced=", ".join(cost.unpriced),
        price=cost.each(wish.quantity) if wish.price is None else wish.price,
    )
    session.add(row)
    session.flush()
    return row


def cost_of(session: Session, wish: LineWish, hourly_rate: Decimal | None) -> Reckoning:
    """What a line costs to make at the prices on record: the lens lot's own, the newest paper's and adhesive's."""
    prices = {"lens": wish.lens_lot.price, **{kind: _newest_price(session, kind) for kind in ("paper", "adhesive")}}
    return reckon(
        quantity=wish.quantity,
        waste_percent=wish.waste_percent,
        minutes=wish.minutes,
        hourly_rate=hourly_rate,
        sheet_prices=prices,
    )


def _newest_price(session: Session, kind: str) -> Decimal | None:
    found = select(Lot).join(Material, Lot.material_id == Material.id)
    found = found.where(Material.kind == kind, Lot.price.is_not(None), Lot.set_aside_reason.is_(None))
    lot = session.execute(found.order_by(Lot.id.desc()).limit(1)).scalar_one_or_none()
    return lot.price if lot else None


def _told(row: QuoteLine) -> dict[str, object]:
    wanted = ("artwork", "width", "height", "flip", "effect", "use", "distance")
    money = ("quantity", "sheets", "minutes", "material", "labour", "price")
    return {name: str(getattr(row, name)) for name in (*wanted, *money)}


def state(quote: Quote, today: date) -> str:
    """out, run out, accepted, declined."""
    return RUN_OUT if quote.state == "out" and quote.valid_until < today else quote.state


def total(quote: Quote) -> Decimal:
    """What the customer is told in all."""
    return sum((line.price * line.quantity for line in quote.lines), Decimal(0))


def totals(session: Session, net: Decimal, manner: Manner) -> tuple[tuple[str, str], ...]:
    """Words and amounts below a quote: with the shop's tax where it has one, since prices here are without it."""
    try:
        rate = tax_percent(fact(session, "tax"))
    except Refused:
        rate = Decimal(0)
    due = cents(net * rate / 100)
    rows = [("Total", net + due)]
    if rate:
        rows = [("Without tax", net), (f"Tax {manner.number(plain(rate))} %", due), *rows]
    return tuple((words, amount(session, value, manner)) for words, value in rows)


def amount(session: Session, value: Decimal, manner: Manner) -> str:
    """Money as a customer reads it."""
    return f"{manner.number(f'{value:.2f}')} {fact(session, 'money')}".strip()


def uncovered(line: QuoteLine, manner: Manner) -> str:
    """A sentence where no lens sheet of the line's lot covers a piece with its bleed; empty where one does."""
    lot = line.lens_lot
    if lot.sheet_width is None or lot.sheet_height is None:
        return ""
    bleed = 2 * DEFAULT_BLEED.mm
    if lot.sheet_width.mm >= line.width.mm + bleed and lot.sheet_height.mm >= line.height.mm + bleed:
        return ""
    size = f"{manner.length(lot.sheet_width)} × {manner.length(lot.sheet_height)}"
    return f"a lens sheet of {lot.label}, {size}, does not cover it with its bleed"


def _expect_open(quote: Quote) -> None:
    if quote.state != "out":
        raise Refused(f"Quote {quote.number} was {quote.state} already; give a new one.")


def prolong(session: Session, by: Actor, *, quote: Quote, valid_until: date) -> None:
    """The quote holds until another day."""
    _expect_open(quote)
    if valid_until < by.day:
        raise Refused("That day is over already; write a later one.", field="valid_until")
    old, quote.valid_until = quote.valid_until, valid_until
    record(
        session, by, Act("quote prolonged", [ref(quote)], old={"valid until": old}, new={"valid until": valid_until})
    )


def decline(session: Session, by: Actor, *, quote: Quote) -> None:
    """The customer does not want it."""
    _expect_open(quote)
    quote.state, quote.answered_at = "declined", by.now
    record(session, by, Act("quote declined", [ref(quote)]))


@dataclass(frozen=True, slots=True)
class Acceptance:
    """What the order needs beside the quote; without printer and paper its materials are chosen later."""

    due_on: date | None = None
    mode: PrinterMode | None = None
    paper: Material | None = None


def accept_quote(session: Session, by: Actor, own_safety: Path, *, quote: Quote, more: Acceptance) -> Order:
    """The customer takes it: the order with a job for each line; proof and pitch are asked for as always."""
    _expect_open(quote)
    if quote.valid_until < by.day:
        raise Refused(f"Quote {quote.number} ran out on {quote.valid_until:%Y-%m-%d}; prolong it first.")
    order = new_order(session, by, customer=quote.customer, due_on=more.due_on, note=quote.note)
    touched = [ref(quote), ref(order), ref(quote.customer)]
    for line in quote.lines:
        touched.extend(_job_of(session, by, own_safety, order, line, more))
    quote.state, quote.answered_at, quote.order_id = "accepted", by.now, order.id
    new = {"order": order.number, "due": more.due_on, "jobs": [job.number for job in order.jobs]}
    record(session, by, Act("quote accepted", list(dict.fromkeys(touched)), new=new))
    return order


def _job_of(
    session: Session, by: Actor, own_safety: Path, order: Order, line: QuoteLine, more: Acceptance
) -> Iterator[str]:
    same = ("width", "height", "flip", "artwork", "quantity", "price", "effect")
    # a line of before it was asked says neither
    said = {name: value for name in ("use", "distance") if (value := getattr(line, name))}
    job = new_job(session, by, own_safety, order, JobWish(**{name: getattr(line, name) for name in same}, **said))
    yield ref(job)
    # a lens lot that went bad since leaves the materials open, as on any new job
    if more.mode is not None and more.paper is not None and line.lens_lot.set_aside_reason is None:
        choice = MaterialChoice(lens_lot=line.lens_lot, mode=more.mode, paper=more.paper)
        keep_materials(session, by, job=job, choice=choice)
        yield from choice.refs()


def money_of(session: Session, order: Order) -> OrderMoney | None:
    """Deposit and paid date of an order; None where nobody wrote either down."""
    return session.execute(select(OrderMoney).where(OrderMoney.order_id == order.id)).scalar_one_or_none()


def write_money(session: Session, by: Actor, *, order: Order, deposit: Decimal | None, paid_on: date | None) -> None:
    """Write down what was paid beforehand, and the day on which everything was."""
    known = money_of(session, order)
    old = {"deposit": known.deposit, "paid on": known.paid_on} if known else {}
    if known is None:
        known = OrderMoney(order_id=order.id)
        session.add(known)
    known.deposit, known.paid_on = deposit, paid_on
    session.flush()
    record(session, by, Act("money written down", [ref(order)], old=old, new={"deposit": deposit, "paid on": paid_on}))
