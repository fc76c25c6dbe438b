"""An open order put right: whose it is, how to reach them, when it is due, what is to be known of it."""

from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.orders import customer_named, hashed
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Departure, Print
from logbook.records.orders import Answer, Customer, Order, Proof
from logbook.records.prooflinks import ProofLink
from logbook.refusals import Refused


def change_order(
    session: Session,
    by: Actor,
    *,
    order: Order,
    customer_name: str | None,
    contact: str,
    due_on: date | None,
    note: str,
) -> None:
    """Put an open order right; what did not change writes nothing.

    ``customer_name`` None leaves the customer alone; another one, or none, only before somebody was asked for an answer
    by a link or gave one, and before something of it left.
    """
    if order.closed_at is not None:
        raise Refused(f"Order {order.number} is closed; take a new one for what is still wanted.")
    was, due, noted = order.customer, order.due_on, order.note
    customer, reached = was, was.contact if was else None
    if customer_name is not None:
        customer, reached = customer_named(session, customer_name, contact)
    if customer is not was:
        _check_other_customer(session, order)
    order.customer, order.due_on, order.note = customer, due_on, note.strip()
    old = _whose(was, reached if customer is was else None)
    new = _whose(customer, customer.contact if customer else None)
    if (old, due, noted) == (new, order.due_on, order.note):
        return
    told = {"due": order.due_on, "note": "another" if order.note != noted else "the same", **new}
    touched = [ref(order), *dict.fromkeys(ref(one) for one in (was, customer) if one)]
    record(session, by, Act("order changed", touched, old={"due": due, **old}, new=told))


def _whose(customer: Customer | None, contact: str | None) -> dict[str, str]:
    return hashed(customer, customer=customer.name, contact=contact) if customer else {}


def _check_other_customer(session: Session, order: Order) -> None:
    jobs = [job.id for job in order.jobs]
    answered = select(Answer.id).join(Proof, Answer.proof_id == Proof.id).where(Proof.job_id.in_(jobs))
    shown = select(ProofLink.id).join(Proof, ProofLink.proof_id == Proof.id)
    shown = shown.where(Proof.job_id.in_(jobs), ProofLink.revoked_at.is_(None))
    left = select(Departure.id).join(Print, Departure.print_id == Print.id).where(Print.job_id.in_(jobs))
    for found, words in (
        (answered, "Its customer answered a proof already"),
        (shown, "Its customer has a link to its proof"),
        (left, "Something of it has left"),
    ):
        if session.execute(found.limit(1)).first():
            raise Refused(f"{words}: take a new order for somebody else.", field="customer")
