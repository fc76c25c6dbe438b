"""The long scales of a pitch chart: how long they were drawn, and how long they came out of the printer."""

import json
from collections.abc import Iterator, Mapping
from decimal import Decimal

from logbook.lengths import parse_length
from logbook.records.pitch import PitchChart, PitchTest
from logbook.refusals import Refused
from logbook.rules.findings import Finding, ask, note
from logbook.rules.signing import plain_number
from logbook.rules.targets import RULE_READING_MM

AXES = ("across", "down")


def drawn(made: PitchChart) -> dict[str, Decimal]:
    """Millimetres of the long scales in the chart's file, by axis."""
    bars = json.loads(made.plan).get("scale_bars", [])
    return {bar["axis"]: Decimal(str(bar["length_mm"])) for bar in bars if bar.get("axis") in AXES}


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
    wanted = drawn(made)
    for axis, value in measured(made).items():
        if axis in wanted and abs(value - wanted[axis]) > RULE_READING_MM:
            part = float((value / wanted[axis] - 1) * 100)
            yield (
                f"The long scale {axis} measures {value} mm and was drawn {wanted[axis]} mm ({part:+.1f} %): something "
                "scaled the print. Print the chart again at 100 %."
            )


def findings(test: PitchTest) -> list[Finding]:
    """A question for each chart of a test that was printed at another size than it was drawn."""
    told = [words for made in test.charts for words in off(made)]
    if any(map(drawn, test.charts)) and not any(map(measured, test.charts)):
        return [note("long scale", "No long scale was measured: nobody knows whether the driver scaled the page.")]
    return [ask(f"limit: long scale {place}", words, about="Long scale") for place, words in enumerate(told, start=1)]
