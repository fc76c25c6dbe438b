"""The plan of an interlaced print: every parameter exact, everything checked before anything is written."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from functools import cached_property
from typing import Any

import numpy as np

from logbook.engine.phase import dots_for, owners, parse_pitch
from logbook.engine.sheet import Printed, Waste, margins
from logbook.engine.weave import Placed
from logbook.lengths import Length
from logbook.refusals import Refused

FLIPS = ("left-right", "up-down")
FITS = ("crop", "pad", "stretch")
Shift = tuple[Fraction, Fraction]
"""How many dots of the print a picture is moved, to the right and down; parts of a dot are allowed."""
NO_SHIFT: Shift = (Fraction(0), Fraction(0))
FEWEST_PICTURES, MOST_PICTURES = 2, 60
SIDE_LIMIT = 200_000


@dataclass(frozen=True)
class Plan:
    """One interlaced print. Lengths are inches, exact; ``order`` names for PICTURE 1 … N which of the
    given pictures (1 …) stands there; ``shares`` are parts of a lenticule in picture order (None: equal)."""

    lpi: Decimal
    dpi: tuple[Fraction, Fraction]
    width_in: Fraction
    height_in: Fraction
    flip: str
    pictures: int
    fit: str = "crop"
    order: tuple[int, ...] = ()
    shares: tuple[Fraction, ...] | None = None
    offset: Fraction = Fraction(0)
    reversed_sheet: bool = False
    bleed_in: Fraction = Fraction(0)
    dots_per_lenticule: int | None = None
    compression: str = "none"
    backdrop: tuple[int, int, int] = (255, 255, 255)
    waste: Waste | None = None
    shifts: tuple[Shift, ...] = ()
    """One for each of the given pictures (1 …); none at all where nothing is moved."""

    @property
    def across(self) -> bool:
        """Whether the pitch axis runs across the raster (left-right flip)."""
        return self.flip == "left-right"

    @property
    def pitch_dpi(self) -> Fraction:
        """Dots per inch along the pitch axis."""
        return self.dpi[0] if self.across else self.dpi[1]

    @cached_property
    def printed(self) -> Printed:
        """The printed picture, bleed included."""
        bleed = tuple(dots_for(self.bleed_in, dpi) if self.bleed_in else 0 for dpi in self.dpi)
        dots = tuple(dots_for(size, dpi) + 2 * beyond for size, dpi, beyond
                     in zip((self.width_in, self.height_in), self.dpi, bleed, strict=True))
        return Printed((dots[0], dots[1]), (bleed[0], bleed[1]), self.dpi, self.across)

    @cached_property
    def margins(self) -> tuple[int, int, int, int]:
        """Dots of waste at the left, top, right, bottom, before any mirroring."""
        return margins(self.waste, self.printed) if self.waste else (0, 0, 0, 0)

    @cached_property
    def dots(self) -> tuple[int, int]:
        """The raster's dots across and down."""
        left, top, right, bottom = self.margins
        return left + self.printed.dots[0] + right, top + self.printed.dots[1] + bottom

    @cached_property
    def trim_dots(self) -> tuple[int, int, int, int]:
        """The finished piece in the finished raster: left, top, right, bottom, half-open."""
        left, top = (edge + bleed for edge, bleed in zip(self.margins[:2], self.printed.bleed, strict=True))
        right, bottom = (edge + dots - bleed for edge, dots, bleed
                         in zip(self.margins[:2], self.printed.dots, self.printed.bleed, strict=True))
        return (self.dots[0] - right, top, self.dots[0] - left, bottom) if self.reversed_sheet \
            else (left, top, right, bottom)

    @property
    def inches(self) -> tuple[Fraction, Fraction]:
        """The true size of the whole raster."""
        return Fraction(self.dots[0]) / self.dpi[0], Fraction(self.dots[1]) / self.dpi[1]

    @property
    def pitch_inches(self) -> Fraction:
        """The raster's length along the pitch axis."""
        return self.inches[0] if self.across else self.inches[1]

    def owners(self) -> np.ndarray:
        """For each dot along the pitch axis the PICTURE (0 … N-1) that owns it, before any mirroring."""
        count = self.dots[0] if self.across else self.dots[1]
        return owners(count, lpi=self.lpi, dpi=self.pitch_dpi, pictures=self.pictures, offset=self.offset,
                      shares=self.shares) - 1

    def place(self, size: tuple[int, int], *, shift: Shift = NO_SHIFT) -> Placed:
        """Where a picture of ``size`` (wide, high) lands in the printed picture under the plan's fit, moved by dots."""
        return placed(size, self.printed.dots, self.dpi, fit=self.fit, shift=shift)

    def placements(self, sizes: Sequence[tuple[int, int]]) -> list[Placed]:
        """Where PICTURE 1 … N land: their sizes in that order, each moved by its own shift."""
        shifts = [self.shifts[number - 1] for number in self.order] if self.shifts else [NO_SHIFT] * len(sizes)
        return [self.place(size, shift=shift) for size, shift in zip(sizes, shifts, strict=True)]

    def told(self) -> dict[str, Any]:
        """The plan as plain values for a file's own story; numbers that must stay exact are text."""
        return {
            "lpi": str(self.lpi), "dpi": [number_text(value) for value in self.dpi], "flip": self.flip,
            "pictures": self.pictures, "fit": self.fit, "order": list(self.order), "offset": str(self.offset),
            "shares": None if self.shares is None else [str(share) for share in self.shares],
            "reversed": self.reversed_sheet, "trim_dots": list(self.trim_dots),
            "dots_per_lenticule": self.dots_per_lenticule,
            # said only where there is one: files without shifts keep their bytes
            **({"shifts": [[str(dots) for dots in shift] for shift in self.shifts]} if self.shifts else {}),
        }


