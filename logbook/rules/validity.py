"""Whether a pitch on record may serve a job: one sentence for each reason.

A pitch answers for one lens lot, printer mode, paper type and printer axis. All
numbers that need optics (drift, uncertainty) arrive computed, in lenticules
over this print.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from logbook.rules.findings import Finding, ask, note, stop

OLD_AFTER = timedelta(days=365)
"""Shop default, no source: a pitch older than a year is worth a word."""
CLIMATE_NOTE_STRIPS = 0.1
CLIMATE_ASK_STRIPS = 0.25
FAR_FROM_NOMINAL = Decimal("0.03")
"""Lots, printers, paper and a print seen from 300 mm move a pitch by some 1 % together (shop default, no source): what
is further away is a slip of the pen, or another lens."""
FAR_FOR_A_CHART = Decimal("0.1")
"""A chart looks for what is not known yet, and may look further."""
HALF = 0.5
UNCERTAINTY_ASK_LENTICULES = 0.1
"""Half-width (k = 2) end to end over the print above which another reading is asked for."""


@dataclass(frozen=True, slots=True)
class PitchFacts:
    """What is known about a pitch on record; ids compare, names are for the sentence."""

    origin: str
    lens_lot: str
    mode: str
    paper: str
    paper_lot: str | None
    axis: str
    known_since: datetime
    withdrawn: str | None = None
    confirmed: str | None = None
    """What confirmed a pitch that was carried over: a pitch strip beside a print of it; None when nothing did."""
    scale_ended: str | None = None
    """What happened to the printer since (head change, repair …); None when nothing did."""
    ended: bool = False
    """Whether whoever noted that said that no earlier pitch serves any more."""
    lpi: Decimal | None = None
    nominal_lpi: Decimal | None = None
    """The lens maker's number; None where it is not on record."""


@dataclass(frozen=True, slots=True)
class JobNeeds:
    """What the job is made from, and what the pitch would mean over its width."""

    lens_lot: str
    mode: str
    paper: str
    paper_lot: str | None
    axis: str
    now: datetime
    climate_strips: float | None = None
    """Drift over the print from the change of temperature, in strips; None where a temperature is unknown."""
    doubt_lenticules: float | None = None
    """Twice the standard uncertainty, end to end over this print; None where unknown."""
    distance_known: bool = True
    conversion_share: float = 0.0
    """Which part of the doubt's variance comes from carrying the pitch to this job's distance, 0 to 1."""
    distance: str = ""
    """This job's own distance, for the sentence that asks for a reading there."""
    unconverted_lenticules: float | None = None
    """How far off, end to end, the pitch may be at this job's distance where the lens's thickness or index is not
    known; None where it was converted, or read from there."""


def may_serve(pitch: PitchFacts, job: JobNeeds) -> list[Finding]:
    """Every reason against, or worth knowing about, using this pitch for this job."""
    return [
        *_withdrawn(pitch),
        *_far(pitch),
        *_key(pitch, job),
        *_origin(pitch),
        *_history(pitch, job),
        *_climate(job),
        *_distance(job),
    ]


def _withdrawn(pitch: PitchFacts) -> Iterator[Finding]:
    if pitch.withdrawn is not None:
        why = pitch.withdrawn.rstrip(".")
        yield stop("withdrawn", f"This pitch was withdrawn: {why}; choose another, or test again.")


def far_from_nominal(lpi: Decimal, nominal: Decimal | None, *, most: Decimal = FAR_FROM_NOMINAL) -> str:
    """One sentence where a pitch lies further from the lens maker's than anything explains; else empty."""
    if nominal is None or abs(lpi - nominal) <= most * nominal:
        return ""
    return (
        f"{lpi.normalize():f} lines per inch is {100 * abs(lpi / nominal - 1):.0f} % away from the lens maker's "
        f"{nominal.normalize():f}, more than lots, printers and distances explain: look for a slip of the decimal "
        "mark, or whether the lens's number under Stock is right."
    )


