"""One pitch from all readings of a chart: value, standard uncertainty, what to distrust, what to print next.

A band of pitch p shows |p − p*|·W fringes over its length W (in the printer's inches) where p* is the pitch that
the lens needs: a V with known slope whose tip is wanted. Which bands lie on which side of the tip is not known
beforehand; every division is solved by weighted linear least squares, and the smallest χ² wins.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from logbook.engine import suspects
from logbook.engine.chart import fine_step
from logbook.engine.least_squares import Solution, solve
from logbook.engine.readings import Reading, Spot
from logbook.engine.resolution import number
from logbook.refusals import Refused

FIT_DECIMALS = 4
GOOD_ENOUGH_LENTICULES = 0.1
"""A fit serves where twice its uncertainty moves the print's ends by at most this much."""
_INNER_SHARE, _FINE_BANDS, _COARSE_BANDS = 0.6, 21, 11
_COARSE_STEP, _SURE_SIGMAS = Decimal("0.1"), 2.5
"""A fine chart reaches ten steps to either side; a pitch not known to 2.5 u within that needs a coarse one first."""
_LEAST_BANDS_FOR_OFFSET, _LEAST_BANDS_A_SIDE = 5, 2
"""With one band on a side, an offset is that band's count alone and cannot be told from a pitch beyond the bands."""
_LARGEST_RMS, _SECOND_MINIMUM_CHI2, _SECOND_MINIMUM_SIGMAS = 0.5, 4.0, 3.0
_TIE_CHI2 = 1e-6
_FEWEST_FOR_A_SLIP = 4
_USUAL_DPI = Fraction(720)


@dataclass(frozen=True, slots=True)
class Residual:
    """One reading against the fit, in fringes; ``residual`` is read minus expected."""

    lpi: Decimal
    fringes: Decimal
    expected: float
    residual: float
    reader: str | None


@dataclass(frozen=True, slots=True)
class NextChart:
    """The chart to print next."""

    centre_lpi: Decimal
    step_lpi: Decimal
    bands: int


@dataclass(frozen=True, slots=True)
class Fit:
    """The pitch that fits all readings, with its standard uncertainty (k = 1).

    ``offset_fringes`` is a common counting offset, fitted with at least five bands
    of which two lie on each side of the pitch, and zero otherwise. ``next_chart`` is None where the
    pitch is good enough for a print of this width.
    """

    lpi: Decimal
    u_lpi: float
    width_in: Fraction
    rms_fringes: float
    chi2: float
    degrees: int
    offset_fringes: float
    u_offset_fringes: float | None
    residuals: tuple[Residual, ...]
    suspects: tuple[str, ...]
    next_chart: NextChart | None

    @property
    def u_lenticules(self) -> float:
        """The standard uncertainty end to end over the readings' width."""
        return self.u_lpi * float(self.width_in)


@dataclass(frozen=True, slots=True)
class _Problem:
    """Readings as arrays: pitches relative to ``origin``, all lengths in fringes over ``width``."""

    origin: Decimal
    width: float
    pitches: np.ndarray
    counts: np.ndarray
    u_counts: np.ndarray
    spots: np.ndarray
    u_spots: np.ndarray

    @property
    def bands(self) -> np.ndarray:
        return np.unique(self.pitches)


@dataclass(frozen=True, slots=True)
class _Minimum:
    pitch: float
    solution: Solution
    with_offset: bool

    @property
    def u(self) -> float:
        return float(np.sqrt(self.solution.covariance[0, 0])) * max(1.0, self.solution.scatter)


