"""Several pieces on one lens sheet and one raster: each woven in the phase of the whole sheet, cut apart afterwards.

Phase zero is the border of raster dot 0, whatever the raster holds; a piece anywhere on the sheet takes up the
phase there, so that one lens laid over the sheet suits all of them, and none has to be registered by itself.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from logbook.engine.cutting import Box, Cut, cuts
from logbook.engine.interlace import Making, Progress, Result, Watched, make, silent
from logbook.engine.painter import Woven
from logbook.engine.phase import owners
from logbook.engine.plan import Plan
from logbook.engine.sheet import Piece
from logbook.engine.sources import Ground, Source, common_ground, inspect
from logbook.engine.weave import Weave
from logbook.refusals import Refused

MARK_GAP_MM, MARK_MM, MARK_THIN_MM = Fraction(1, 2), Fraction(5, 2), Fraction(15, 100)
ROOM_MM = Fraction(4)
"""Bare room around every printed piece; its trim marks lie in it."""


@dataclass(frozen=True)
class Laid:
    """One piece on a shared sheet. ``plan`` is its own, without waste; ``pictures`` are its PICTURE 1 … N among the
    sheet's pictures (0 …); ``at`` its printed picture's upper left dot in the sheet's printed area."""

    plan: Plan
    pictures: tuple[int, ...]
    at: tuple[int, int]


@dataclass(frozen=True)
class SharedPlan:
    """A sheet whose printed area is the room for the pieces, and what lies on it."""

    sheet: Plan
    laid: tuple[Laid, ...]

    def __post_init__(self) -> None:
        for one in self.laid:
            self._check(one)
        cuts(self.whole, self.trims)  # overlapping pieces, or such as no trimmer can part

    def _check(self, one: Laid) -> None:
        same = (one.plan.lpi, one.plan.dpi) == (self.sheet.lpi, self.sheet.dpi)
        if one.plan.flip != self.sheet.flip:
            raise Refused("A piece lies turned: its lenticules would run the other way. Only pieces that flip the "
                          "same way share a sheet.", field="flip")
        if not same or one.plan.waste is not None or one.plan.reversed_sheet != self.sheet.reversed_sheet:
            raise Refused("Pieces of one sheet have one pitch, one resolution and no marks of their own.", field="lpi")
        if one.at[0] < 0 or one.at[1] < 0 or any(
                at + dots > room for at, dots, room
                in zip(one.at, one.plan.printed.dots, self.sheet.printed.dots, strict=True)):
            raise Refused("A piece lies beyond the sheet.", field="at")

    @property
    def whole(self) -> Box:
        """The sheet's area for pieces, in dots of the finished raster."""
        left, top = self.sheet.margins[:2]
        return left, top, left + self.sheet.printed.dots[0], top + self.sheet.printed.dots[1]

    @property
    def trims(self) -> list[Box]:
        """The finished pieces on the finished raster, in order."""
        return [self._trim(one) for one in self.laid]

    def _trim(self, one: Laid) -> Box:
        (left, top), (x, y) = self.sheet.margins[:2], one.at
        found = one.plan.trim_dots
        return found[0] + left + x, found[1] + top + y, found[2] + left + x, found[3] + top + y

    @property
    def cuts(self) -> tuple[Cut, ...]:
        """How the sheet is cut apart."""
        return cuts(self.whole, self.trims)

    @property
    def used(self) -> Fraction:
        """The part of the sheet's area that the finished pieces take: what is left of it is waste."""
        wide, high = self.sheet.printed.dots
        return Fraction(sum((right - left) * (bottom - top) for left, top, right, bottom in self.trims), wide * high)

    def told(self) -> dict[str, Any]:
        """For the file's own story: every piece with its trimmed box."""
        return {"pieces": [{**{name: one.plan.told()[name] for name in ("pictures", "fit", "shares")},
                            "picture_numbers": [number + 1 for number in one.pictures], "trim_dots": list(trim)}
                           for one, trim in zip(self.laid, self.trims, strict=True)]}


