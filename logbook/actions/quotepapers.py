"""A quote for the customer: on paper, and as a text to copy. What it costs the shop stays in the shop."""

from sqlalchemy.orm import Session

from logbook.actions.finding import by_code, fact
from logbook.actions.quotes import amount, total, totals
from logbook.actions.smallpapers import Desk, imprint
from logbook.actions.travellernumbers import PLAIN
from logbook.manner import Manner
from logbook.paper import customer
from logbook.records.quotes import Quote, QuoteLine

EFFECTS = {"flip": "flip", "depth": "depth", "sequence": "step by step"}
USES = {"wall": "on a wall", "hand": "in the hand"}


def quote_paper(session: Session, desk: Desk, code: str) -> customer.Quote:
    """The paper of a quote."""
    quote = by_code(session, Quote, code)
    return customer.Quote(
        imprint=imprint(session, desk),
        number=quote.number,
        customer=tuple(line for line in (quote.customer.called, quote.customer.contact) if line),
        valid_until=f"{quote.valid_until:%Y-%m-%d}",
        lines=tuple(
            customer.QuoteLine(
                what=line.artwork,
                quantity=str(line.quantity),
                each=amount(session, line.price, desk.manner),
                amount=amount(session, line.price * line.quantity, desk.manner),
                detail=_detail(line, desk.manner),
            )
            for line in quote.lines
        ),
        totals=totals(session, total(quote), desk.manner),
        remarks=(quote.note,) if quote.note else (),
    )


def quote_text(session: Session, quote: Quote, manner: Manner = PLAIN) -> str:
    """The same in plain words, for a letter or a message."""
    lines = [
        f"{line.quantity} × {line.artwork}, {_detail(line, manner)}: {amount(session, line.price, manner)} each, "
        f"{amount(session, line.price * line.quantity, manner)}"
        for line in quote.lines
    ]
    end = [quote.note] if quote.note else []
    head = f"Quote {quote.number}, valid until {quote.valid_until:%Y-%m-%d}"
    below = [f"{words}: {money}" for words, money in totals(session, total(quote), manner)]
    return "\n".join([head, "", *lines, *below, *end, fact(session, "shop name")]).strip()


def _detail(line: QuoteLine, manner: Manner) -> str:
    size = f"{manner.length(line.width)} × {manner.length(line.height)}"
    seen = (EFFECTS.get(line.effect, ""), line.flip, USES.get(line.use, ""), _from(line, manner))
    return ", ".join([size, *(words for words in seen if words), line.lens_lot.material.name])


def _from(line: QuoteLine, manner: Manner) -> str:
    return f"seen from {manner.length(line.distance)}" if line.distance else ""
