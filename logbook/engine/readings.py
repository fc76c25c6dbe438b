"""What a person reads off a pitch chart, in the words of the bench."""

import csv
import io
import itertools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from logbook.engine.phase import parse_pitch
from logbook.refusals import Refused

READING_U = math.sqrt(0.25**2 / 3 + 0.25**2 / 12)
"""Standard uncertainty of one count, 0.161 fringe: an error of ±1/4 is the half-width of a rectangular
distribution, and rounding to the quarter adds another (JCGM 100:2008, 4.3.7)."""
MOST_FRINGES = 10_000
_QUARTERS = {"¼": "1/4", "½": "1/2", "¾": "3/4"}
_COUNT = re.compile(r"(?P<whole>\d+(?:\.\d+)?|\.\d+)?\s*(?:(?P<over>\d+)/(?P<under>[1-9]\d*))?")
_BAND = re.compile(r"(?:band\s*)?(\d+)", re.IGNORECASE)
_BETWEEN = re.compile(r"between\s+(?:band\s*)?(\d+)\s+and\s+(?:band\s*)?(\d+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Reading:
    """One band as it was counted: ``fringes`` over its whole length, zero for solid."""

    lpi: Decimal
    fringes: Decimal
    reader: str | None = None
    u_fringes: float = READING_U


@dataclass(frozen=True, slots=True)
class Spot:
    """A place named instead of counted: the pitch there and how well the words fix it."""

    lpi: Decimal
    u_lpi: float
    words: str
    reader: str | None = None


def _called(field: str) -> str:
    """A form's field as somebody reads it, ``band_1`` as Band 1; any other name as it is."""
    return field.replace("_", " ").capitalize() if "_" in field else field


def parse_count(words: str, *, field: str = "fringes") -> Decimal:
    """Read ``solid`` (0), ``2``, ``2.25``, ``2,25``, ``2 1/4`` or ``2¼`` as fringes, zero or more."""
    told = words.strip().lower().replace(",", ".")
    for sign, quarter in _QUARTERS.items():
        told = told.replace(sign, f" {quarter}")
    match = _COUNT.fullmatch(told.strip())
    if told == "solid":
        return Decimal(0)
    if not told or match is None:
        raise Refused(f"{_called(field)}: {words!r} is not a count; write a number of fringes such as 2.25, or solid.",
                      field=field)
    count = Decimal(match["whole"] or 0) + Decimal(match["over"] or 0) / Decimal(match["under"] or 1)
    if count > MOST_FRINGES:
        raise Refused(f"{_called(field)}: {words!r} is more than anyone can count.", field=field)
    return count


def parse_spot(words: str, *, pitches: Mapping[int, Decimal], width_in: Fraction, reader: str | None = None,
               field: str = "answer") -> Spot | None:
    """Read ``band 7``, ``between 6 and 7`` or ``none`` for a chart whose bands are ``pitches`` by number.

    The pitch then lies within half a step of what was named (rectangular), beside the
    eye's own uncertainty of one reading. None means that no band was solid.
    """
    told = words.strip().lower()
    if told == "none":
        return None
    single, pair = _BAND.fullmatch(told), _BETWEEN.fullmatch(told)
    if single is None and pair is None:
        raise Refused(f"{_called(field)}: {words!r} is not understood; write band 7, between 6 and 7, or none.",
                      field=field)
    named = sorted(int(band) for band in (pair.groups() if pair else single.groups() if single else ()))
    if any(band not in pitches for band in named) or (len(named) == 2 and named[1] - named[0] != 1):
        raise Refused(f"{_called(field)}: {words!r} must name bands of this chart, 1 to {max(pitches)}, two of them "
                      "only as neighbours.", field=field)
    centre = sum((pitches[band] for band in named), Decimal(0)) / len(named)
    half_step = _step(pitches) / 2
    u_lpi = math.hypot(float(half_step) / math.sqrt(3), READING_U / float(width_in))
    return Spot(lpi=centre, u_lpi=u_lpi, words=words.strip(), reader=reader)


def readings_from_csv(content: str) -> list[Reading]:
    """Rows ``lpi,fringes[,reader]`` under that header. Raises Refused, naming the line, for anything else."""
    rows = csv.DictReader(io.StringIO(content.lstrip("\ufeff")), skipinitialspace=True, strict=True)
    try:
        names = [name.strip().lower() for name in rows.fieldnames or ()]
        if sorted(names) not in (["fringes", "lpi"], ["fringes", "lpi", "reader"]):
            raise Refused("The readings' first line must be lpi,fringes or lpi,fringes,reader.")
        rows.fieldnames = names
        return [_reading(row, line=rows.line_num) for row in rows]
    except csv.Error as error:
        raise Refused(f"The readings are not a readable CSV table: {error}.") from None


def _reading(row: Mapping[str | None, str | None], *, line: int) -> Reading:
    lpi, fringes, reader = row.get("lpi"), row.get("fringes"), row.get("reader")
    if None in row or lpi is None or fringes is None:
        raise Refused(f"line {line}: a reading is lpi,fringes and, where given, the reader.")
    try:
        return Reading(parse_pitch(lpi), parse_count(fringes), (reader or "").strip() or None)
    except Refused as refusal:
        raise Refused(f"line {line}: {refusal.sentence}", field=refusal.field) from None


def _step(pitches: Mapping[int, Decimal]) -> Decimal:
    ordered = sorted(pitches.values())
    if len(ordered) < 2:
        raise Refused("answer: a chart with fewer than two bands names no place.")
    return min(high - low for low, high in itertools.pairwise(ordered))