def interlace_shared(plan: SharedPlan, picture_paths: Sequence[Path | str], out_path: Path | str, *,
                     progress: Progress | None = None, cancelled: Callable[[], bool] | None = None,
                     provenance: Mapping[str, str] | None = None, threads: int | None = None) -> Result:
    """Interlace a shared sheet into one file; the rest as ``interlace`` has it.

    ``picture_paths``: the pictures of all pieces, as their ``pictures`` number them.
    """
    if plan.sheet.reversed_sheet:
        raise Refused("A shared sheet is not mirrored as a whole yet: interlace its pieces by themselves.",
                      field="reversed_sheet")
    sources = tuple(inspect(path) for path in picture_paths)
    ground = common_ground(sources, backdrop=plan.sheet.backdrop)
    what = Making(Path(out_path), plan.sheet, sources, ground, {**plan.told(), **(provenance or {})})
    watched = Watched(progress or silent, cancelled or (lambda: False), threads)
    made = make(what, _woven(plan, ground, sources), watched, marks=_marks(plan))
    return replace(made, laid=tuple(plan.trims))


def _woven(plan: SharedPlan, ground: Ground, sources: Sequence[Source]) -> list[Woven]:
    known: dict[object, Weave] = {}
    found = []
    for one in plan.laid:
        start = plan.sheet.margins[0 if one.plan.across else 1] + one.at[0 if one.plan.across else 1]
        # copies in one line across the lens are woven alike
        key = (one.plan, one.pictures, start)
        if key not in known:
            known[key] = _weave(plan.sheet, one, ground, sources, start)
        left, top = plan.sheet.margins[:2]
        found.append(Woven(known[key], (left + one.at[0], top + one.at[1]), one.pictures))
    return found


def _weave(sheet: Plan, one: Laid, ground: Ground, sources: Sequence[Source], start: int) -> Weave:
    own = one.plan
    wide, high = own.printed.dots
    along = wide if own.across else high
    mine = owners(start + along, lpi=sheet.lpi, dpi=sheet.pitch_dpi, pictures=own.pictures, offset=sheet.offset,
                  shares=own.shares)[start:] - 1
    sizes = [sources[number].size for number in one.pictures]
    return Weave(own.placements(sizes), mine, own.across, np.arange(wide), np.arange(high), ground.paper, ground.bits)


def _marks(plan: SharedPlan) -> list[Piece]:
    """Eight thin lines around every piece, in line with its trimmed edges, in the bare room beyond its bleed."""
    found: list[Box] = []
    for one, trim in zip(plan.laid, plan.trims, strict=True):
        bleed, printed = one.plan.printed.bleed, plan.sheet.printed
        for axis in (0, 1):
            gap, long = (printed.to_dots(mm, 1 - axis) for mm in (MARK_GAP_MM, MARK_MM))
            thin = max(1, printed.to_dots(MARK_THIN_MM, axis))
            first, last = trim[1 - axis] - bleed[1 - axis], trim[3 - axis] + bleed[1 - axis]
            for edge in (trim[axis], trim[axis + 2]):
                for start in (first - gap - long, last + gap):
                    line = edge - thin // 2, start, edge - thin // 2 + thin, start + long
                    found.append(line if axis == 0 else (line[1], line[0], line[3], line[2]))
    return [_line(box) for box in (_within(plan.whole, box) for box in found) if box[0] < box[2] and box[1] < box[3]]


def _within(whole: Box, box: Box) -> Box:
    """A piece at the sheet's border may have no room for all of its marks."""
    return max(box[0], whole[0]), max(box[1], whole[1]), min(box[2], whole[2]), min(box[3], whole[3])


def _line(box: Box) -> Piece:
    left, top, right, bottom = box
    return Piece("trim mark", (left, top), np.zeros((bottom - top, right - left), dtype=np.uint8), mirrors=True)