def placed(size: tuple[int, int], dots: tuple[int, int], dpi: tuple[Fraction, Fraction], *, fit: str,
           shift: Shift = NO_SHIFT) -> Placed:
    """Where a picture of ``size`` (wide, high) lands on ``dots`` (across, down) under a fit.

    ``shift`` moves it right and down by dots. Its source box moves exactly against it; where the
    picture has nothing to show there, whole dots stay bare. Raises Refused where nothing of it is left.
    """
    (wide, high), (right, bottom) = size, dots
    inches_wide, inches_high = right / dpi[0], bottom / dpi[1]
    across, down = Fraction(wide) / inches_wide, Fraction(high) / inches_high
    whole = (Fraction(0), Fraction(0), Fraction(wide), Fraction(high))
    if fit == "crop":
        density = min(across, down)
        left, top = (wide - density * inches_wide) / 2, (high - density * inches_high) / 2
        found = Placed(size, (left, top, wide - left, high - top), (0, 0, right, bottom))
    elif fit == "stretch":
        found = Placed(size, whole, (0, 0, right, bottom))
    else:
        density = max(across, down)
        filled = [min(limit, dots_for(Fraction(side) / density, one))
                  for side, one, limit in zip(size, dpi, dots, strict=True)]
        x, y = (right - filled[0]) // 2, (bottom - filled[1]) // 2
        found = Placed(size, whole, (x, y, x + filled[0], y + filled[1]))
    return found if shift == NO_SHIFT else _moved(found, dots, shift)


def _moved(found: Placed, dots: tuple[int, int], shift: Shift) -> Placed:
    (left, top, right, bottom), (x0, y0, x1, y1) = found.box, found.place
    across = _moved_axis((left, right), (x0, x1), length=found.size[0], dots=dots[0], by=shift[0])
    down = _moved_axis((top, bottom), (y0, y1), length=found.size[1], dots=dots[1], by=shift[1])
    return Placed(found.size, (across[0], down[0], across[1], down[1]), (across[2], down[2], across[3], down[3]))