def fit_readings(readings: Sequence[Reading], *, width_in: Fraction, spots: Sequence[Spot] = (),
                 dpi: Fraction = _USUAL_DPI) -> Fit:
    """Fit one pitch to counted bands and named spots over bands ``width_in`` long.

    ``dpi`` (along the pitch axis) only limits the step of the next chart. The uncertainty is that of the least
    squares solution, enlarged where the readings scatter more than one reading should: 0.161/(W√m)·max(1, √(χ²/ν))
    for m readings lying evenly about the pitch. Raises Refused for fewer than two bands (and no spot), for readings
    that fit no pitch (root mean square above half a fringe) and for readings that fit two.
    """
    if width_in <= 0:
        raise Refused("width: the bands' length must be more than zero.", field="width")
    problem = _problem(readings, spots, width=float(width_in))
    minima = _minima(problem)
    best = minima[0]
    named = suspects.doubled_counts(readings, width_in=width_in) if readings else ()
    pitch = _middle_of_ties(minima)
    residuals = _residuals(readings, best, problem, pitch=pitch)
    rms = float(np.sqrt(np.mean([r.residual**2 for r in residuals]))) if residuals else 0.0
    if rms > _LARGEST_RMS:
        _refuse_misfit(readings, spots, rms=rms, width_in=width_in, named=named)
    _refuse_two_pitches(minima, problem)
    lpi = round(problem.origin + Decimal(pitch), FIT_DECIMALS)
    offset = float(best.solution.parameters[1]) if best.with_offset else 0.0
    u_offset = float(np.sqrt(best.solution.covariance[1, 1])) if best.with_offset else None
    strange = suspects.strange_readings([(r.lpi, r.residual) for r in residuals], already=named)
    return Fit(
        lpi=lpi, u_lpi=best.u, width_in=width_in, rms_fringes=rms, chi2=best.solution.chi2,
        degrees=best.solution.degrees, offset_fringes=offset, u_offset_fringes=u_offset, residuals=residuals,
        suspects=(*(said.sentence for said in named), *strange, *suspects.offset_sentences(offset, u_offset),
                  *suspects.scatter_sentences(best.solution.scatter), *_outside(lpi, readings)),
        next_chart=_next_chart(lpi, best.u, readings, width_in=width_in, dpi=dpi))


def readers_agree(first: Fit, second: Fit, *, print_width_in: Fraction) -> bool:
    """Whether two readers' fits agree: within the larger of 0.15 lenticule over this print and three joint u."""
    apart = abs(float(first.lpi - second.lpi)) * float(print_width_in)
    joint = float(np.hypot(first.u_lpi, second.u_lpi)) * float(print_width_in)
    return apart <= max(0.15, 3 * joint)


def as_json(fit: Fit) -> dict[str, object]:
    """The fit as a JSON object: numbers in lines per inch and fringes."""
    following = fit.next_chart and {"centre_lpi": number(fit.next_chart.centre_lpi),
                                    "step_lpi": number(fit.next_chart.step_lpi), "bands": fit.next_chart.bands}
    return {
        "lpi": number(fit.lpi), "u_lpi": round(fit.u_lpi, 6), "u_lenticules": round(fit.u_lenticules, 4),
        "rms_fringes": round(fit.rms_fringes, 4), "chi2": round(fit.chi2, 4), "degrees_of_freedom": fit.degrees,
        "offset_fringes": round(fit.offset_fringes, 4), "next": following, "suspects": list(fit.suspects),
        "residuals": [{"lpi": number(r.lpi), "fringes": number(r.fringes), "expected": round(r.expected, 4),
                       "residual": round(r.residual, 4), "reader": r.reader} for r in fit.residuals],
    }


def _problem(readings: Sequence[Reading], spots: Sequence[Spot], *, width: float) -> _Problem:
    if len({reading.lpi for reading in readings}) < 2 and not spots:
        raise Refused("At least two different bands must be read: one alone cannot say on which side the pitch lies.")
    places = [reading.lpi for reading in readings] + [spot.lpi for spot in spots]
    origin = min(places)
    return _Problem(
        origin=origin, width=width, pitches=np.array([float(r.lpi - origin) for r in readings]),
        counts=np.array([float(r.fringes) for r in readings]), u_counts=np.array([r.u_fringes for r in readings]),
        spots=np.array([float(s.lpi - origin) for s in spots]), u_spots=np.array([s.u_lpi * width for s in spots]))


