"""Papers that leave the shop with a print or go to the customer: quote, inspection report, care card, shipping note."""

from dataclasses import dataclass

from logbook.paper.render import Address, asset_address, render
from logbook.paper.traveller import imprint_line
from logbook.paper.views import Imprint, Thumbnail

CARE_LINES = (
    "Keep it out of direct sun: the lens gathers light into lines and can fade or mark the print.",
    "Hang or store it flat, away from heaters and hot lamps.",
    "Dust with a soft dry cloth along the grooves, never across.",
    "Wipe with a damp soft cloth; no solvent, no alcohol, no glass cleaner.",
    "Do not press on the grooves and do not stack heavy things on it.",
)
"""Shop defaults for the care card; a shop may hand over its own lines."""


@dataclass(frozen=True, slots=True)
class Item:
    """One piece on a note: serial, title, size."""

    serial: str
    title: str
    size: str = ""


@dataclass(frozen=True, slots=True)
class CareCard:
    """The card that goes along with a print."""

    shop: str
    title: str
    serials: tuple[str, ...]
    viewing: str = ""
    lines: tuple[str, ...] = CARE_LINES
    contact: str = ""


@dataclass(frozen=True, slots=True)
class ShippingNote:
    """What leaves, to whom and how; ``part`` says which delivery of the order this is."""

    imprint: Imprint
    order: str
    customer: tuple[str, ...]
    items: tuple[Item, ...]
    how: str = "collected"
    carrier: str = ""
    tracking: str = ""
    weight: str = ""
    part: str = ""
    address: str = ""
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of an inspection: what, the limit, what was found, and the outcome in a word."""

    what: str
    limit: str
    found: str
    outcome: str


@dataclass(frozen=True, slots=True)
class InspectionReport:
    """The inspection of one piece; ``remarks`` print as written ("inspected by the maker", a concession)."""

    imprint: Imprint
    serial: str
    title: str
    address: str
    result: str
    findings: tuple[Finding, ...]
    inspector: str
    at: str
    light: str = ""
    viewing_distance: str = ""
    pitch: str = ""
    photos: tuple[Thumbnail, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class QuoteLine:
    """One line of a quote; amounts arrive with their unit of money."""

    what: str
    quantity: str
    each: str
    amount: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Quote:
    """A quote; ``totals`` are word and amount pairs, the last one prints large."""

    imprint: Imprint
    number: str
    customer: tuple[str, ...]
    valid_until: str
    lines: tuple[QuoteLine, ...]
    totals: tuple[tuple[str, str], ...]
    title: str = ""
    remarks: tuple[str, ...] = ()


def care_card_html(view: CareCard, *, page: str = "A4", address: Address = asset_address) -> str:
    """The care card, half a page."""
    return render("care-card.html", title="Care card", page=page, address=address, view=view)


def shipping_note_html(view: ShippingNote, *, page: str = "A4", address: Address = asset_address) -> str:
    """The shipping note."""
    return render("shipping-note.html", title=f"Shipping note {view.order}", page=page, address=address, view=view,
                  imprint=imprint_line(view.imprint))


def inspection_report_html(view: InspectionReport, *, page: str = "A4", address: Address = asset_address) -> str:
    """The inspection report."""
    return render("inspection.html", title=f"Inspection {view.serial}", page=page, address=address, view=view,
                  imprint=imprint_line(view.imprint))


def quote_html(view: Quote, *, page: str = "A4", address: Address = asset_address) -> str:
    """The quote."""
    return render("quote.html", title=f"Quote {view.number}", page=page, address=address, view=view,
                  imprint=imprint_line(view.imprint))