def _moved_axis(box: tuple[Fraction, Fraction], place: tuple[int, int], *, length: int, dots: int,
                by: Fraction) -> tuple[Fraction, Fraction, int, int]:
    """Source from and to, first dot and the one after the last: all dots that the moved picture covers whole."""
    per_dot = (box[1] - box[0]) / (place[1] - place[0])
    origin = box[0] - (place[0] + by) * per_dot  # the source's place at dot 0
    first = max(0, math.ceil(-origin / per_dot))
    last = min(dots, math.floor((length - origin) / per_dot))
    if last <= first:
        raise Refused("shift: the picture is moved out of the print.", field="dx")
    return origin + first * per_dot, origin + last * per_dot, first, last


def number_text(value: Fraction) -> str:
    """An exact decimal where there is one, else a fraction."""
    places = 0
    while places <= 30 and (value * 10**places).denominator != 1:
        places += 1
    if places > 30:
        return str(value)
    return str((Decimal(int(value * 10**places)) / 10**places).normalize()) if places else str(value.numerator)


def parse_dpi(text: str) -> tuple[Fraction, Fraction]:
    """``720`` or ``1440x720`` (across x down), decimals allowed, as exact numbers."""
    parts = re.split(r"\s*[xX×]\s*", str(text).strip())
    if len(parts) > 2:
        raise Refused(f"dpi: {text!r} is not dots per inch; write 720 or 1440x720.", field="dpi")
    values = [Fraction(parse_pitch(part, field="dpi")) for part in parts]
    return values[0], values[-1]


def parse_shares(text: str) -> tuple[Fraction, ...]:
    """``60/40`` or ``3,2,1``: positive parts in picture order, scaled to a sum of one."""
    try:
        parts = [Fraction(Decimal(part.strip())) for part in re.split(r"[/,]", text)]
    except InvalidOperation:
        raise Refused(f"shares: {text!r} is not a list of numbers such as 60/40.", field="shares") from None
    if min(parts) <= 0:
        raise Refused("shares: every picture needs a share above zero.", field="shares")
    return tuple(part / sum(parts) for part in parts)


def make_plan(*, lpi: str | Decimal, width: Length, height: Length, flip: str, pictures: int,
              dpi: str | tuple[Fraction, Fraction] | None = None, dots_per_lenticule: int | None = None,
              dpi_down: str | None = None, fit: str = "crop", order: Sequence[int] | None = None,
              shares: str | Sequence[Fraction] | None = None, offset: str | Decimal | Fraction = "0",
              reversed_sheet: bool = False, bleed: Length | None = None, compression: str = "none",
              backdrop: tuple[int, int, int] = (255, 255, 255), waste: Waste | None = None,
              shifts: Sequence[Shift] | None = None) -> Plan:
    """Check everything that was asked and return the plan.

    ``dpi`` is ``"720"`` or ``"1440x720"``; instead of it the trade's whole-dot way
    takes ``dots_per_lenticule`` (dots per inch = that many times lpi). ``offset``
    is in lenticules. ``waste`` asks for marks, check bars, label around the print.
    Raises Refused with the field's name.
    """
    pitch = parse_pitch(lpi)
    _one_of(flip, FLIPS, "flip")
    _one_of(fit, FITS, "fit")
    _one_of(compression, ("none", "lzw", "deflate"), "compression")
    if not FEWEST_PICTURES <= pictures <= MOST_PICTURES:
        raise Refused(f"An interlaced print takes {FEWEST_PICTURES} to {MOST_PICTURES} pictures, not {pictures}.",
                      field="pictures")
    plan = Plan(
        lpi=pitch, dpi=_resolution(pitch, dpi=dpi, whole=dots_per_lenticule, down=dpi_down, flip=flip),
        width_in=_size(width, "width"), height_in=_size(height, "height"), flip=flip, pictures=pictures, fit=fit,
        order=_order(order, pictures), shares=_shares(shares, pictures), offset=_offset(offset),
        reversed_sheet=reversed_sheet, bleed_in=_bleed(bleed), dots_per_lenticule=dots_per_lenticule,
        compression=compression, backdrop=backdrop, waste=waste, shifts=_shifts(shifts, pictures))
    if max(plan.dots) > SIDE_LIMIT:
        raise Refused(f"The print would be {plan.dots[0]} × {plan.dots[1]} dots; the limit is {SIDE_LIMIT} a side: "
                      "make it smaller, or take fewer dots per inch.",
                      field="width" if plan.dots[0] > SIDE_LIMIT else "height")
    owners(1, lpi=pitch, dpi=plan.pitch_dpi, pictures=pictures, shares=plan.shares)
    return plan


