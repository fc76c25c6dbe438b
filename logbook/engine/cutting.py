"""How a sheet is cut apart on a trimmer: every cut runs through one part from edge to edge, and through no piece.

Cuts follow the trimmed edges of the pieces. The next one is that which frees most edges at once, so that edges in
one line are cut together, while the part is large.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from logbook.refusals import Refused

Box = tuple[int, int, int, int]
"""Half-open box in dots: left, top, right, bottom."""
ACROSS, DOWN = "across", "down"


@dataclass(frozen=True, slots=True)
class Cut:
    """One cut: the way it runs, where (dots from the raster's left or top edge), and the part that it cuts in two.

    ``pieces`` are those on the part (0 …, as they were given); ``before`` and ``after`` those on its two sides.
    """

    number: int
    way: str
    at: int
    part: Box
    pieces: tuple[int, ...]
    before: tuple[int, ...]
    after: tuple[int, ...]

    @property
    def from_edges(self) -> tuple[int, int]:
        """Dots from the part's left and right edge; of a cut that runs across, from its upper and lower edge."""
        axis = 0 if self.way == DOWN else 1
        return self.at - self.part[axis], self.part[axis + 2] - self.at


def cuts(sheet: Box, pieces: Sequence[Box]) -> tuple[Cut, ...]:
    """The cuts that free every piece from the sheet, in the order of the work.

    Raises Refused where pieces overlap, or lie so that no cut from edge to edge can part them.
    """
    found: list[Cut] = []
    waiting: list[tuple[Box, tuple[int, ...]]] = [(sheet, tuple(range(len(pieces))))]
    while waiting:
        part, on_it = waiting.pop()
        if not on_it or (len(on_it) == 1 and pieces[on_it[0]] == part):
            continue
        way, at = _next(part, [pieces[one] for one in on_it])
        axis = 0 if way == DOWN else 1
        before = tuple(one for one in on_it if pieces[one][axis + 2] <= at)
        after = tuple(one for one in on_it if pieces[one][axis] >= at)
        found.append(Cut(len(found) + 1, way, at, part, on_it, before, after))
        first, second = _halves(part, axis, at)
        waiting += [(second, after), (first, before)]
    return tuple(found)


def _halves(part: Box, axis: int, at: int) -> tuple[Box, Box]:
    left, top, right, bottom = part
    return ((left, top, at, bottom), (at, top, right, bottom)) if axis == 0 else \
        ((left, top, right, at), (left, at, right, bottom))


def _next(part: Box, boxes: Sequence[Box]) -> tuple[str, int]:
    """The line that frees most edges; among equals the one that only takes waste off, then the first."""
    lines = []
    for axis, way in ((0, DOWN), (1, ACROSS)):
        for at in sorted({edge for box in boxes for edge in box[axis::2]}):
            if part[axis] < at < part[axis + 2] and not any(box[axis] < at < box[axis + 2] for box in boxes):
                freed = sum(at in box[axis::2] for box in boxes)
                parts = any(box[axis + 2] <= at for box in boxes) and any(box[axis] >= at for box in boxes)
                lines.append((-freed, parts, axis, at, way))
    if not lines:
        raise Refused("These pieces lie so that no cut from edge to edge parts them: lay them out anew.")
    *_, at, way = min(lines)
    return way, at
