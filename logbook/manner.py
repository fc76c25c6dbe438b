"""How one person reads numbers: millimetres or inches, decimal point or comma. The only place that writes them so.

Values stay what they are; a number keeps every digit and changes its mark alone.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from logbook.lengths import INCH_IN_MM, Length, converted, grouped, measured_in, parse_length
from logbook.refusals import Refused

POINT, COMMA = ".", ","
_DECIMAL = re.compile(r"(?<![\w.,'\"])(\d+)\.(\d+)(?!\.?\w)")
"""A number of a sentence: no date, version, address or name of a file, and nothing that is quoted as typed."""
_PLAIN = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)", re.ASCII)
"""Digits with at most one mark: Decimal alone would read 0_5 as 5, and 1e5."""
_LENGTH = re.compile(r"([-+]?[\d.,]*\d)\s*([^\d\s.,]*)")
_MM = re.compile(
    r"(?<![\w.,'\"])(\d+(?:\.\d+)?)(?:( ± |, ± | to | and |–)(\d+(?:\.\d+)?))? (mm(?: per 300 mm)?)\b(?! per\b)"
)
"""One length of a sentence in millimetres, or two that share their unit."""


@dataclass(frozen=True, slots=True)
class Manner:
    """``units``: mm or in; ``mark``: the decimal mark."""

    units: str = "mm"
    mark: str = POINT

    def number(self, value: object) -> str:
        """A number as it stands, with this person's mark."""
        text = f"{value:f}" if isinstance(value, Decimal) else str(value)
        return text.replace(POINT, COMMA) if self.mark == COMMA else text

    def read(self, text: str) -> Decimal | None:
        """A number as it was typed, with either mark; None for anything else.

        Raises Refused where the other mark stands before three digits: 1,234 may be a thousand, and nobody guesses.
        """
        text = text.strip()
        if (found := grouped(text)) and (found[1] != self.mark or not _PLAIN.fullmatch(text)):
            raise Refused(self._doubtful(text))
        return Decimal(text.replace(COMMA, POINT)) if _PLAIN.fullmatch(text) else None

    def read_length(self, text: str, *, bare: str = "") -> Length:
        """A length as it was typed; ``bare`` is the unit of a number without one, which is refused where it is empty.

        Raises Refused as ``read`` and ``parse_length`` do.
        """
        found = _LENGTH.fullmatch(text.strip())
        if found is None:
            return parse_length(text)
        self.read(found[1])
        whole = f"{found[1].replace(COMMA, POINT)}{found[2] or bare}"
        try:
            return parse_length(whole)
        except Refused as refusal:
            raise Refused(refusal.sentence.replace(repr(whole), repr(text.strip()))) from None

    def _doubtful(self, text: str) -> str:
        if not _PLAIN.fullmatch(text):
            return f"{text!r} has marks between its thousands; leave them out."
        joined = text.replace(COMMA, "").replace(POINT, "")
        as_decimal = self.number(text.replace(COMMA, POINT))
        return f"{text!r} can be read in two ways; write {as_decimal} or {joined}."

    def sentence(self, text: str) -> str:
        """A sentence with its numbers marked so; what only looks like a number, or is quoted, is left alone.

        Its units stay: a lens may be called by its millimetres.
        """
        return _DECIMAL.sub(r"\1,\2", text) if self.mark == COMMA else text

    def told(self, text: str) -> str:
        """A sentence of the logbook's own, in which nobody's names stand: its millimetres in these units, too."""
        return self.sentence(_MM.sub(_in_inches, text) if self.units == "in" else text)

    def unit(self, unit: str) -> str:
        """The unit in which this person reads and writes what is measured in ``unit``."""
        return measured_in(unit, self.units)

    def measured(self, value: str, unit: str) -> str:
        """A value of the record with its unit: as typed where the unit is this person's, else converted for reading."""
        own = self.unit(unit)
        told = str(converted(Decimal(value), unit, own)) if own != unit else value
        return f"{self.number(told) if unit else told} {own}".strip()

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


def may_be_thousands(text: str) -> bool:
    """Whether digits stand in threes behind a mark, so that 1,440 may be 1.44 or a thousand and more."""
    return grouped(text) is not None


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


def _in_inches(found: re.Match[str]) -> str:
    first, between, second, unit = found.groups()
    inches = measured_in(unit, "in")
    shown = [str(converted(Decimal(value), unit, inches)) for value in (first, second) if value]
    return f"{(between or '').join(shown)} {inches}"
