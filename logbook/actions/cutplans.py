"""The cut plan of a shared sheet, gathered from its run's recipe and its serials."""

from fractions import Fraction

from sqlalchemy.orm import Session

from logbook.actions import recipes
from logbook.actions.finding import by_code
from logbook.actions.smallpapers import Desk, imprint
from logbook.engine.cutting import DOWN, Cut
from logbook.engine.plan import Plan
from logbook.engine.sharedsheet import SharedPlan
from logbook.lengths import INCH_IN_MM
from logbook.manner import Manner
from logbook.paper.cutplan import CutPlan, CutRow, Drawn, drawing
from logbook.records.floor import Run, Sheet
from logbook.records.orders import Job
from logbook.refusals import Refused

NARROW_MM = 20
"""Common practice, no source: what is narrower is not held by hand beside a blade."""


def plan_of(run: Run | None) -> SharedPlan | None:
    """How the pieces of a run lie; None where it carries one piece alone."""
    return recipes.shared_plan_of(recipes.load(run.recipe)) if run is not None else None


def drawn(plan: SharedPlan, names: tuple[str, ...], *, cuts: bool = True) -> Drawn:
    """The sheet in millimetres, as it is printed."""
    mm = _Scale(plan.sheet)
    lines = [(cut.number, _line(cut)) for cut in plan.cuts] if cuts else []
    return Drawn(
        mm.box(plan.whole),
        tuple((name, mm.box(box)) for name, box in zip(names, plan.trims, strict=True)),
        tuple((number, mm.box(line)) for number, line in lines),
    )


def _line(cut: Cut) -> tuple[int, int, int, int]:
    left, top, right, bottom = cut.part
    return (cut.at, top, cut.at, bottom) if cut.way == DOWN else (left, cut.at, right, cut.at)


class _Scale:
    """Dots of a raster as millimetres."""

    def __init__(self, plan: Plan) -> None:
        self._per_dot = [INCH_IN_MM / dpi for dpi in plan.dpi]

    def of(self, dots: int, axis: int) -> Fraction:
        return dots * self._per_dot[axis]

    def box(self, box: tuple[int, int, int, int]) -> tuple[float, float, float, float]:
        left, top, right, bottom = (float(self.of(dots, number % 2)) for number, dots in enumerate(box))
        return left, top, right, bottom


def cut_plan(session: Session, desk: Desk, code: str) -> CutPlan:
    """The cut plan of a sheet. Raises Refused where one piece lies on it alone."""
    sheet = by_code(session, Sheet, code)
    plan = plan_of(sheet.run)
    if plan is None:
        raise Refused(f"Sheet {sheet.number} carries one piece: it is trimmed at its marks, and needs no cut plan.")
    serials = tuple(piece.serial for piece in sheet.prints)
    mm, write = _Scale(plan.sheet), desk.manner
    wide, high = (mm.of(dots, axis) for axis, dots in enumerate(plan.sheet.printed.dots))
    return CutPlan(
        imprint=imprint(session, desk),
        sheet=sheet.number,
        address=f"{desk.address}go/{sheet.code}",
        lens=f"{sheet.lens_lot.material.name}, {sheet.lens_lot.label}",
        area=write.on_paper(wide, high),
        used=f"{round(100 * plan.used)} %",
        drawing=drawing(drawn(plan, serials)),
        pieces=tuple((piece.serial, piece.job.artwork, _finished(piece.job, write)) for piece in sheet.prints),
        cuts=tuple(_row(cut, serials, mm, write) for cut in plan.cuts),
        offcut=_offcut(plan.cuts, mm, write),
    )


def _finished(job: Job, write: Manner) -> str:
    return write.on_paper(job.width.mm, job.height.mm)


def _row(cut: Cut, serials: tuple[str, ...], mm: _Scale, write: Manner) -> CutRow:
    axis = 0 if cut.way == DOWN else 1
    near, far = (write.on_paper(mm.of(dots, axis)) for dots in cut.from_edges)
    part = "all pieces" if len(cut.pieces) == len(serials) else ", ".join(serials[one] for one in cut.pieces)
    return CutRow(cut.number, part, "up and down" if cut.way == DOWN else "from left to right", near, far)


def _offcut(cuts: tuple[Cut, ...], mm: _Scale, write: Manner) -> str:
    """Said where something narrow is cut off or a piece is narrow itself."""
    narrowest = min(mm.of(min(cut.from_edges), 0 if cut.way == DOWN else 1) for cut in cuts)
    if narrowest >= NARROW_MM:
        return ""
    told = write.on_paper(narrowest)
    return f"The narrowest strip that falls off is {told}: the hold-down lies on the piece, and nobody holds the strip."
