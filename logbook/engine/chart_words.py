"""What a pitch chart says to the person who prints and reads it."""

from collections.abc import Sequence
from decimal import Decimal

from logbook.engine.lettering import UNBROKEN
from logbook.engine.resolution import Resolution, text
from logbook.lengths import Length

CONDITIONS = (
    "Date ____________   Read by ________________   Second reader ________________",
    "Lens lot ________________   Printer and mode ____________________   Paper and lot ________________",
    "Room ______ °C   ______ % humidity   Eye to lens ______   Lens lying loose / mounted (strike out one)",
    "Long scale measured: across ________ mm   down ________ mm",
)
_HOW_TO_COUNT = (
    "How to count: lay the lens on the box, grooves up, pressed flat; turn it until the fringes of the two narrow bars "
    "at the ends of the box stand in line: then it is square. One eye, head still, at the distance you note.",
    "One fringe = one dark and one light bar together. Write for each band how many fringes it shows over its whole "
    "length, to the nearest quarter. A band of one even tone is solid: write 0.",
)
_MIDDLE = "Black lines run along both sides of the middle band."
HOW_TO_FIND_THE_SPOT = (
    "How to read: lay the lens on the box below the scale, grooves up, pressed flat and square to it. Keep one eye at "
    "the distance you note and move your head a little from side to side: the fringes run; left and right of one spot "
    "they run in opposite directions, and the spot itself stands still. It may be black, white or grey.",
    "Write the number of the scale above the still spot: ____________ lines per inch. It is the centre of the next "
    "chart and does not replace it.",
)


def axis_words(*, flip: str, mirrored: bool) -> str:
    """Which printer axis a chart answers for, and whether its lens box is mirrored."""
    axis = "across" if flip == "left-right" else "down"
    back = " Printed on the back of the lens: lens box mirrored." if mirrored else ""
    return f"{flip}: tests the printer's axis {axis} the page and answers for no other.{back}"


def printing_words(*, dpi: Resolution, length: Length) -> str:
    """How to print a chart so that its dots stay what they are."""
    return (f"{text(dpi[0])} by {text(dpi[1])} dots per inch, bands {length} long. Print at 100 %, best quality, no "
            "fitting to the page, no sharpening, borderless off.")


def how_to_count(*, middle: bool) -> tuple[str, ...]:
    """How fringes are counted; ``middle``: the chart's middle is marked on this page."""
    lens, counting = _HOW_TO_COUNT
    return lens, f"{counting} {_MIDDLE}" if middle else counting


def bands_words(pitches: Sequence[Decimal], *, flip: str, mirrored: bool, first_number: int,
                middle: tuple[int, ...]) -> tuple[str, ...]:
    """The bands' numbers and pitches in their order on the page.

    Bands that lie above one another have no number beside them: nothing stands at the sides of the lens box. They
    are listed as they lie above, between and below the two black lines around the middle (places 0 …, none where it
    lies on another page).
    """
    told = [f"{number}:{UNBROKEN}{text(pitch)}" for number, pitch in enumerate(pitches, start=first_number)]
    if flip != "left-right":
        order = "right to left" if mirrored else "left to right"
        return (f"Bands {order}, lines per inch:   {'   '.join(told)}",)
    head = "Bands, lines per inch (the narrow bars at both ends do not count):"
    if not middle:
        return head, f"From the top down:   {'   '.join(told)}"
    first, last = middle[0], middle[-1] + 1
    parts = {"Above the two black lines, from the top down": told[:first], "Between the black lines": told[first:last],
             "Below them, on downwards": told[last:]}
    return (head, *(f"{where}:   {'   '.join(part)}" for where, part in parts.items() if part))
