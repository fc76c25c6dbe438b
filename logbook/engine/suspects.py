"""What to distrust in a set of readings, each in one sentence that a person can act on."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from logbook.engine.readings import READING_U, Reading

_FAR = 3 * READING_U
_NEAR_TWICE, _CLEARLY_MORE = 0.5, 0.75
_CAP = 1.0
_NOTABLE_OFFSET, _NOTABLE_SCATTER = 0.25, 2.0


@dataclass(frozen=True, slots=True)
class Doubled:
    """A count near twice what the other readings expect."""

    lpi: Decimal
    sentence: str


def doubled_counts(readings: Sequence[Reading], *, width_in: Fraction) -> tuple[Doubled, ...]:
    """Readings whose count is near twice what the majority's pitch expects.

    The majority's pitch is the one with the smallest capped sum of misses, so that
    a few doubled counts do not pull it.
    """
    counts, misses_of = _misses(readings, width=float(width_in))
    expected = min((misses_of(pitch) for pitch in _candidates(readings, width=float(width_in))),
                   key=lambda values: float(np.minimum(np.abs(counts - values), _CAP).sum()))
    found = []
    for reading, want in zip(readings, expected, strict=True):
        count = float(reading.fringes)
        if abs(count - 2 * want) <= _NEAR_TWICE and count - want > _CLEARLY_MORE:
            found.append(Doubled(reading.lpi, (
                f"Band {reading.lpi}: {reading.fringes} read where {want:.2f} is expected, about twice as many: "
                "dark and light bars counted separately?")))
    return tuple(found)


def all_doubled(readings: Sequence[Reading], *, width_in: Fraction) -> bool:
    """Whether half of every count would fit one pitch."""
    counts, misses_of = _misses(readings, width=float(width_in))
    pitches = _candidates(readings, width=2 * float(width_in))
    return any(float(np.sqrt(np.mean((counts / 2 - misses_of(pitch)) ** 2))) <= 2 * READING_U for pitch in pitches)


def strange_readings(residuals: Sequence[tuple[Decimal, float]], *, already: Sequence[Doubled]) -> tuple[str, ...]:
    """A sentence for every reading farther than three standard uncertainties from the fit."""
    named = {said.lpi for said in already}
    return tuple(f"Band {lpi}: {abs(miss):.2f} fringe {'more' if miss > 0 else 'less'} than the fit: count it again."
                 for lpi, miss in residuals if abs(miss) > _FAR and lpi not in named)


def offset_sentences(offset: float, u_offset: float | None) -> tuple[str, ...]:
    """A sentence where every count is off by the same part of a fringe."""
    if u_offset is None or abs(offset) < max(_NOTABLE_OFFSET, 3 * u_offset):
        return ()
    return (f"Every count is about {abs(offset):.2f} fringe too {'high' if offset > 0 else 'low'}: "
            "agree how the ends of a band are counted.",)


def scatter_sentences(scatter: float) -> tuple[str, ...]:
    """A sentence where the readings scatter far more than counting should."""
    if scatter < _NOTABLE_SCATTER:
        return ()
    return (f"The readings scatter {scatter:.1f} times more than counting to the quarter should: is the lens flat and "
            "square, and the head still?",)


def _misses(readings: Sequence[Reading], *, width: float) -> tuple[np.ndarray, Callable[[float], np.ndarray]]:
    pitches = np.array([float(reading.lpi) for reading in readings])
    counts = np.array([float(reading.fringes) for reading in readings])
    return counts, lambda pitch: np.abs(pitches - pitch) * width


def _candidates(readings: Sequence[Reading], *, width: float) -> list[float]:
    """Every pitch that would make one reading exact."""
    return [float(r.lpi) + side * float(r.fringes) / width for r in readings for side in (-1, 1)]
