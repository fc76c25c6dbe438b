"""What a line of a quote costs to make: sheets with waste, material at lot price, minutes at the hour's rate."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Reckoning:
    """Sheets to be used, what they cost, what the work costs; ``unpriced`` names what had no price on record."""

    sheets: int
    material: Decimal
    labour: Decimal
    unpriced: tuple[str, ...] = ()

    @property
    def whole(self) -> Decimal:
        """Material and work together."""
        return self.material + self.labour

    def each(self, quantity: int) -> Decimal:
        """What one piece must cost at least, rounded up to the cent."""
        return (self.whole / quantity).quantize(CENT, ROUND_CEILING)


def sheets_needed(quantity: int, *, waste_percent: Decimal) -> int:
    """One sheet for each piece, and the waste rounded up to whole sheets."""
    waste = (quantity * waste_percent / 100).to_integral_value(ROUND_CEILING)
    return quantity + int(waste)


def reckon(
    *,
    quantity: int,
    waste_percent: Decimal,
    minutes: Decimal,
    hourly_rate: Decimal | None,
    sheet_prices: Mapping[str, Decimal | None],
) -> Reckoning:
    """What ``quantity`` pieces cost. ``sheet_prices`` are the prices of one sheet of lens, paper, adhesive.

    A price that nobody wrote down counts as nothing and is named; ``minutes`` are for the whole line.
    """
    sheets = sheets_needed(quantity, waste_percent=waste_percent)
    known = [price for price in sheet_prices.values() if price is not None]
    unpriced = [name for name, price in sheet_prices.items() if price is None]
    if minutes and hourly_rate is None:
        unpriced.append("an hour's work")
    labour = (minutes / 60 * (hourly_rate or 0)).quantize(CENT, ROUND_HALF_UP)
    material = (sheets * sum(known, Decimal(0))).quantize(CENT, ROUND_HALF_UP)
    return Reckoning(sheets, material, labour, tuple(unpriced))
