"""How one person reads numbers: millimetres or inches, decimal point or comma. The only place that writes them so.

Values stay what they are; a number keeps every digit and changes its mark alone.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from logbook.lengths import INCH_IN_MM, Length

POINT, COMMA = ".", ","
_DECIMAL = re.compile(r"(?<![\w.,])(\d+)\.(\d+)(?!\.?\w)")
"""A number of a sentence: no date, version, address or name of a file."""


@dataclass(frozen=True, slots=True)
class Manner:
    """``units``: mm or in; ``mark``: the decimal mark."""

    units: str = "mm"
    mark: str = POINT

    def number(self, value: object) -> str:
        """A number as it stands, with this person's mark."""
        text = f"{value:f}" if isinstance(value, Decimal) else str(value)
        return text.replace(POINT, COMMA) if self.mark == COMMA else text

    def sentence(self, text: str) -> str:
        """A sentence with its numbers marked so; what only looks like a number is left alone."""
        return _DECIMAL.sub(r"\1,\2", text) if self.mark == COMMA else text

    def length(self, value: Length) -> str:
        """A length for the screen: as typed where the units are the same, else rounded for reading."""
        if value.unit == self.units:
            return f"{self.number(plain(value.value))} {self.units}"
        if self.units == "in":
            return f"{self.number(plain(_rounded(value.inches, 3)))} in"
        if value.mm >= 1000:
            return f"{self.number(plain(_rounded(value.mm / 1000, 2)))} m"
        return f"{self.number(plain(_rounded(value.mm, 1)))} mm"

    def on_paper(self, *sides: Fraction, fine: bool = True) -> str:
        """One or several sides in mm, as a paper states them: to a tenth of a millimetre or a thousandth of an inch.

        ``fine=False``: a distance, to a millimetre or a tenth of an inch.
        """
        places = (1 if fine else 0) if self.units == "mm" else (3 if fine else 1)
        shown = (side if self.units == "mm" else side / INCH_IN_MM for side in sides)
        return " × ".join(self.number(f"{float(side):.{places}f}") for side in shown) + f" {self.units}"


def plain(value: Decimal) -> str:
    """A decimal without trailing zeros."""
    text = format(value, "f")
    return text.rstrip("0").rstrip(POINT) if POINT in text else text


def counted(count: int, word: str) -> str:
    """A number and its noun, one or many: 1 piece, 2 pieces, 1 entry, 3 entries."""
    many = f"{word[:-1]}ies" if word.endswith("y") else f"{word}s"
    return f"{count} {word if count == 1 else many}"


def _rounded(value: Fraction, places: int) -> Decimal:
    return Decimal(round(value * 10**places)).scaleb(-places)
