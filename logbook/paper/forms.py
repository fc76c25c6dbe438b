"""Small papers around a print: labels, chart note, machine sheets, notes for customer and carrier, today.

Each is a frozen dataclass of plain values and one function that gives its HTML;
an empty text prints a line to write on.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from logbook.paper.render import Address, asset_address, render
from logbook.paper.traveller import flip_words, imprint_line
from logbook.paper.views import Bench, Flip, Imprint, Thumbnail
from logbook.refusals import Refused
from logbook.rules.machinecheck import CheckItem

LABELS_ON_A_PAGE = {"A4": 24, "Letter": 21}


@dataclass(frozen=True, slots=True)
class Label:
    """One serial label: serial, what it is, and the address its QR code opens."""

    serial: str
    address: str
    title: str = ""
    detail: str = ""


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """Serial labels, three across; ``used`` places at the start stay empty on a sheet begun before."""

    shop: str
    labels: tuple[Label, ...]
    used: int = 0


@dataclass(frozen=True, slots=True)
class ChartNote:
    """Cover note of a pitch chart: how to print it, what to read, and two readings that do not see each other.

    ``kind`` is coarse or fine; ``bands`` pair a band's number with its lines
    per inch, ``middle`` are those between the two black lines; ``scale`` are
    the lengths that the printed scales must measure, ``rule_unit`` what they are measured in.
    """

    imprint: Imprint
    code: str
    address: str
    kind: str
    bands: tuple[tuple[int, str], ...]
    scale: str = ""
    flip: Flip = "left-right"
    dots_per_inch: str = ""
    lens_lot: str = ""
    printer: str = ""
    mode: str = ""
    paper: str = ""
    viewing_distance: str = ""
    file_name: str = ""
    file_hash: str = ""
    middle: tuple[int, ...] = ()
    rule_unit: str = "mm"


@dataclass(frozen=True, slots=True)
class CheckSheet:
    """The daily machine check of one machine, a column for each day named."""

    imprint: Imprint
    machine: Bench
    items: tuple[CheckItem, ...]
    days: tuple[str, ...] = ("", "", "", "", "")
    freeing_procedure: str = ""


@dataclass(frozen=True, slots=True)
class OutOfUse:
    """The sheet that hangs on a machine which must not run."""

    imprint: Imprint
    machine: Bench
    reason: str
    since: str
    by: str
    address: str


@dataclass(frozen=True, slots=True)
class ProofSheet:
    """One page for the customer's answer: views, size, flip and the code it is bound to."""

    imprint: Imprint
    job: str
    title: str
    address: str
    pictures: tuple[Thumbnail, ...]
    flip: Flip = "left-right"
    customer: str = ""
    finished_size: str = ""
    viewing_distance: str = ""
    quantity: str = ""
    files: str = ""


@dataclass(frozen=True, slots=True)
class TodayRow:
    """One thing that is due, can go on, waits or runs low."""

    code: str
    title: str
    what: str
    due: str = ""
    who: str = ""


@dataclass(frozen=True, slots=True)
class TodaySheet:
    """The day on one sheet: headings with their rows, in the order in which they are read."""

    imprint: Imprint
    day: str
    sections: Mapping[str, tuple[TodayRow, ...]] = field(default_factory=dict)


def labels_html(view: LabelSheet, *, page: str = "A4", address: Address = asset_address) -> str:
    """Serial labels on A4 (24) or Letter (21); Refused where the used places leave no room."""
    if page not in LABELS_ON_A_PAGE or not 0 <= view.used < LABELS_ON_A_PAGE[page]:
        raise Refused("Say how many labels of the first sheet are used: none up to one less than a full sheet.",
                      field="used")
    places: list[Label | None] = [None] * view.used + list(view.labels)
    full = LABELS_ON_A_PAGE[page]
    sheets = [places[start:start + full] for start in range(0, len(places), full)]
    return render("labels.html", title="Serial labels", page=page, address=address, view=view, sheets=sheets)


def chart_note_html(view: ChartNote, *, page: str = "A4", address: Address = asset_address) -> str:
    """The cover note of a pitch chart."""
    return render("chart-note.html", title=f"Pitch chart {view.code}", page=page, address=address, view=view,
                  imprint=imprint_line(view.imprint))


def check_sheet_html(view: CheckSheet, *, page: str = "A4", address: Address = asset_address) -> str:
    """The daily machine check as a sheet for several days."""
    return render("check-sheet.html", title=f"Daily check {view.machine.name}", page=page, address=address, view=view,
                  imprint=imprint_line(view.imprint))


def out_of_use_html(view: OutOfUse, *, page: str = "A4", address: Address = asset_address) -> str:
    """The out-of-use sheet."""
    return render("out-of-use.html", title=f"Out of use: {view.machine.name}", page=page, address=address, view=view,
                  imprint=imprint_line(view.imprint))


def proof_sheet_html(view: ProofSheet, *, page: str = "A4", address: Address = asset_address) -> str:
    """The proof sheet for the customer."""
    return render("proof-sheet.html", title=f"Proof {view.job}", page=page, address=address, view=view,
                  words=flip_words(view.flip, view.pictures), imprint=imprint_line(view.imprint))


def today_html(view: TodaySheet, *, page: str = "A4", address: Address = asset_address) -> str:
    """The today sheet."""
    return render("today.html", title=f"Today {view.day}", page=page, address=address, view=view,
                  imprint=imprint_line(view.imprint))
