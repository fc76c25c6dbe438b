"""Orders and jobs: what somebody asked for."""

import string
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path

from sqlalchemy import Select, case, func, or_, select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.shop import current_step_list
from logbook.actions.standing import has_fallen
from logbook.lengths import Length
from logbook.records.audit import Act, Actor, keyed_hash, record
from logbook.records.floor import PRINT_IS_OPEN, Departure, Print, Run, RunPiece, Sheet
from logbook.records.orders import EFFECTS, JOB_KINDS, Customer, Job, Order
from logbook.refusals import Refused

DEFAULT_BLEED = Length(Decimal(5), "mm")
DEFAULT_DISTANCE = Length(Decimal("0.6"), "m")
NOT_IN_THE_FILE = {"artwork", "use", "effect", "quantity", "price"}
"""What may still change of a job when its file was made."""


@dataclass(frozen=True, slots=True)
class JobWish:
    """What a job is to become. Lengths as they were typed."""

    width: Length
    height: Length
    flip: str
    artwork: str = ""
    distance: Length = DEFAULT_DISTANCE
    bleed: Length = DEFAULT_BLEED
    use: str = "wall"
    effect: str = ""
    fit: str = "crop"
    kind: str = "print"
    quantity: int = 1
    price: Decimal | None = None


def place_order(
    session: Session,
    by: Actor,
    own_safety: Path,
    *,
    customer_name: str,
    wish: JobWish,
    contact: str = "",
    due_on: date | None = None,
    note: str = "",
) -> Job:
    """A new order with its first job. Without a customer's name it is a piece of the shop's own."""
    customer, old_contact = customer_named(session, customer_name, contact)
    order = new_order(session, by, customer=customer, due_on=due_on, note=note)
    job = new_job(session, by, own_safety, order, wish)
    touched = [ref(order), ref(job), *([ref(customer)] if customer else [])]
    old = hashed(customer, contact=old_contact) if customer and customer.contact != old_contact else {}
    named = hashed(customer, customer=customer.name, contact=customer.contact) if customer else {}
    new = {**named, "number": order.number, "due": due_on, **_plain(wish)}
    record(session, by, Act("order placed", touched, old=old, new=new))
    return job


def add_job(session: Session, by: Actor, own_safety: Path, *, order: Order, wish: JobWish) -> Job:
    """Another artwork or size in the same order."""
    if order.closed_at is not None:
        raise Refused(f"Order {order.number} is closed; place a new one.")
    job = new_job(session, by, own_safety, order, wish)
    record(session, by, Act("job added", [ref(order), ref(job)], new={"number": job.number, **_plain(wish)}))
    return job


def hashed(customer: Customer, /, **values: str | None) -> dict[str, str]:
    """Personal values as the trail holds them: under the key that is erased with the customer."""
    key = customer.hash_key
    return {name: keyed_hash(key, value) for name, value in values.items() if key and value}


def customer_named(session: Session, name: str, contact: str) -> tuple[Customer | None, str | None]:
    """The customer of this name, and how to reach them as it was on record before."""
    name = " ".join(name.split())
    if not name:
        return None, None
    known = session.execute(select(Customer).where(Customer.name == name).order_by(Customer.id)).scalars().first()
    if known is None:
        known = Customer(name=name, contact=contact.strip() or None)
        session.add(known)
        session.flush()
        return known, known.contact
    before = known.contact
    known.contact = contact.strip() or before
    return known, before


def _next_number(session: Session, by: Actor) -> str:
    year = f"{by.day:%y}-"
    # longest first: 26-10000 comes after 26-9999
    last = session.execute(
        select(Order.number)
        .where(Order.number.like(f"{year}%"))
        .order_by(func.length(Order.number).desc(), Order.number.desc())
        .limit(1)
    ).scalar_one_or_none()
    return f"{year}{int(last[len(year) :]) + 1 if last else 1:04d}"


def new_order(session: Session, by: Actor, *, customer: Customer | None, due_on: date | None, note: str) -> Order:
    """An order that holds nothing yet; part of another act."""
    order = Order(
        number=_next_number(session, by), customer=customer, placed_at=by.now, due_on=due_on, note=note.strip()
    )
    session.add(order)
    session.flush()
    return order


def new_job(session: Session, by: Actor, own_safety: Path, order: Order, wish: JobWish) -> Job:
    """One job of an order; part of another act."""
    _check_quantity(wish.quantity)
    if wish.kind not in JOB_KINDS:
        raise Refused(f"{wish.kind!r} is no kind of job; choose one of the list.", field="kind")
    check_effect(wish.effect)
    count = session.execute(select(func.count(Job.id)).where(Job.order_id == order.id)).scalar_one()
    job = Job(
        order=order,
        number=f"{order.number}-{letters(count)}",
        kind=wish.kind,
        artwork=wish.artwork.strip() or "untitled",
        flip=wish.flip,
        width=wish.width,
        height=wish.height,
        bleed=wish.bleed,
        distance=wish.distance,
        use=wish.use,
        effect=wish.effect,
        fit=wish.fit,
        quantity=wish.quantity,
        price=wish.price,
        started_at=by.now,
        step_list=current_step_list(session, by, own_safety),
    )
    session.add(job)
    session.flush()
    return job


