"""Drawings made for one print: how the lens lies, which edge goes in first, which way the picture flips.

All are our own, simple and without colour, so that they read in grey. Words
stand beside them in the template, never in the drawing alone.
"""

from markupsafe import Markup, escape

_INK = "#222"
_PALE = "#ddd"
_RIDGES = 10
_EDGES = {"top": 0, "right": 90, "bottom": 180, "left": 270}


def _svg(width: int, height: int, label: str, body: str) -> Markup:
    return Markup(  # noqa: S704 - the body holds numbers and fixed words only
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'aria-label="{escape(label)}">{body}</svg>'
    )


def _line(x1: float, y1: float, x2: float, y2: float, width: float = 1.5) -> str:
    return f'<path d="M{x1:g} {y1:g}L{x2:g} {y2:g}" stroke="{_INK}" stroke-width="{width:g}" stroke-linecap="round"/>'


def _arrow(x1: float, y1: float, x2: float, y2: float, width: float = 2) -> str:
    back_x, back_y = (x1 > x2) - (x1 < x2), (y1 > y2) - (y1 < y2)
    wings = "".join(
        _line(x2, y2, x2 + 5 * back_x + 4 * side * (back_x == 0), y2 + 5 * back_y + 4 * side * (back_y == 0), width)
        for side in (-1, 1))
    return _line(x1, y1, x2, y2, width) + wings


def _grooves(x: float, y: float, width: float, *, up: bool) -> str:
    """The ribbed face of a lens sheet in cross-section, ribs up or down, over its straight back."""
    step = width / _RIDGES
    rise = -4 if up else 4
    ribs = "".join(f"q{step / 2:g} {2 * rise:g} {step:g} 0" for _ in range(_RIDGES))
    back = y + (7 if up else -7)
    return f'<path d="M{x:g} {y:g}{ribs}L{x + width:g} {back:g}L{x:g} {back:g}Z" fill="#fff" stroke="{_INK}"/>'


def _layer(x: float, y: float, width: float, height: float, fill: str) -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" fill="{fill}" stroke="{_INK}"/>'


def register() -> Markup:
    """Cross-section while registering: print on the table, lens on it, grooves up, an eye above."""
    eye = (f'<path d="M46 9q14 -10 28 0q-14 10 -28 0z" fill="#fff" stroke="{_INK}"/>'
           f'<circle cx="60" cy="9" r="3.4" fill="{_INK}"/>')
    body = eye + _arrow(60, 18, 60, 27) + _grooves(15, 38, 90, up=True) + _layer(15, 45, 90, 4, _INK)
    return _svg(120, 62, "Lens on the print, grooves up, seen from above", body + _line(5, 55, 115, 55, 2.5))


def bond() -> Markup:
    """Cross-section while bonding: grooves down, back of the print up, entering two rollers."""
    rollers = "".join(f'<circle cx="100" cy="{y}" r="14" fill="{_PALE}" stroke="{_INK}" stroke-width="1.5"/>'
                      for y in (14, 50))
    sheet = _layer(6, 26, 80, 3, _INK) + _grooves(6, 36, 80, up=False)
    return _svg(120, 66, "Grooves down, back of the print up, leading edge into the rollers",
                rollers + sheet + _arrow(30, 17, 62, 17))


def feed(flip: str, leading_edge: str) -> Markup:
    """The sheet as seen upright with its lens lines, and the edge that enters the rollers first."""
    upright = flip == "left-right"
    lines = "".join(_line(25 + n * 7, 30, 25 + n * 7, 80, .7) if upright
                    else _line(25, 30 + n * 7.14, 74, 30 + n * 7.14, .7) for n in range(8))
    sheet = _layer(25, 30, 49.5, 50, "#fff") + lines
    mark = f'<path d="M49.5 34l6 9h-12z" fill="{_INK}"/>'
    label = f"Lens lines run {'up and down' if upright else 'across'}; {leading_edge or 'an'} edge first"
    return _svg(100, 110, label, sheet + mark + _nip(leading_edge))


def _nip(edge: str) -> str:
    if edge not in _EDGES:
        return ""
    roller = f'<rect x="17" y="12" width="66" height="9" rx="4.5" fill="{_PALE}" stroke="{_INK}"/>'
    turned = roller + _line(25, 27, 74, 27, 4) + _arrow(12, 60, 12, 32, 2.4)
    return f'<g transform="rotate({_EDGES[edge]} 49.5 55)">{turned}</g>'


def flip_arrow(flip: str) -> Markup:
    """Two-headed arrow in the direction in which the picture flips."""
    if flip == "left-right":
        return _svg(60, 30, "Flips left to right", _arrow(30, 15, 54, 15, 3) + _arrow(30, 15, 6, 15, 3))
    return _svg(30, 60, "Flips up and down", _arrow(15, 30, 15, 54, 3) + _arrow(15, 30, 15, 6, 3))


def alert() -> Markup:
    """The alert symbol beside a signal word, in the colour of the words around it."""
    return Markup('<svg class="alert" viewBox="0 0 24 22" aria-hidden="true"><path d="M12 1.5L23 20.5H1Z" fill="#000" '
                  'stroke="#000" stroke-linejoin="round"/><path d="M12 7.5V13.5" stroke="#fff" stroke-width="2.6" '
                  'stroke-linecap="round"/><circle cx="12" cy="17" r="1.6" fill="#fff"/></svg>')