def _minima(problem: _Problem) -> list[_Minimum]:
    """All local minima of χ² over the pitch, the smallest first: inside a gap between two bands, or at a band.

    At a band χ² has a kink; it is a minimum there where the solutions of both neighbouring gaps point at it.
    """
    bands = problem.bands
    gaps = list(zip([-np.inf, *bands], [*bands, np.inf], strict=True))
    free = [_free(problem, low=low, high=high) for low, high in gaps]
    found = [m for m, (low, high) in zip(free, gaps, strict=True) if low <= m.pitch <= high]
    for band, before, behind in zip(bands, free, free[1:], strict=False):
        if before.pitch > band > behind.pitch:
            held = (_held(problem, minimum, band=float(band)) for minimum in (before, behind))
            found.append(min(held, key=lambda minimum: minimum.solution.chi2))
    return sorted(found, key=lambda minimum: minimum.solution.chi2)


def _free(problem: _Problem, *, low: float, high: float) -> _Minimum:
    """The least squares solution for the tip between two neighbouring bands, wherever it then falls."""
    fewer = min(int(np.count_nonzero(side)) for side in (problem.bands <= low, problem.bands >= high))
    with_offset = len(problem.bands) >= _LEAST_BANDS_FOR_OFFSET and fewer >= _LEAST_BANDS_A_SIDE
    design, target, u = _equations(problem, np.where(problem.pitches >= high, 1.0, -1.0), with_offset=with_offset)
    solution = solve(design, target, u=u)
    return _Minimum(float(solution.parameters[0]), solution, with_offset)


def _held(problem: _Problem, free: _Minimum, *, band: float) -> _Minimum:
    """The free solution with its tip held at a band and only the offset fitted."""
    side = np.where(problem.pitches > band, 1.0, -1.0)
    design, target, u = _equations(problem, side, with_offset=free.with_offset)
    rest = target - design[:, 0] * band
    others = solve(design[:, 1:], rest, u=u) if free.with_offset else None
    residuals = others.residuals if others else rest
    parameters = np.concatenate([[band], others.parameters if others else []])
    solution = Solution(parameters=parameters, covariance=free.solution.covariance, residuals=residuals,
                        chi2=float(np.sum((residuals / u) ** 2)), degrees=free.solution.degrees)
    return _Minimum(band, solution, free.with_offset)


