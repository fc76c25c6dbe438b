"""The readings of a pitch test as a picture: fringes over pitch, the fitted V through them, its tip the pitch."""

from dataclasses import dataclass

from markupsafe import Markup

from logbook.actions.strips import Course
from logbook.engine.fit import Fit

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 640, 260, 46, 14, 16, 40


@dataclass(frozen=True, slots=True)
class _Scale:
    low: float
    high: float
    most: float

    def x(self, lpi: float) -> float:
        return LEFT + (lpi - self.low) / (self.high - self.low) * (WIDTH - LEFT - RIGHT)

    def y(self, fringes: float) -> float:
        return HEIGHT - BOTTOM - fringes / self.most * (HEIGHT - TOP - BOTTOM)


def drawing(fit: Fit) -> Markup:
    """An inline SVG with its words as title and description."""
    pitches = [float(reading.lpi) for reading in fit.residuals] + [float(fit.lpi)]
    margin = (max(pitches) - min(pitches)) * 0.06 or 0.05
    scale = _Scale(
        min(pitches) - margin, max(pitches) + margin, max([1.0, *(float(r.fringes) for r in fit.residuals)]) * 1.1
    )
    tip, width = float(fit.lpi), float(fit.width_in)
    arms = [(lpi, abs(lpi - tip) * width + fit.offset_fringes) for lpi in (scale.low, tip, scale.high)]
    line = " ".join(f"{scale.x(lpi):.1f},{max(TOP, scale.y(fringes)):.1f}" for lpi, fringes in arms)
    dots = Markup("").join(
        _dot(scale, float(r.lpi), float(r.fringes), f"{r.reader}: {r.fringes} at {r.lpi}") for r in fit.residuals
    )
    return Markup(
        '<svg class="vee" viewBox="0 0 {w} {h}" role="img" aria-label="{label}">'
        '<line class="axis" x1="{left}" y1="{floor}" x2="{right}" y2="{floor}"/>{ticks}'
        '<polyline class="arms" points="{line}"/>{dots}'
        '<line class="tip" x1="{tip:.1f}" y1="{top}" x2="{tip:.1f}" y2="{floor}"/>'
        '<text x="{tip:.1f}" y="{below}" text-anchor="middle" class="found">{lpi}</text>'
        '<text x="{left}" y="{top}" class="name">fringes</text></svg>'
    ).format(
        w=WIDTH,
        h=HEIGHT,
        left=LEFT,
        right=WIDTH - RIGHT,
        floor=HEIGHT - BOTTOM,
        top=TOP,
        below=HEIGHT - 6,
        line=line,
        dots=dots,
        tip=scale.x(tip),
        lpi=f"{fit.lpi} lines per inch",
        ticks=_ticks(scale),
        label=f"{len(fit.residuals)} readings; the fitted pitch is {fit.lpi} lines per inch, ± {fit.u_lpi:.4f}",
    )


def _dot(scale: _Scale, lpi: float, fringes: float, words: str) -> Markup:
    return Markup('<circle cx="{:.1f}" cy="{:.1f}" r="5"><title>{}</title></circle>').format(
        scale.x(lpi), scale.y(fringes), words
    )


def _ticks(scale: _Scale) -> Markup:
    marks = [
        Markup('<text x="{:.0f}" y="{:.1f}" text-anchor="end" class="tick">{}</text>').format(
            LEFT - 6, scale.y(value) + 4, value
        )
        for value in range(0, int(scale.most) + 1, max(1, int(scale.most) // 5))
    ]
    ends = [
        Markup('<text x="{:.1f}" y="{}" text-anchor="{}" class="tick">{:.3f}</text>').format(
            scale.x(value), HEIGHT - 24, anchor, value
        )
        for value, anchor in ((scale.low, "start"), (scale.high, "end"))
    ]
    return Markup("").join([*marks, *ends])


def course(found: Course, on_record: float) -> Markup:
    """Fitted pitches print after print, with limits where there are enough, and the pitch on record as a line."""
    if not found.lpi:
        return Markup("")
    edges = [*found.lpi, *found.run.lower, *found.run.upper, on_record]
    margin = (max(edges) - min(edges)) * 0.1 or 0.01
    scale = _Scale(-0.5, len(found.lpi) - 0.5, max(edges) - min(edges) + 2 * margin)
    base = min(edges) - margin

    def y(lpi: float) -> float:
        return scale.y(lpi - base)

    dots = Markup("").join(
        Markup('<circle class="{}" cx="{:.1f}" cy="{:.1f}" r="4"><title>{}</title></circle>').format(
            "out" if number in found.run.outside else "in", scale.x(number), y(lpi), f"{point.sheet.number}: {lpi:.4f}"
        )
        for number, (lpi, point) in enumerate(zip(found.lpi, found.points, strict=True))
    )
    limits = Markup("").join(
        _line(scale, [y(value) for value in row]) for row in (found.run.lower, found.run.upper) if row
    )
    return Markup(
        '<svg class="vee" viewBox="0 0 {w} {h}" role="img" aria-label="{label}">'
        '<line class="tip" x1="{left}" y1="{record:.1f}" x2="{right}" y2="{record:.1f}"/>{limits}{dots}'
        '<text x="{left}" y="{words:.1f}" class="tick">{on_record} on record</text></svg>'
    ).format(
        w=WIDTH,
        h=HEIGHT,
        left=LEFT,
        right=WIDTH - RIGHT,
        record=y(on_record),
        words=y(on_record) - 4,
        limits=limits,
        dots=dots,
        on_record=f"{on_record:.4f}",
        label=f"{len(found.lpi)} strips from {min(found.lpi):.4f} to {max(found.lpi):.4f} lines per inch",
    )


def _line(scale: _Scale, heights: list[float]) -> Markup:
    points = " ".join(f"{scale.x(number):.1f},{height:.1f}" for number, height in enumerate(heights))
    return Markup('<polyline class="limit" points="{}"/>').format(points)
