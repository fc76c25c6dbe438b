"""One customer: how to reach them, what they ordered, what they were told it would cost."""

from flask import Blueprint
from sqlalchemy import select

from logbook.actions.finding import by_code
from logbook.records.orders import Customer, Order
from logbook.records.quotes import Quote
from logbook.web.acting import page, reading

pages = Blueprint("customers", __name__)
NEWEST = 20
"""Orders and quotes that are shown; search finds the others."""


@pages.get("/customer/<code>")
def customer(code: str) -> tuple[str, int]:
    """Also of one who was brought in from a list and has ordered nothing yet."""
    with reading() as session:
        found = by_code(session, Customer, code)
        orders = select(Order).where(Order.customer_id == found.id).order_by(Order.id.desc()).limit(NEWEST)
        quotes = select(Quote).where(Quote.customer_id == found.id).order_by(Quote.id.desc()).limit(NEWEST)
        return page(
            "customer.html",
            customer=found,
            orders=session.execute(orders).scalars().all(),
            quotes=session.execute(quotes).scalars().all(),
        )