def _one_of(value: str, allowed: Sequence[str], field: str) -> None:
    if value not in allowed:
        raise Refused(f"{field}: {value!r} is not known; use {', '.join(allowed[:-1])} or {allowed[-1]}.", field=field)


def _size(length: Length, field: str) -> Fraction:
    if length.inches <= 0:
        raise Refused(f"{field}: {length} must be more than zero.", field=field)
    return length.inches


def _bleed(length: Length | None) -> Fraction:
    if length is None:
        return Fraction(0)
    if length.inches < 0:
        raise Refused(f"bleed: {length} must not be less than zero.", field="bleed")
    return length.inches


def _resolution(lpi: Decimal, *, dpi: str | tuple[Fraction, Fraction] | None, whole: int | None, down: str | None,
                flip: str) -> tuple[Fraction, Fraction]:
    if (dpi is None) == (whole is None):
        raise Refused("Give either dots per inch or whole dots per lenticule, one of the two.", field="dpi")
    if dpi is not None:
        if down is not None:
            raise Refused("Dots per inch down belong to the whole-dot way; write 1440x720 instead.", field="dpi")
        return parse_dpi(dpi) if isinstance(dpi, str) else dpi
    if whole is None or whole < 2:
        raise Refused("Whole dots per lenticule: at least 2.", field="dots_per_lenticule")
    pitch_dpi = Fraction(lpi) * whole
    if down is None:
        return pitch_dpi, pitch_dpi
    if flip == "up-down":
        raise Refused("With up-down the whole dots lie down the sheet: leave the dots per inch down out.",
                      field="dpi_down")
    return pitch_dpi, Fraction(parse_pitch(down, field="dpi_down"))


def _order(order: Sequence[int] | None, pictures: int) -> tuple[int, ...]:
    wanted = tuple(order or range(1, pictures + 1))
    if sorted(wanted) != list(range(1, pictures + 1)):
        raise Refused(f"order: name each of the pictures 1 to {pictures} once, for example "
                      f"{','.join(str(number) for number in range(pictures, 0, -1))}.", field="order")
    return wanted


def _shares(shares: str | Sequence[Fraction] | None, pictures: int) -> tuple[Fraction, ...] | None:
    if shares is None:
        return None
    parts = parse_shares(shares) if isinstance(shares, str) else tuple(shares)
    if len(parts) != pictures:
        raise Refused(f"shares: {len(parts)} shares for {pictures} pictures; each picture needs one.", field="shares")
    if sum(parts) != 1 or min(parts) <= 0:
        raise Refused("shares: the parts of a lenticule must be above zero and add up to one.", field="shares")
    return parts


def _shifts(shifts: Sequence[Shift] | None, pictures: int) -> tuple[Shift, ...]:
    wanted = tuple(shifts or ())
    if wanted and len(wanted) != pictures:
        raise Refused(f"shifts: {len(wanted)} shifts for {pictures} pictures; each picture needs one.", field="shifts")
    return wanted if any(shift != NO_SHIFT for shift in wanted) else ()


def _offset(offset: str | Decimal | Fraction) -> Fraction:
    try:
        return offset if isinstance(offset, Fraction) else Fraction(Decimal(str(offset).strip().replace(",", ".")))
    except (InvalidOperation, ValueError, OverflowError):
        raise Refused(f"offset: {offset!r} is not a number of lenticules, for example 0.25.", field="offset") from None