def _equations(problem: _Problem, side: np.ndarray, *, with_offset: bool) \
        -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Design, target and uncertainties for the bands' sides of the tip.

    y = s·(p − p*)·W + c, written with p* and c on one side: s·p·W − y = s·W·p* − c.
    """
    width = problem.width
    design = np.concatenate([side * width, np.full(len(problem.spots), width)])[:, None]
    target = np.concatenate([side * width * problem.pitches - problem.counts, width * problem.spots])
    if with_offset:
        offset = np.concatenate([np.full(len(side), -1.0), np.zeros(len(problem.spots))])
        design = np.column_stack([design, offset])
    return design, target, np.concatenate([problem.u_counts, problem.u_spots])


def _middle_of_ties(minima: Sequence[_Minimum]) -> float:
    """The best pitch; the middle where readings lying evenly about a band fit equally well on both of its sides."""
    best = minima[0]
    tied = [m.pitch for m in minima if m.solution.chi2 - best.solution.chi2 < _TIE_CHI2
            and abs(m.pitch - best.pitch) <= _SECOND_MINIMUM_SIGMAS * best.u]
    return float(np.mean(tied))


def _residuals(readings: Sequence[Reading], best: _Minimum, problem: _Problem, *, pitch: float) \
        -> tuple[Residual, ...]:
    offset = float(best.solution.parameters[1]) if best.with_offset else 0.0
    expected = np.abs(problem.pitches - pitch) * problem.width + offset
    return tuple(Residual(r.lpi, r.fringes, float(e), float(r.fringes) - float(e), r.reader)
                 for r, e in zip(readings, expected, strict=True))


def _refuse_misfit(readings: Sequence[Reading], spots: Sequence[Spot], *, rms: float, width_in: Fraction,
                   named: Sequence[suspects.Doubled]) -> None:
    if suspects.all_doubled(readings, width_in=width_in):
        raise Refused("The counts are about twice what one pitch can give: dark and light bars counted separately? "
                      "One fringe is one dark and one light bar together.")
    why = " ".join(said.sentence for said in named) or _one_slip(readings, spots, width=float(width_in)) \
        or "Is the width right, and was every band counted over all of it?"
    raise Refused(f"The readings fit no pitch: they miss the best one by {rms:.2f} fringe (root mean square). {why}")


def _one_slip(readings: Sequence[Reading], spots: Sequence[Spot], *, width: float) -> str:
    """The one count without which the others fit, if there is just one such."""
    found = []
    for at, left_out in enumerate(readings if len(readings) >= _FEWEST_FOR_A_SLIP else ()):
        rest = [*readings[:at], *readings[at + 1:]]
        problem = _problem(rest, spots, width=width)
        best = _minima(problem)[0]
        off = [one.residual for one in _residuals(rest, best, problem, pitch=best.pitch)]
        if float(np.sqrt(np.mean(np.square(off)))) <= _LARGEST_RMS:
            found.append((left_out, float(problem.origin) + best.pitch))
    if len(found) != 1:
        return ""
    (slip, pitch), = found
    return (f"Without the {slip.fringes} counted at {slip.lpi} lines per inch the others fit {pitch:.3f}: "
            "read that band again.")


def _refuse_two_pitches(minima: Sequence[_Minimum], problem: _Problem) -> None:
    best = minima[0]
    for other in minima[1:]:
        far = abs(other.pitch - best.pitch) > _SECOND_MINIMUM_SIGMAS * best.u
        if far and other.solution.chi2 - best.solution.chi2 < _SECOND_MINIMUM_CHI2:
            first, second = (float(problem.origin) + m.pitch for m in (best, other))
            raise Refused(f"The readings fit two pitches, {first:.3f} and {second:.3f} lines per inch: read more "
                          "bands.")


def _outside(lpi: Decimal, readings: Sequence[Reading]) -> tuple[str, ...]:
    pitches = [reading.lpi for reading in readings]
    if not pitches or min(pitches) <= lpi <= max(pitches):
        return ()
    return (f"The pitch lies outside the tested {min(pitches)} to {max(pitches)} lines per inch: print the next "
            "chart.",)


def _next_chart(lpi: Decimal, u_lpi: float, readings: Sequence[Reading], *, width_in: Fraction,
                dpi: Fraction) -> NextChart | None:
    pitches = sorted({reading.lpi for reading in readings})
    half = (pitches[-1] - pitches[0]) / 2 if pitches else Decimal(0)
    away = abs(lpi - (pitches[0] + half)) if pitches else Decimal(1)
    good = 2 * u_lpi * float(width_in) <= GOOD_ENOUGH_LENTICULES
    if good and float(away) <= _INNER_SHARE * float(half):
        return None
    step, bands = fine_step(lpi=lpi, dpi=dpi, width_in=width_in), _FINE_BANDS
    if len(pitches) > 1 and away > half:
        step = max(step, min(high - low for low, high in itertools.pairwise(pitches)))
        bands = _COARSE_BANDS
    elif _SURE_SIGMAS * u_lpi > float(step) * (_FINE_BANDS // 2):
        step, bands = max(step, _COARSE_STEP), _COARSE_BANDS
    return NextChart(centre_lpi=round(lpi / step) * step, step_lpi=step, bands=bands)
