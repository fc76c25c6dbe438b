"""What a job traveller shows, as plain frozen values.

Every text arrives as it shall print: numbers with their unit, days and times in
the form the reader uses. Nothing here knows a table; an empty text means "not
known" and prints a line to write on.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from logbook.rules.cards import Card
from logbook.rules.steplist import StepList
from logbook.rules.traits import machine_traits

Flip = Literal["left-right", "up-down"]
Edge = Literal["", "top", "bottom", "left", "right"]
PageSize = Literal["A4", "Letter"]


@dataclass(frozen=True, slots=True)
class Thumbnail:
    """A small view of one picture; ``asset`` names its bytes, ``number`` is its place in play order."""

    number: int
    asset: str
    name: str = ""


NOT_CHOSEN = "not chosen"
"""The origin of a pitch that nobody has chosen yet: no number stands there, and no paper may call it one."""

WITHDRAWN = "withdrawn"
"""The origin of a pitch that serves no more, whatever it was before."""


@dataclass(frozen=True, slots=True)
class Pitch:
    """The pitch that is used: value and uncertainty in lines per inch, and where it comes from.

    ``origin`` is test, carried over, forecast, nominal, withdrawn, not chosen or before the
    logbook, and several where a job's sheets do not share one; ``detail`` says which
    test, day and pairing.
    """

    value: str
    uncertainty: str = ""
    origin: str = "nominal"
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Column:
    """One sheet or one piece: a column of the steps. ``note`` prints beside it, for example "sample".

    ``aside`` is why it was set aside: its column then says so and has no boxes to fill.
    A sheet carries the pitch and the short hash of its own run; ``more`` are lines
    for what the sheets of the job do not share.
    """

    code: str
    address: str = ""
    holds: str = ""
    note: str = ""
    aside: str = ""
    pitch: Pitch | None = None
    file_hash: str = ""
    more: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Entry:
    """What is already recorded for one step in one column; ``column`` is "" for a step of the job."""

    step: str
    column: str = ""
    value: str = ""
    by: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class Closed:
    """A stage that needs no boxes any more: signed, or done before the logbook."""

    stage: str
    line: str


@dataclass(frozen=True, slots=True)
class Bench:
    """A machine as this job meets it; ``kind`` is laminator, trimmer or printer.

    ``missing`` are the mandatory facts that nobody has set: they print in place
    of the steps. ``drive`` (powered, hand), ``heated`` and ``cutting`` (knife,
    rotary, guillotine, lever) choose the cautions.
    """

    kind: str
    name: str
    drive: str = ""
    heated: bool | None = None
    cutting: str = ""
    missing: tuple[str, ...] = ()
    out_of_use: str = ""
    manual: str = ""
    competent_role: str = ""
    stop_position: str = ""
    isolator: str = ""
    freeing_procedure: str = ""
    remark: str = ""
    """One line above its steps: of a printer, where scaling is switched off, or what nobody has written down yet."""

    @property
    def if_caught(self) -> tuple[tuple[str, str], ...]:
        """What stands at the rollers before their steps: term and words, only what is known."""
        told = (("Stops", self.stop_position), ("Isolator", self.isolator), ("Somebody caught", self.freeing_procedure))
        return tuple((term, words) for term, words in told if self.kind == "laminator" and words.strip())

    def traits(self, people: int) -> frozenset[str]:
        """The traits by which cautions are chosen, for so many people at the machine."""
        return machine_traits(drive=self.drive, heated=self.heated, cutting=self.cutting, people=people)


@dataclass(frozen=True, slots=True)
class Numbers:
    """The numbers that matter at the bench, each with its unit."""

    dots_per_inch: str = ""
    printed_size: str = ""
    finished_size: str = ""
    bleed: str = ""
    viewing_distance: str = ""
    lens_lot: str = ""
    paper: str = ""
    adhesive: str = ""
    printer: str = ""
    mode: str = ""
    file_name: str = ""
    file_hash: str = ""
    file_size: str = ""
    """The whole file's size in words: its marks make it larger than the print, and nothing may be fitted to a page."""


@dataclass(frozen=True, slots=True)
class Imprint:
    """What places a paper: shop, revision, when it was printed, and the head of the audit trail at that moment."""

    shop: str
    printed_at: str
    printed_by: str = ""
    revision: str = ""
    audit_head: str = ""


@dataclass(frozen=True, slots=True)
class Traveller:
    """Everything one job traveller shows.

    ``address`` is what the QR code opens. ``banners`` print large below the
    head ("SAMPLE", "before the logbook"); a pitch that was not tested prints
    its origin large by itself. ``people`` is how many work at the rollers, 0
    while that is open. ``limits`` replace a step's limits in words, for example
    the finished width. ``remarks`` are reasons and notes that print ("same
    person", "worked alone"). ``leading_edge`` is the edge of the picture that
    enters the rollers first, as seen upright.
    """

    imprint: Imprint
    job: str
    title: str
    address: str
    steps: StepList
    cards: Mapping[str, Card]
    pitch: Pitch
    flip: Flip = "left-right"
    order: str = ""
    customer: str = ""
    due: str = ""
    quantity: str = ""
    banners: tuple[str, ...] = ()
    pictures: tuple[Thumbnail, ...] = ()
    numbers: Numbers = field(default_factory=Numbers)
    sheets: tuple[Column, ...] = ()
    pieces: tuple[Column, ...] = ()
    machines: tuple[Bench, ...] = ()
    people: int = 0
    entries: tuple[Entry, ...] = ()
    closed: tuple[Closed, ...] = ()
    limits: Mapping[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    leading_edge: Edge = ""
    local_rule: str = ""

    def machine(self, kind: str) -> Bench | None:
        """The job's machine of this kind, or None while none is named."""
        return next((machine for machine in self.machines if machine.kind == kind), None)
