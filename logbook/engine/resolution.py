"""Printer resolutions as people write them: dots per inch, across and down."""

import re
from decimal import Decimal
from fractions import Fraction

from logbook.lengths import with_a_point
from logbook.refusals import Refused

Resolution = tuple[Fraction, Fraction]
"""Dots per inch across and down, exact."""

_NUMBER = r"\d+(?:[.,]\d+)?"
_PATTERN = re.compile(rf"\s*({_NUMBER})\s*(?:[x×]\s*({_NUMBER}))?\s*(?:dpi)?\s*", re.IGNORECASE)
_MOST_DOTS_PER_INCH = 100_000


def parse_dpi(text: str, *, field: str = "dpi") -> Resolution:
    """Read ``720``, ``362.16`` or ``1440x720`` (across × down) exactly.

    Raises Refused for anything else, for zero and for more than 100 000 dots per inch.
    """
    match = _PATTERN.fullmatch(text)
    if match is None:
        raise Refused(f"{field}: {text!r} is not a resolution; write 720 or 1440x720 (across × down).", field=field)
    across, down = (
        Fraction(Decimal(with_a_point(part, field=field, name=field))) for part in (match[1], match[2] or match[1])
    )
    if not 0 < min(across, down) <= max(across, down) <= _MOST_DOTS_PER_INCH:
        raise Refused(f"{field}: {text!r} must be more than zero and at most {_MOST_DOTS_PER_INCH} dots per inch.",
                      field=field)
    return across, down


def number(value: Fraction | Decimal) -> int | float:
    """The value as the JSON number that reads back to the same decimal: whole where it is whole."""
    exact = Fraction(value)
    return int(exact) if exact.denominator == 1 else float(exact)


def text(value: Fraction | Decimal) -> str:
    """The value in plain decimal digits without trailing zeros, for sentences and labels."""
    exact = Fraction(value)
    if exact.denominator == 1:
        return str(int(exact))
    decimal = round(Decimal(exact.numerator) / Decimal(exact.denominator), 6)
    return f"{decimal:f}".rstrip("0").rstrip(".")
