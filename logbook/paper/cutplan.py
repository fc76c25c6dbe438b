"""The cut plan of a shared sheet: a drawing with numbered cuts, and a table with their distances."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from logbook.paper.render import Address, asset_address, render
from logbook.paper.traveller import imprint_line
from logbook.paper.views import Imprint

WIDE = 640
"""Units of the drawing's longer side."""
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Drawn:
    """What is drawn, in any unit of length: the sheet's area, pieces with their names, cuts as number and line."""

    area: Box
    pieces: tuple[tuple[str, Box], ...]
    cuts: tuple[tuple[int, Box], ...] = ()


@dataclass(frozen=True, slots=True)
class CutRow:
    """One cut in words: the serials on the part that is cut, the way, both distances from its edges."""

    number: int
    part: str
    way: str
    near: str
    far: str


@dataclass(frozen=True, slots=True)
class CutPlan:
    """A sheet's cut plan. ``pieces`` pair a serial with its job, artwork and finished size."""

    imprint: Imprint
    sheet: str
    address: str
    lens: str
    area: str
    used: str
    drawing: Markup
    pieces: tuple[tuple[str, str, str], ...]
    cuts: tuple[CutRow, ...]
    offcut: str = ""
    """The narrowest strip that falls off, where it is too narrow to hold."""


def drawing(what: Drawn) -> Markup:
    """An inline SVG: pieces with their names, cuts as dashed lines with their numbers at their beginning.

    What it needs to be read is in its own attributes: a writer of PDF does not ask a style sheet about them.
    """
    left, top, right, bottom = what.area
    scale = WIDE / max(right - left, bottom - top)

    def at(box: Sequence[float]) -> list[float]:
        return [round((value - (left, top)[number % 2]) * scale, 1) for number, value in enumerate(box)]

    wide, high = (right - left) * scale, (bottom - top) * scale
    pieces = Markup("").join(_piece(name, at(box)) for name, box in what.pieces)
    cuts = Markup("").join(_cut(number, at(line)) for number, line in what.cuts)
    words = f"{len(what.pieces)} pieces on the sheet" + (f", {len(what.cuts)} cuts" if what.cuts else "")
    return Markup(
        '<svg class="cut-plan" viewBox="-24 -24 {w:.0f} {h:.0f}" role="img" aria-label="{words}">'
        '<rect class="area" width="{wide:.1f}" height="{high:.1f}" fill="none" stroke="#777"/>{pieces}{cuts}</svg>'
    ).format(w=wide + 48, h=high + 48, words=words, wide=wide, high=high, pieces=pieces, cuts=cuts)


def _piece(name: str, box: Sequence[float]) -> Markup:
    left, top, right, bottom = box
    size = max(8.0, min(20.0, (right - left) / max(4, len(name)) * 1.5))
    return Markup(
        '<rect class="piece" x="{x}" y="{y}" width="{w:.1f}" height="{h:.1f}" fill="#eee" stroke="#111"/>'
        '<text x="{mx:.1f}" y="{my:.1f}" text-anchor="middle" font-size="{size:.0f}">{name}</text>'
    ).format(x=left, y=top, w=right - left, h=bottom - top, mx=(left + right) / 2, my=(top + bottom) / 2 + size / 3,
             size=size, name=name)  # fmt: skip


def _cut(number: int, line: Sequence[float]) -> Markup:
    x, y, to_x, to_y = line
    down = x == to_x
    return Markup(
        '<line class="cut" x1="{x}" y1="{y}" x2="{tx}" y2="{ty}" stroke="#111" stroke-dasharray="6 4"/>'
        '<text class="at-cut" x="{nx:.1f}" y="{ny:.1f}" text-anchor="middle" font-size="16" font-weight="bold">'
        "{number}</text>"
    ).format(x=x, y=y, tx=to_x, ty=to_y, nx=x if down else x - 11, ny=y - 4 if down else y + 5.5, number=number)


def cut_plan_html(view: CutPlan, *, page: str = "A4", address: Address = asset_address) -> str:
    """The cut plan of one shared sheet."""
    return render("cut-plan.html", title=f"Cut plan {view.sheet}", page=page, address=address, view=view,
                  imprint=imprint_line(view.imprint))  # fmt: skip
