"""The long scales of a pitch chart: how long they were drawn, and how long they came out of the printer."""

import json
from collections.abc import Iterator, Mapping
from contextlib import suppress
from decimal import Decimal

from logbook.actions.pitchcharts import pages_of
from logbook.lengths import parse_length
from logbook.records.pitch import PitchChart, PitchTest
from logbook.refusals import Refused
from logbook.rules.findings import Finding, ask, note
from logbook.rules.signing import plain_number
from logbook.rules.targets import RULE_READING_MM

AXES = ("across", "down")
_PAPERS = ("a4", "letter")


def drawn(made: PitchChart) -> dict[str, Decimal]:
    """Millimetres of the long scales in the chart's file, by axis."""
    bars = json.loads(made.plan).get("scale_bars", [])
    return {bar["axis"]: Decimal(str(bar["length_mm"])) for bar in bars if bar.get("axis") in AXES}


def on_pages(made: PitchChart) -> dict[str, list[Decimal]]:
    """What else a long scale may measure: on the pages of a chart that fills several of A4 or Letter, by axis."""
    wanted, found = drawn(made), {axis: set[Decimal]() for axis in AXES}
    for paper in _PAPERS if made.kind == "bands" else ():
        with suppress(Refused):  # a paper that does not hold it
            pages = pages_of(made, paper)
            for page in pages if len(pages) > 1 else ():
                for bar in (*page.plan.head.scale_bars, *page.plan.foot.scale_bars):
                    found[str(bar["axis"])].add(Decimal(str(bar["length_mm"])))
    return {axis: sorted(lengths - {wanted.get(axis)}, reverse=True) for axis, lengths in found.items()}


def should_be(made: PitchChart, axis: str, value: Decimal) -> Decimal | None:
    """What a scale should measure: as in the file, or as on the page of it whose scale comes nearest."""
    wanted = drawn(made).get(axis)
    if wanted is None or abs(value - wanted) <= RULE_READING_MM:
        return wanted
    return min([wanted, *on_pages(made)[axis]], key=lambda length: abs(value / length - 1))


def in_words(made: PitchChart) -> dict[str, str]:
    """What each scale should measure, with the pages of a chart that fills several, in mm."""
    pages = {axis: " or ".join(f"{one} mm" for one in lengths) for axis, lengths in on_pages(made).items()}
    told = {axis: f"; on a page of several {words}" for axis, words in pages.items() if words}
    return {axis: f"{length} mm{told.get(axis, '')}" for axis, length in drawn(made).items()}


def measured(made: PitchChart) -> dict[str, Decimal]:
    """Millimetres that were measured on the print, by axis; what nobody measured is left out."""
    told = {"across": made.scale_across_mm, "down": made.scale_down_mm}
    return {axis: value for axis, value in told.items() if value is not None}


def write_down(made: PitchChart, scales: Mapping[str, str]) -> dict[str, str]:
    """Keep what was measured on the chart, in mm unless a unit is named; returns what is new.

    Raises Refused for what is no length of a scale.
    """
    told = {axis: _read(axis, scales[axis]) for axis in AXES if scales.get(axis, "").strip()}
    made.scale_across_mm = told.get("across", made.scale_across_mm)
    made.scale_down_mm = told.get("down", made.scale_down_mm)
    typed = {f"scale {axis}, as typed": scales[axis].strip() for axis in told if plain_number(scales[axis]) is None}
    return {f"scale {axis}, mm": str(value) for axis, value in told.items()} | typed


def _read(axis: str, words: str) -> Decimal:
    number = plain_number(words)
    if number is None:
        number = _with_its_unit(words)
    if not 1 <= number <= 10000:
        raise Refused(
            f"{words.strip()!r} is no length of a scale in mm; write another unit behind the number.",
            field=f"scale_{axis}",
        )
    return number


def _with_its_unit(words: str) -> Decimal:
    """A length in mm to a hundredth; 0 where there is none."""
    try:
        return Decimal(round(parse_length(words).mm * 100)) / 100
    except Refused:
        return Decimal(0)


def off(made: PitchChart) -> Iterator[str]:
    """A sentence for each scale that came out otherwise than it was drawn, by more than a rule can tell."""
    for axis, value in measured(made).items():
        wanted = should_be(made, axis, value)
        if wanted is not None and abs(value - wanted) > RULE_READING_MM:
            part = float((value / wanted - 1) * 100)
            yield (
                f"The long scale {axis} measures {value} mm and was drawn {wanted} mm ({part:+.1f} %): something "
                "scaled the print. Print the chart again at 100 %."
            )


def findings(test: PitchTest) -> list[Finding]:
    """A question for each chart of a test that was printed at another size than it was drawn."""
    told = [words for made in test.charts for words in off(made)]
    if any(map(drawn, test.charts)) and not any(map(measured, test.charts)):
        return [note("long scale", "No long scale was measured: nobody knows whether the driver scaled the page.")]
    return [ask(f"limit: long scale {place}", words, about="Long scale") for place, words in enumerate(told, start=1)]
