"""Small plots drawn on the server: bars by month, dots by day. Words say what the picture shows."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from markupsafe import Markup

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 640, 220, 52, 12, 18, 34
LETTER = 15
"""Room for a digit beside the axis, as wide as the page writes it on a telephone."""


def bars(values: Sequence[tuple[str, Decimal | None]], *, label: str, most: Decimal | None = None) -> Markup:
    """One bar for each name, from zero to ``most`` (the largest value where it is not given); none for None."""
    top = most or max((value for _, value in values if value is not None), default=Decimal(0)) or Decimal(1)
    left = _beside(str(top))
    step = (WIDTH - left - RIGHT) / max(1, len(values))
    drawn = Markup("").join(_bar(left + step * index, step, one, top) for index, one in enumerate(values))
    every = max(1, -(-len(values) // 6))
    names = Markup("").join(
        _under(left + step * (index + 0.5), name)
        for index, (name, _) in enumerate(values)
        if index % every == 0
    )
    sides = _text(left - 6, TOP + 4, "end", top) + _text(left - 6, _floor(), "end", 0)
    return _frame(drawn + names + sides, label, left)


def _under(x: float, name: str) -> Markup:
    """A name in the middle under its bar, and within the picture."""
    half = LETTER * len(name) / 2
    return _text(x, HEIGHT - 14, "middle", name) if x + half < WIDTH else _text(WIDTH - 2, HEIGHT - 14, "end", name)


def _beside(widest: str) -> int:
    """Where the axis begins, so that no number beside it loses a digit."""
    return max(LEFT, LETTER * len(widest) + 8)


def _bar(left: float, step: float, one: tuple[str, Decimal | None], top: Decimal) -> Markup:
    name, value = one
    if value is None:
        return Markup("")
    high = float(value / top) * (_floor() - TOP)
    return Markup(
        '<rect class="bar" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}"><title>{}</title></rect>'
    ).format(left + step * 0.15, _floor() - high, step * 0.7, high, f"{name}: {value}")


def dots(points: Sequence[tuple[date, Decimal, str]], *, label: str) -> Markup:
    """A dot for each value on its day, with words of its own; the axis runs from the least to the most."""
    days, values = [day for day, _, _ in points], [float(value) for _, value, _ in points]
    first, last, low, high = min(days), max(days), min(values), max(values)
    span, rise = max(1, (last - first).days), (high - low) or 1.0
    left = _beside(f"{high:.4f}")

    def at(day: date, value: float) -> tuple[float, float]:
        share = (day - first).days / span
        return left + 8 + share * (WIDTH - left - RIGHT - 16), _floor() - 8 - (value - low) / rise * (
            _floor() - TOP - 16
        )

    drawn = Markup("").join(
        Markup('<circle class="in" cx="{:.1f}" cy="{:.1f}" r="4"><title>{}</title></circle>').format(
            *at(day, float(value)), words
        )
        for day, value, words in points
    )
    ends = _text(left + 8, HEIGHT - 14, "start", first) + (
        _text(WIDTH - RIGHT, HEIGHT - 14, "end", last) if span else ""
    )
    sides = _text(left - 6, TOP + 12, "end", f"{high:.4f}") + _text(left - 6, _floor() - 4, "end", f"{low:.4f}")
    return _frame(drawn + ends + sides, label, left)


def _floor() -> int:
    return HEIGHT - BOTTOM


def _text(x: float, y: float, anchor: str, words: object) -> Markup:
    return Markup('<text x="{:.1f}" y="{:.1f}" text-anchor="{}" class="tick">{}</text>').format(x, y, anchor, words)


def _frame(inside: Markup, label: str, left: int) -> Markup:
    return Markup(
        '<svg class="vee" viewBox="0 0 {} {}" role="img" aria-label="{}">'
        '<line class="axis" x1="{}" y1="{}" x2="{}" y2="{}"/>{}</svg>'
    ).format(WIDTH, HEIGHT, label, left, _floor(), WIDTH - RIGHT, _floor(), inside)
