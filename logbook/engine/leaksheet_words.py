"""What a leak sheet says to the person who prints and reads it."""

from collections.abc import Sequence
from decimal import Decimal

import numpy as np

from logbook.engine.lettering import draw_line, width_in_heights
from logbook.engine.resolution import Resolution, text
from logbook.lengths import INCH_IN_MM

_NUMBER_MM = 2.6

BELOW = (
    "Under the lens: lay it on the box, grooves up, pressed flat; one eye. Move your head until the bar at the top is "
    "evenly dark and the one at the bottom evenly light: PICTURE 1. There read the first two rows. The other way "
    "round it is PICTURE 2: there read the last two.",
    "The rows are numbered beside the box. In rows 1 and 3 the ghost is a light square, in rows 2 and 4 a dark one; "
    "reversed it is the other way round. Find in each row the last patch in which the ghost still shows and the first "
    "in which it shows reversed.",
    "Without the lens, from 3 m or more: in each row of greys find the one that looks like the dots above and below.",
    "Date ____________   Read by ________________   Lens ________________   Printer and paper ____________________",
)


def above(*, lpi: Decimal, dpi: Resolution, flip: str) -> tuple[str, ...]:
    """What stands above the lens box."""
    return (f"Leak sheet, {flip}, {text(lpi)} lines per inch: how much of one picture is seen in the other.",
            f"{text(dpi[0])} by {text(dpi[1])} dots per inch. Print at 100 %, as the pictures are printed, no fitting "
            "to the page, no sharpening.",
            "Each patch is corrected for the per cent of leak above it; the square is what the other picture leaks.")


def draw_numbers(raster: np.ndarray, middles: Sequence[int], *, bottom: int, dpi: Resolution) -> None:
    """Number the greys 1 … from the left, just above row ``bottom``."""
    across, down = (round(float(one / INCH_IN_MM) * _NUMBER_MM) for one in dpi)
    for order, middle in enumerate(middles, start=1):
        wide = round(width_in_heights(str(order)) * across)
        draw_line(str(order), raster, left=middle - wide // 2, top=bottom - round(1.4 * down), height=(across, down))


def number_rows(raster: np.ndarray, middles: Sequence[int], *, left: int, right: int, dpi: Resolution) -> None:
    """Number the rows of patches 1 … from the top, on both sides of the lens box."""
    across, down = (round(float(one / INCH_IN_MM) * _NUMBER_MM) for one in dpi)
    for order, middle in enumerate(middles, start=1):
        wide, aside = round(width_in_heights(str(order)) * across), across // 4
        for start in (left - aside - wide, right + aside):
            draw_line(str(order), raster, left=start, top=middle - down // 2, height=(across, down))
