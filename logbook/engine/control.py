"""Control charts: whether a row of numbers still comes from one steady process.

Individuals chart and exponentially weighted moving average as in the NIST/SEMATECH e-Handbook of Statistical Methods,
6.3.2.2 and 6.3.2.4; and the chart of fitted pitches, whose limits come from the readings' known uncertainty and the
measured scatter between prints.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logbook.refusals import Refused

D2_OF_TWO = 2 / math.sqrt(math.pi)
"""Expected range of two normal values over their standard deviation, 1.128."""
SIGMAS = 3.0
PRINTS_BEFORE_LIMITS = 20


@dataclass(frozen=True, slots=True)
class Limits:
    """Centre line and control limits; ``outside`` are the positions of points beyond them."""

    centre: float
    lower: float
    upper: float
    outside: tuple[int, ...]


def individuals(values: Sequence[float]) -> Limits:
    """Mean ± 3·(mean moving range)/d₂(2). Raises Refused for fewer than two values."""
    if len(values) < 2:
        raise Refused("A control chart of individuals needs at least two values.")
    array = np.asarray(values, dtype=float)
    centre, spread = float(array.mean()), float(np.abs(np.diff(array)).mean()) / D2_OF_TWO
    lower, upper = centre - SIGMAS * spread, centre + SIGMAS * spread
    return Limits(centre, lower, upper, tuple(np.flatnonzero((array < lower) | (array > upper)).tolist()))


def smoothed(values: Sequence[float], *, start: float, weight: float) -> list[float]:
    """The exponentially weighted moving average after each value: weight·value + (1 − weight)·what was before."""
    averages, before = [], start
    for value in values:
        before = weight * value + (1 - weight) * before
        averages.append(before)
    return averages


def smoothed_limits(values: Sequence[float], *, start: float, sigma: float, weight: float = 0.3) -> Limits:
    """Limits of the moving average in the long run, start ± 3·σ·√(weight/(2 − weight)).

    Raises Refused for a weight outside 0 to 1.
    """
    if not 0 < weight <= 1:
        raise Refused("weight: the newest value's weight lies above 0 and up to 1.", field="weight")
    reach = SIGMAS * sigma * math.sqrt(weight / (2 - weight))
    averages = smoothed(values, start=start, weight=weight)
    outside = tuple(at for at, average in enumerate(averages) if abs(average - start) > reach)
    return Limits(start, start - reach, start + reach, outside)


@dataclass(frozen=True, slots=True)
class PitchRun:
    """Fitted pitches in the order of printing. Until 20 prints exist ``centre`` and limits are None: a plain run.

    ``between_u`` is the measured scatter between prints beside what reading explains; ``lower`` and ``upper`` are
    limits point by point, because every reading has its own uncertainty.
    """

    pitches: tuple[float, ...]
    centre: float | None
    between_u: float | None
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    outside: tuple[int, ...]


def pitch_run(pitches: Sequence[float], *, u_pitches: Sequence[float]) -> PitchRun:
    """The run of fitted pitches, all converted to one distance, with limits once 20 prints exist.

    Centre and scatter come from the first 20, so that later drift does not widen its own limits. The variance between
    prints is that of the pitches less the mean of the readings' variances, never below zero.
    """
    if len(pitches) != len(u_pitches):
        raise Refused("Every pitch of a run needs its own uncertainty.")
    values = tuple(float(pitch) for pitch in pitches)
    if len(values) < PRINTS_BEFORE_LIMITS:
        return PitchRun(values, None, None, (), (), ())
    base, base_u = np.array(values[:PRINTS_BEFORE_LIMITS]), np.array(u_pitches[:PRINTS_BEFORE_LIMITS], dtype=float)
    between = max(0.0, float(base.var(ddof=1)) - float(np.mean(base_u**2)))
    weights = 1 / (between + base_u**2)
    centre = float(np.sum(weights * base) / np.sum(weights))
    reach = SIGMAS * np.sqrt(between + np.array(u_pitches, dtype=float) ** 2)
    outside = tuple(np.flatnonzero(np.abs(np.array(values) - centre) > reach).tolist())
    return PitchRun(values, centre, math.sqrt(between), tuple((centre - reach).tolist()),
                    tuple((centre + reach).tolist()), outside)
