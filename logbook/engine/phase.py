"""Phase and strip order: which picture owns which dot, in exact integers.

Phase zero is the left (for up-down: top) border of raster dot 0. Dot i has
phase frac((i + 1/2) * lpi / dpi + offset). A lens reverses, so strip 0 (leftmost
or topmost under the lenticule) belongs to the LAST picture and picture 1 owns
the strip farthest right (or down).
"""

from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from math import lcm

import numpy as np

from logbook.lengths import with_a_point
from logbook.refusals import Refused

PITCH_DECIMALS = 6
MOST_LPI = 100_000


def parse_pitch(text: str | Decimal, *, field: str = "lpi") -> Decimal:
    """Lines per inch as an exact decimal with at most six decimals, above zero."""
    try:
        value = Decimal(with_a_point(str(text).strip(), field=field, name=field))
    except InvalidOperation:
        raise Refused(f"{field}: {text!r} is not a number of lines per inch, for example 19.87.", field=field) from None
    if not value.is_finite() or value <= 0:
        raise Refused(f"{field}: the pitch must be more than zero lines per inch.", field=field)
    if value > MOST_LPI:
        raise Refused(f"{field}: at most {MOST_LPI} lines per inch.", field=field)
    if value != round(value, PITCH_DECIMALS):
        raise Refused(f"{field}: a pitch has at most {PITCH_DECIMALS} decimals.", field=field)
    return value


def dots_for(inches: Fraction, dpi: Fraction) -> int:
    """Whole dots for a length: floor(length * dpi + 1/2), at least 1."""
    return max(1, int(inches * dpi + Fraction(1, 2)))


def phase_numerators(
    count: int, *, lpi: Decimal, dpi: Fraction, offset: Fraction = Fraction(0)
) -> tuple[np.ndarray, int]:
    """Exact phases of dots 0 … count-1 as integers over one common denominator.

    Returns (numerators, denominator): the phase of dot i is numerators[i] /
    denominator in [0, 1). int64 where it fits, Python integers otherwise.
    """
    step = Fraction(lpi) / dpi
    start = step / 2 + offset
    denominator = lcm(step.denominator, start.denominator)
    step_n, start_n = int(step * denominator), int(start * denominator)
    fits = abs(step_n) * count + abs(start_n) < 2**62 and denominator < 2**62
    index = np.arange(count, dtype=np.int64 if fits else object)
    return (index * step_n + start_n) % denominator, denominator


def owners(count: int, *, lpi: Decimal, dpi: Fraction, pictures: int, offset: Fraction = Fraction(0),
           shares: Sequence[Fraction] | None = None) -> np.ndarray:
    """The picture (1 … pictures) that owns each of ``count`` dots along the pitch axis.

    ``shares`` are the pictures' parts of a lenticule in picture order (sum 1);
    None means equal parts. Raises Refused when a strip is under one dot.
    """
    _refuse_thin_strips(lpi=lpi, dpi=dpi, pictures=pictures, shares=shares)
    numerators, denominator = phase_numerators(count, lpi=lpi, dpi=dpi, offset=offset)
    if shares is None:
        strip = numerators.astype(object) * pictures // denominator if denominator > 2**62 // max(pictures, 1) \
            else numerators * pictures // denominator
        return pictures - strip.astype(np.int64)
    owner = np.empty(count, dtype=np.int64)
    edge = Fraction(1)
    for picture, share in enumerate(shares, start=1):
        # everything below its upper edge; the pictures after it take theirs away again
        owner[numerators * edge.denominator < edge.numerator * denominator] = picture
        edge -= share
    return owner


def _refuse_thin_strips(*, lpi: Decimal, dpi: Fraction, pictures: int, shares: Sequence[Fraction] | None) -> None:
    smallest = Fraction(1, pictures) if shares is None else min(shares)
    if Fraction(lpi) > dpi * smallest:
        dots = float(dpi * smallest / Fraction(lpi))
        raise Refused(
            f"A strip would be {dots:.2f} dots wide: {pictures} pictures at {lpi} lines per inch need at least "
            f"{float(Fraction(lpi) / smallest):.0f} dots per inch, or fewer pictures, or a coarser lens."
        )