def _check_quantity(quantity: object) -> None:
    if not isinstance(quantity, int) or quantity < 1:
        raise Refused("Write how many pieces: at least one.", field="quantity")


def check_effect(effect: object) -> None:
    """Refused for what is no effect; empty is none that was said."""
    if effect not in ("", *EFFECTS):
        raise Refused(f"{effect!r} is no effect; choose one of the list.", field="effect")


def letters(index: int) -> str:
    """0 is A, 25 is Z, 26 is AA."""
    name = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        name = string.ascii_uppercase[rest] + name
    return name


def _plain(wish: JobWish) -> dict[str, str]:
    return {name: str(getattr(wish, name)) for name in JobWish.__slots__}


def change_job(session: Session, by: Actor, *, job: Job, changes: dict[str, object]) -> None:
    """Change what a job is to become; once something was interlaced for it, only what the file does not show."""
    _check_quantity(changes.get("quantity", job.quantity))
    check_effect(changes.get("effect", job.effect))
    allowed = set(JobWish.__slots__)
    old = {
        name: str(getattr(job, name))
        for name, value in changes.items()
        if name in allowed and getattr(job, name) != value
    }
    interlaced = session.execute(select(RunPiece.id).where(RunPiece.job_id == job.id)).first()
    if interlaced and not set(old) <= NOT_IN_THE_FILE:
        raise Refused("Something was interlaced for this job already; add another job to the order instead.")
    if job.ended_at is not None and "quantity" in old:
        raise Refused(f"Everything of {job.number} has gone out; add another job for more.", field="quantity")
    for name in old:
        setattr(job, name, changes[name])
    if "quantity" in old:
        session.flush()
        close_if_done(session, by, job)  # fewer may be what has gone out already
    if old:
        new = {name: str(getattr(job, name)) for name in old}
        record(session, by, Act("job changed", [ref(job), ref(job.order)], old=old, new=new))


@dataclass(frozen=True, slots=True)
class Pieces:
    """How many pieces of a job are what was ordered, and how many of them have gone.

    No samples, nothing scrapped, and nothing that stayed here: what the shop makes for itself stays when it is done.
    """

    made: int = 0
    gone: int = 0

    def still_open(self, job: Job) -> int:
        """Pieces that the order still needs: not on their way and not gone."""
        return max(0, job.quantity - self.made)


def pieces_of(session: Session, jobs: Collection[int]) -> dict[int, Pieces]:
    """The pieces of many jobs, by row id, with one question; a job without any is not in it."""
    stayed = select(Departure.id).where(Departure.print_id == Print.id, Departure.how == "kept")
    counted = (
        select(Print.job_id, func.count(Print.id), func.sum(case((Print.stage == "gone", 1), else_=0)))
        .join(Job, Print.job_id == Job.id)
        .join(Order, Job.order_id == Order.id)
        .join(Sheet, Print.sheet_id == Sheet.id)
        .outerjoin(Run, Sheet.run_id == Run.id)
        .where(Print.job_id.in_(jobs), Print.sample.is_(False), Print.stage != "scrapped")
        # what waits for the printer with a pitch that was withdrawn is not printed, unless the owner puts it back
        .where(or_(Print.set_aside_reason.is_(None), Sheet.stage != "print", Run.id.is_(None), ~has_fallen()))
        .where(or_(Order.customer_id.is_(None), ~stayed.exists()))
        .group_by(Print.job_id)
    )
    return {job: Pieces(made, gone) for job, made, gone in session.execute(counted)}


def for_the_order(session: Session, job: Job) -> Pieces:
    """The pieces of one job."""
    return pieces_of(session, [job.id]).get(job.id, Pieces())


def under_way(job: Job) -> Select[int]:
    """Counts the pieces of a job that are still at the bench, samples and more than were ordered among them."""
    return select(func.count(Print.id)).where(Print.job_id == job.id, PRINT_IS_OPEN)


def all_gone(session: Session, job: Job) -> bool:
    """Whether every piece that was ordered has gone."""
    return for_the_order(session, job).gone >= job.quantity


def close_if_done(session: Session, by: Actor, job: Job) -> None:
    """Mark job and order as ended when nothing of them is open or at the bench; part of another act."""
    if job.ended_at is None and all_gone(session, job) and not session.execute(under_way(job)).scalar_one():
        job.ended_at = by.now
        session.flush()
    order = job.order
    if (
        order.closed_at is None
        and not session.execute(select(Job.id).where(Job.order_id == order.id, Job.ended_at.is_(None))).first()
    ):
        order.closed_at = by.now
