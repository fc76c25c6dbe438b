"""The leak of light between two pictures, found by nulling, and what the ghosting model makes of it.

A patch of one picture carries, where the other has a mark, the tone that would cancel a leak of k per cent. Seen
through the lens the mark shows (b' - b)(c - k) / (1 - k): as a ghost while the true leak c is larger than k, reversed
once it is smaller. The middle between the last ghost and the first reversed mark is the leak, half their distance
its bound.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import product

import numpy as np

from logbook.engine.ghosting import Mixing, crosstalk
from logbook.engine.tone import Tone
from logbook.refusals import Refused

PATCHES = 16
"""Corrected for 0, 1 … 15 % of leak."""
_TOO_LITTLE = 1e-3
"""A modelled leak below this cannot be scaled up to a measured one."""


def balancing(own: float, leak: float, *, dark: bool) -> float:
    """The light that cancels a full mark of the other picture at ``leak``: own ∓ leak / (1 - leak)."""
    return own + leak / (1 - leak) if dark else own - leak / (1 - leak)


def balanced_leak(own: float, marked: float) -> float:
    """The leak at which the light ``marked``, on a field of ``own``, cancels a full mark of the other picture."""
    change = abs(own - marked)
    return change / (1 + change)


@dataclass(frozen=True, slots=True)
class Series:
    """One row of patches as it was printed: the field's level, and in each patch the level where the mark lies."""

    field: int
    marks: tuple[int, ...]

    def leaks(self, tone: Tone) -> tuple[float, ...]:
        """The leak that each patch really cancels, printed with this tone."""
        own = tone.light(self.field)
        return tuple(balanced_leak(own, tone.light(level)) for level in self.marks)


@dataclass(frozen=True, slots=True)
class Nulled:
    """A leak (0 … 1), half the distance of the two taps, and what half a step of the wedge would change."""

    leak: float
    bound: float
    tone_bound: float = 0.0


def nulled(series: Series, tone: Tone, *, shows: int | None, turned: int | None, wedge_step: float = 0.0) -> Nulled:
    """The leak between the last patch that ``shows`` the ghost and the first that shows it ``turned``.

    ``shows`` None: already the uncorrected patch shows none. ``wedge_step``: by what part neighbouring levels of the
    wedge differ. Raises Refused (fields "shows", "turned") where the taps cannot be.
    """
    if turned is None:
        raise Refused("The ghost is never reversed: more than 15 % leaks. Look at pitch, focus and the lens laid flat "
                      "before this is corrected.", field="turned")
    if turned == 0:
        raise Refused("Patch 0 is not corrected and cannot show the mark reversed.", field="turned")
    if shows is not None and turned <= shows:
        raise Refused(f"The mark shows reversed in patch {turned}, but as a ghost in patch {shows}: the reversed one "
                      "lies further right.", field="turned")
    leaks = _between(series.leaks(tone), shows, turned)
    middle = sum(leaks) / 2
    others = (_between(series.leaks(one), shows, turned) for one in _half_a_step_off(tone, wedge_step))
    return Nulled(middle, (leaks[1] - leaks[0]) / 2, max(abs(sum(other) / 2 - middle) for other in others))


def _between(leaks: Sequence[float], shows: int | None, turned: int) -> tuple[float, float]:
    return 0.0 if shows is None else leaks[shows], leaks[turned]


def _half_a_step_off(tone: Tone, step: float) -> list[Tone]:
    """The tone with every match half a step lighter or darker."""
    off = [Decimal(1), Decimal(1 + step / 2), Decimal(1 - step / 2)] if step else [Decimal(1)]
    levels = (tone.eighth, tone.quarter, tone.half)
    return [Tone(*(level * by for level, by in zip(levels, one, strict=True))) for one in product(off, repeat=3)]


def joined(light: Nulled, dark: Nulled) -> Nulled:
    """One leak from light and dark marks: the mean; its bound is the larger, or half of what the two differ by."""
    apart = abs(light.leak - dark.leak) / 2
    return Nulled((light.leak + dark.leak) / 2, max(light.bound, dark.bound, apart),
                  max(light.tone_bound, dark.tone_bound))


def agree(light: Nulled, dark: Nulled) -> bool:
    """Whether light and dark marks may have one leak, within both bounds."""
    allowed = light.bound + dark.bound + light.tone_bound + dark.tone_bound
    return abs(light.leak - dark.leak) <= allowed


def as_measured(mixing: Mixing, *, into_first: float, into_last: float) -> Mixing:
    """The same mixing, its leaks scaled so that two pictures, looked at from their middles, leak what was measured.

    ``into_first``: the share of PICTURE 2 in PICTURE 1, ``into_last`` the other way. The lens then lies in its place,
    as it does when a leak is measured: the head seeks it.
    """
    plain = replace(mixing, registration=0.0, gains=(1.0, 1.0))
    modelled = crosstalk(plain, pictures=2)
    if min(modelled[0, 1], modelled[1, 0]) < _TOO_LITTLE:
        mixing = replace(mixing, floor=min(0.9, max(mixing.floor, into_first + into_last, 2 * _TOO_LITTLE)))
        modelled = crosstalk(replace(mixing, registration=0.0, gains=(1.0, 1.0)), pictures=2)
    return replace(mixing, gains=(into_first / float(modelled[0, 1]), into_last / float(modelled[1, 0])))


def measured_matrix(mixing: Mixing, *, pictures: int) -> np.ndarray:
    """What leaks into what when the lens lies in its place: the matrix that a correction undoes."""
    return crosstalk(replace(mixing, registration=0.0), pictures=pictures)
