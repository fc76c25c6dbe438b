"""The readings of a pitch test as a picture: fringes over pitch, the fitted V through them, its tip the pitch."""

from dataclasses import dataclass

from markupsafe import Markup

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
