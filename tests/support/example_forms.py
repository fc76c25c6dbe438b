"""One invented example of every smaller paper, by name."""

from logbook.paper.customer import (
    CareCard,
    Finding,
    InspectionReport,
    Item,
    Quote,
    QuoteLine,
    ShippingNote,
    care_card_html,
    inspection_report_html,
    quote_html,
    shipping_note_html,
)
from logbook.paper.forms import (
    ChartNote,
    CheckSheet,
    Label,
    LabelSheet,
    OutOfUse,
    ProofSheet,
    TodayRow,
    TodaySheet,
    chart_note_html,
    check_sheet_html,
    labels_html,
    out_of_use_html,
    proof_sheet_html,
    today_html,
)
from logbook.paper.shelf import read_shelf
from logbook.paper.traveller import traveller_html
from logbook.paper.views import Bench, Thumbnail
from logbook.paper.wallcards import cards_html, first_aid_html
from support.example_papers import ADDRESS, IMPRINT, LAMINATOR, traveller

POWERED = Bench("laminator", "Slow Roller", drive="powered", heated=False, manual="Maker's manual, 4th edition",
                competent_role="workshop lead", stop_position="left post, feed side; right post, exit side",
                isolator="red switch on the wall behind")
VIEWS = (Thumbnail(1, "picture-1.jpg", "day"), Thumbnail(2, "picture-2.jpg", "night"))
TITLE = "Harbour, day and night"
GALLERY = ("Quill & Moss Gallery", "14 Weir Lane", "Eastholm")


def chart_note() -> ChartNote:
    """A coarse chart with eleven bands."""
    bands = tuple((number, f"{19.4 + number / 10:.1f}") for number in range(1, 12))
    return ChartNote(IMPRINT, "P4ZK9", ADDRESS, "coarse", bands, "250.0 mm", "left-right", "720 × 720", "L-311",
                     "Wide Blue", "Best, 8 passes", "Matte 230", "2 m", "P4ZK9_720dpi.tif", "77ab01c3")


def check_sheet() -> CheckSheet:
    """A week of checks of a powered laminator."""
    items = read_shelf().machine_check.items_for("laminator", POWERED.traits(0))
    return CheckSheet(IMPRINT, POWERED, items, ("Mon 23", "Tue 24", "Wed 25", "Thu 26", "Fri 27"),
                      "Stop. Isolate at the red switch. Open the top roller with both levers. Do not reverse.")


def inspection() -> InspectionReport:
    """A piece that passed, inspected by the maker."""
    findings = (
        Finding("Every picture full: centre, left, right", "full", "full", "passed"),
        Finding("Ghosting", "at most grade 1", "grade 1", "passed"),
        Finding("Small bubbles; none above 1 mm", "at most 3", "1", "passed"),
        Finding("Width", "203.2 ± 1.0 mm", "203.4 mm", "passed"),
    )
    return InspectionReport(IMPRINT, "HBR-001", "Harbour, day and night", ADDRESS, "Passed", findings, "Ilse Marrow",
                            "2026-12-02 16:10", "500 lx", "2 m", "20.074 lines/in, test P4ZK9", VIEWS,
                            ("Inspected by the maker.",))


def quote() -> Quote:
    """A quote of two lines."""
    lines = (QuoteLine("Lens print, 8 × 10 in, two pictures", "2", "84.00 EUR", "168.00 EUR", "20 LPI, for 2 m"),
             QuoteLine("Picture work", "1.5 h", "48.00 EUR", "72.00 EUR"))
    totals = (("Net", "240.00 EUR"), ("Tax 19 %", "45.60 EUR"), ("Total", "285.60 EUR"))
    return Quote(IMPRINT, "Q-2026-017", GALLERY, "2026-12-20", lines, totals, "Harbour, day and night",
                 ("Delivery about three weeks after the pictures are here.",))


def today() -> TodaySheet:
    """A short day."""
    rows = (TodayRow("S9TX", "Harbour, day and night", "Adhesive onto print", "4 Dec", "Ilse"),
            TodayRow("S2MM", "Fox in snow", "Trim after 14:30", "27 Nov"))
    waiting = (TodayRow("K3RRA", "Two clocks", "Customer's answer to the proof", "1 Dec"),)
    return TodaySheet(IMPRINT, "Wednesday, 25 November 2026", {"Can go on now": rows, "Waits": waiting, "Low": ()})


def every_paper(page: str) -> dict[str, str]:
    """The HTML of every paper at one page size, by its name."""
    shelf = read_shelf()
    cards = shelf.cards.values()
    note = ShippingNote(IMPRINT, "2026-041", GALLERY, (Item("HBR-001", "Harbour, day and night", "8 × 10 in"),), "sent",
                        "Parcel post", "EH 552 018", "1.4 kg", "1 of 2", ADDRESS, ("One piece follows.",))
    labels = LabelSheet(IMPRINT.shop, tuple(Label(f"HBR-{number:03}", f"{ADDRESS}/{number}", TITLE, "8 × 10 in")
                                            for number in range(1, 25)), used=2)
    proof = ProofSheet(IMPRINT, "K7QMZ3TD", TITLE, ADDRESS, VIEWS, "left-right", GALLERY[0], "8 × 10 in", "2 m", "2",
                       "41aa90 · 77b1c2")
    care = CareCard(IMPRINT.shop, TITLE, ("HBR-001",), contact="fern.example · 0100 555 010")
    out = OutOfUse(IMPRINT, POWERED, "Exit-side stop does not stop the rollers.", "2026-11-25 08:05", "Ilse Marrow",
                   ADDRESS)
    freeing = {"Slow Roller": "Stop, isolate, open the top roller with both levers.", LAMINATOR.name: ""}
    return {
        "traveller": traveller_html(traveller(), page=page),
        "labels": labels_html(labels, page=page),
        "chart-note": chart_note_html(chart_note(), page=page),
        "check-sheet": check_sheet_html(check_sheet(), page=page),
        "out-of-use": out_of_use_html(out, page=page),
        "cards-wall": cards_html(cards, size="wall", shop="Fern Street Lens Works", page=page),
        "cards-traveller": cards_html(cards, size="traveller", page=page),
        "first-aid": first_aid_html(shelf.first_aid, facts={"Emergency number": "112"}, freeing=freeing, page=page),
        "care-card": care_card_html(care, page=page),
        "shipping-note": shipping_note_html(note, page=page),
        "inspection": inspection_report_html(inspection(), page=page),
        "quote": quote_html(quote(), page=page),
        "proof-sheet": proof_sheet_html(proof, page=page),
        "today": today_html(today(), page=page),
    }