def _far(pitch: PitchFacts) -> Iterator[Finding]:
    if pitch.lpi is not None and (sentence := far_from_nominal(pitch.lpi, pitch.nominal_lpi)):
        yield stop("nominal", sentence)


def _key(pitch: PitchFacts, job: JobNeeds) -> Iterator[Finding]:
    for name, has, needs in (
        ("lens lot", pitch.lens_lot, job.lens_lot),
        ("printer mode", pitch.mode, job.mode),
        ("paper", pitch.paper, job.paper),
        ("printer axis", pitch.axis, job.axis),
    ):
        if has != needs:
            yield stop(
                name,
                f"It was found for {name} {has}; this job uses {needs}: choose a pitch that was found for it, or test.",
            )


def _origin(pitch: PitchFacts) -> Iterator[Finding]:
    if pitch.origin == "carried over" and pitch.confirmed is not None:
        yield note("origin", f"It was carried over from before the logbook and confirmed by {pitch.confirmed}.")
    elif pitch.origin == "carried over":
        yield ask("origin", "This pitch was carried over from before the logbook; no test here has confirmed it.")
    elif pitch.origin == "nominal":
        yield ask(
            "origin",
            "This is the lens maker's nominal pitch; nothing was measured, and the whole print may flip unevenly.",
        )
    elif pitch.origin == "forecast":
        yield ask("origin", "This pitch is a forecast from other tests; no test of this pairing has confirmed it.")


def _history(pitch: PitchFacts, job: JobNeeds) -> Iterator[Finding]:
    yield from printer_history(pitch.scale_ended, ended=pitch.ended)
    if pitch.paper_lot and job.paper_lot and pitch.paper_lot != job.paper_lot:
        yield note("paper lot", f"It was found on paper lot {pitch.paper_lot}; this job uses lot {job.paper_lot}.")
    if job.now - pitch.known_since > OLD_AFTER:
        yield note("age", f"It was found on {pitch.known_since:%Y-%m-%d}, more than a year ago.")


def printer_history(event: str | None, *, ended: bool) -> Iterator[Finding]:
    """What happened to the printer since a pitch was found, in words: asked about, or a stop where it ended it."""
    told = f"Since it was found the printer had this: {event}"
    if event is not None and ended:
        yield stop("pitch ended", f"{told}; no pitch found before that serves any more. Test again.")
    elif event is not None:
        yield ask("printer history", f"{told}; its scale may have changed.")


def _climate(job: JobNeeds) -> Iterator[Finding]:
    if job.climate_strips is None or job.climate_strips < CLIMATE_NOTE_STRIPS:
        return
    sentence = f"The room has changed since: {job.climate_strips:.2f} of a strip of drift over this print."
    yield ask("climate", sentence) if job.climate_strips > CLIMATE_ASK_STRIPS else note("climate", sentence)


def _distance(job: JobNeeds) -> Iterator[Finding]:
    if not job.distance_known:
        yield note("distance", "The distance it was read from is not on record; it is used as it stands.")
    elif job.unconverted_lenticules is not None:
        answer = ask if job.unconverted_lenticules > UNCERTAINTY_ASK_LENTICULES else note
        yield answer(
            "distance",
            "It was read from another distance than this job's, and the lens's thickness or index is not on record "
            f"under Stock: used as it stands it may be {job.unconverted_lenticules:.2f} lenticule off end to end.",
        )
    if job.doubt_lenticules is not None and job.doubt_lenticules > UNCERTAINTY_ASK_LENTICULES:
        better = "a finer reading would make it smaller"
        if job.conversion_share > HALF:
            better = f"most of it comes from the change of distance, so read the chart from {job.distance}"
        yield ask(
            "uncertainty",
            f"Its uncertainty is {job.doubt_lenticules:.2f} lenticule end to end over this print; {better}.",
        )
