"""Sheets and rolls that charts are laid on, with the printer's margins."""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from logbook.lengths import INCH_IN_MM, Length, parse_length
from logbook.refusals import Refused

DEFAULT_MARGIN = Length(Decimal(5), "mm")
_SHEETS = {
    "a4": ("210mm", "297mm"), "a3": ("297mm", "420mm"), "a2": ("420mm", "594mm"),
    "letter": ("8.5in", "11in"), "tabloid": ("11in", "17in"),
}
"""A sizes: ISO 216. Letter and tabloid: common practice of North America."""
_ROLL = re.compile(r"roll[ -](.+)")
_OWN = re.compile(r"(.+?[a-z\"])\s*[x×]\s*(.+)")


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet, or a roll where ``height`` is None (cut as long as needed), with one margin on all sides."""

    width: Length
    height: Length | None
    margin: Length

    @property
    def printable_width_in(self) -> Fraction:
        """Inches between the left and the right margin."""
        return self.width.inches - 2 * self.margin.inches

    @property
    def printable_height_in(self) -> Fraction | None:
        """Inches between the upper and the lower margin; None on a roll."""
        return None if self.height is None else self.height.inches - 2 * self.margin.inches


def parse_paper(words: str, *, margin: Length = DEFAULT_MARGIN, field: str = "paper") -> Paper:
    """Read ``a4``, ``letter``, ``roll 24in`` or an own size such as ``300mm x 400mm`` (width × height).

    Raises Refused for anything else and where the margins leave nothing to print on.
    """
    told = words.strip().lower()
    if told in _SHEETS:
        width, height = (parse_length(side) for side in _SHEETS[told])
        return _checked(Paper(width, height, margin), field=field)
    roll, own = _ROLL.fullmatch(told), _OWN.fullmatch(told)
    if roll:
        return _checked(Paper(parse_length(roll[1], field=field), None, margin), field=field)
    if own:
        width, height = (parse_length(side, field=field) for side in own.groups())
        return _checked(Paper(width, height, margin), field=field)
    raise Refused(f"{field}: {words!r} is not known; use {', '.join(_SHEETS)}, a roll such as roll 24in, or width x "
                  "height such as 300mm x 400mm.", field=field)


def millimetres(inches: Fraction) -> Length:
    """The length in whole hundredths of a millimetre, rounded down."""
    hundredths = inches * INCH_IN_MM * 100
    return Length(Decimal(hundredths.numerator // hundredths.denominator) / 100, "mm")


def _checked(paper: Paper, *, field: str) -> Paper:
    height = paper.printable_height_in
    if paper.margin.mm < 0:
        raise Refused(f"margin: {paper.margin} is less than nothing.", field="margin")
    if paper.printable_width_in <= 0 or (height is not None and height <= 0):
        raise Refused(f"{field}: margins of {paper.margin} leave nothing to print on.", field=field)
    return paper
