"""A table on which somebody works through a plan of cuts; written without the packing and without the planning."""

from collections.abc import Iterable

from logbook.engine.cutting import DOWN, Cut

Box = tuple[int, int, int, int]


def cut_up(sheet: Box, plan_of_cuts: Iterable[Cut]) -> set[Box]:
    """What lies on the table in the end. Fails where a cut is not from edge to edge of a part that is there."""
    table = {sheet}
    for cut in plan_of_cuts:
        left, top, right, bottom = cut.part
        table.remove(cut.part)
        first, last = cut.from_edges
        assert min(first, last) > 0
        table |= (
            {(left, top, left + first, bottom), (right - last, top, right, bottom)}
            if cut.way == DOWN
            else {(left, top, right, top + first), (left, bottom - last, right, bottom)}
        )
    return table
