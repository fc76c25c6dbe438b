"""The demo's own pictures: drawn here, the same every time, nothing from elsewhere.

Pairs and series for lenticular prints: what does not move stands at the same dots in every picture of a series.
"""

from collections.abc import Callable, Sequence
from functools import partial

from close_ups import fox, watch
from seascapes import harbour, lighthouse
from skies import kite, moon

Series = Sequence[tuple[str, Callable[[], bytes]]]
"""File names, and what draws each file."""

LIGHTHOUSE: Series = (
    ("lighthouse-day.jpg", partial(lighthouse, night=False)),
    ("lighthouse-night.jpg", partial(lighthouse, night=True)),
)
MOONS: Series = tuple((f"moon-{phase + 1}.jpg", partial(moon, phase=phase)) for phase in range(4))
KITE: Series = (("kite-low.jpg", partial(kite, high=False)), ("kite-high.jpg", partial(kite, high=True)))
FOX: Series = (("fox-asleep.jpg", partial(fox, awake=False)), ("fox-awake.jpg", partial(fox, awake=True)))
HARBOUR: Series = (
    ("harbour-tide-in.jpg", partial(harbour, tide_in=True)),
    ("harbour-tide-out.jpg", partial(harbour, tide_in=False)),
)
WATCH: Series = (("watch-closed.png", partial(watch, opened=False)), ("watch-open.png", partial(watch, opened=True)))
