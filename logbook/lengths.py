"""Lengths as people write them: a decimal number and a unit, kept exactly."""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from logbook.refusals import Refused

INCH_IN_MM = Fraction(254, 10)
"""The international inch, exactly 25.4 mm since 1 July 1959."""

_UNIT_IN_MM = {
    "in": INCH_IN_MM,
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
}
_MEASURES = {"mm": ("in", INCH_IN_MM), "mm per 300 mm": ("in per 12 in", Fraction(25))}
"""What is measured in mm, what it is called in inches, and how many of the one are one of the other."""
_PLACES = {"in": 3, "mm": 2}
_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}(?:([.,])\d{3})(?:\1\d{3})*(?:[.,]\d*)?", re.ASCII)
"""Digits in threes, as thousands are written; 0,125 is none."""
_PATTERN = re.compile(r"\s*(-?\d+(?:[.,]\d+)?|-?[.,]\d+)\s*([a-zA-Z\"″]*)\s*")


@dataclass(frozen=True, slots=True)
class Length:
    """A length exactly as it was typed: decimal value and unit (in, mm, cm, m)."""

    value: Decimal
    unit: str

    @property
    def mm(self) -> Fraction:
        """The length in millimetres, exact."""
        return Fraction(self.value) * _UNIT_IN_MM[self.unit]

    @property
    def inches(self) -> Fraction:
        """The length in inches, exact."""
        return self.mm / INCH_IN_MM

    def __str__(self) -> str:
        return f"{self.value:f}{self.unit}"  # never 1E-7, which no reader takes


def parse_length(text: str, *, field: str | None = None, positive: bool = True) -> Length:
    """Read ``8in``, ``203.2mm``, ``20,3 cm`` or ``0.6m``.

    A decimal comma is read as a point. Raises Refused for a bare number, an
    unknown unit, a comma that may stand between thousands and, unless
    ``positive`` is False, for zero or less.
    """
    name = field or "a length"
    match = _PATTERN.fullmatch(text)
    if match is None:
        raise Refused(
            f"{name}: {text!r} is not a length; write a number and a unit, for example 8in or 203.2mm.", field=field
        )
    number, unit = with_a_point(match[1], field=field, name=name), match[2].lower()
    unit = {'"': "in", "″": "in"}.get(unit, unit)
    if not unit:
        raise Refused(
            f"{name}: {text!r} has no unit; write in, mm, cm or m behind the number, for example {number}in.",
            field=field,
        )
    if unit not in _UNIT_IN_MM:
        raise Refused(f"{name}: the unit {unit!r} is not known; use in, mm, cm or m.", field=field)
    value = Decimal(number)
    if positive and value <= 0:
        raise Refused(f"{name}: {text!r} must be more than zero.", field=field)
    return Length(value, unit)


def with_a_point(text: str, *, field: str | None = None, name: str = "") -> str:
    """A number with a decimal comma as one with a point.

    Raises Refused for 1,234, which may be a thousand: a decimal or a whole
    number says the same without doubt. Nothing else is checked.
    """
    if "," in text and (found := grouped(text)):
        decimal, joined = text.replace(",", "."), re.sub("[.,]", "", text)
        ways = f"{decimal} or {joined}" if found[1] == "," and decimal.count(".") == 1 else "it without them"
        about = f"{name}: " if name else ""
        raise Refused(f"{about}{text!r} may have a mark between thousands; write {ways}.", field=field)
    return text.replace(",", ".")


def grouped(text: str) -> re.Match[str] | None:
    """Digits that stand in threes behind a mark, the mark as group 1; 1,440 may be 1.44 or a thousand and more."""
    return _GROUPED.fullmatch(text.strip())


def measured_in(unit: str, system: str) -> str:
    """The unit in which people of a system (mm or in) read what is measured in ``unit``; it stays if it has no twin."""
    for metric, (imperial, _) in _MEASURES.items():
        if unit in (metric, imperial):
            return metric if system == "mm" else imperial
    return unit


def converted(value: Decimal, unit: str, wanted: str) -> Decimal:
    """A measured value in its twin unit, rounded for reading: to a thousandth of an inch, a hundredth of a millimetre.

    Raises Refused where the two units measure different things.
    """
    if unit == wanted:
        return value
    for metric, (imperial, ratio) in _MEASURES.items():
        if {unit, wanted} == {metric, imperial}:
            exact = Fraction(value) / ratio if unit == metric else Fraction(value) * ratio
            places = _PLACES[wanted[:2]]
            found = Decimal(round(exact * 10**places)).scaleb(-places)
            return Decimal(f"{found.normalize():f}")  # 10, never 1E+1
    raise Refused(f"{unit!r} cannot be read as {wanted!r}.")
