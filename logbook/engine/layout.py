"""Where several pieces lie on one sheet, so that a trimmer can cut all of them out from edge to edge.

The packing itself is rectpack's (guillotine methods; nothing is turned, since the lenticules give the direction).
Every piece keeps bare room on all sides: for its trim marks, and for a blade that wanders.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import rectpack

from logbook.engine.cutting import Box, cuts
from logbook.refusals import Refused

_METHODS = (
    rectpack.GuillotineBssfSas, rectpack.GuillotineBssfLas, rectpack.GuillotineBlsfSas, rectpack.GuillotineBafSas,
    rectpack.GuillotineBafLas, rectpack.GuillotineBssfMaxas,
)  # fmt: skip
_Wanted = list[tuple[int, int, int]]
"""Pieces as the packer sorts them: dots across and down, number."""


def _smallest(wanted: _Wanted) -> _Wanted:
    return sorted(wanted, key=lambda one: one[0] * one[1])


def _lowest(wanted: _Wanted) -> _Wanted:
    return sorted(wanted, key=lambda one: (one[1], one[0]))


def _narrowest(wanted: _Wanted) -> _Wanted:
    return sorted(wanted, key=lambda one: (one[0], one[1]))


# large pieces first pack densest; where not all fit, small ones first leave fewer over
_SORTED = (
    rectpack.SORT_AREA, rectpack.SORT_LSIDE, rectpack.SORT_SSIDE, rectpack.SORT_NONE, _smallest, _lowest, _narrowest,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Layout:
    """Upper left dots of the pieces in the order in which they were wanted; None where there was no room."""

    places: tuple[tuple[int, int] | None, ...]

    @property
    def left_over(self) -> int:
        """How many pieces found no room."""
        return sum(place is None for place in self.places)


def lay_out(sizes: Sequence[tuple[int, int]], *, area: tuple[int, int], room: tuple[int, int]) -> Layout:
    """Lay pieces of these ``sizes`` (dots across and down) into ``area`` with at least ``room`` around each.

    Of several methods the one that places most, then the one that leaves the longest free end. Raises Refused
    (field "width") where not one piece fits.
    """
    if not sizes:
        raise Refused("Choose at least one piece for the sheet.", field="copies")
    found = [_laid(sizes, area, room, method, order) for order in _SORTED for method in _METHODS]
    best = min((one for one in found if _can_be_cut(one, sizes, area)),
               key=lambda one: (one.left_over, _used(one, sizes)), default=None)
    if best is None or best.left_over == len(sizes):
        raise Refused("Not one of the pieces fits this sheet with room for its marks: take a larger sheet.",
                      field="width")
    return best


def _laid(sizes: Sequence[tuple[int, int]], area: tuple[int, int], room: tuple[int, int], method: type,
          order: object) -> Layout:
    packer = rectpack.newPacker(mode=rectpack.PackingMode.Offline, bin_algo=rectpack.PackingBin.BNF,
                                pack_algo=method, sort_algo=order, rotation=False)
    for number, (wide, high) in enumerate(sizes):
        packer.add_rect(wide + room[0], high + room[1], rid=number)
    if min(area[0] - room[0], area[1] - room[1]) > 0:
        packer.add_bin(area[0] - room[0], area[1] - room[1])
        packer.pack()
    at = {number: (x + room[0], y + room[1]) for _, x, y, _, _, number in packer.rect_list()}
    return Layout(tuple(at.get(number) for number in range(len(sizes))))


def _boxes(layout: Layout, sizes: Sequence[tuple[int, int]]) -> list[Box]:
    return [(place[0], place[1], place[0] + size[0], place[1] + size[1])
            for place, size in zip(layout.places, sizes, strict=True) if place]


def _can_be_cut(layout: Layout, sizes: Sequence[tuple[int, int]], area: tuple[int, int]) -> bool:
    try:
        cuts((0, 0, *area), _boxes(layout, sizes))
    except Refused:
        return False
    return True


def _used(layout: Layout, sizes: Sequence[tuple[int, int]]) -> tuple[int, int]:
    boxes = _boxes(layout, sizes)
    return max((box[3] for box in boxes), default=0), max((box[2] for box in boxes), default=0)
