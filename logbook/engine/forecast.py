"""The pitch of a pairing that nobody tested, from the tests of other pairings, with what is not known of it.

ln p = ln L(lens lot) − α(T − 23 °C) + ln s(printer, mode, paper, axis) − ln(1 + T/D) + sheet + day + reading

is one linear equation for each test, adjusted over all of them at once by least squares as surveyors adjust a network.
Tests tie lens lots to printers; inside what is tied together only the products L·s are measured. How a product is
split into L and s is fixed by weak prior knowledge alone, and says nothing about either.

Sources: least squares with observed unknowns, redundancy numbers and the test of single residuals |w| > 3.29 (0.1 %)
are W. Baarda's ("A testing procedure for use in geodetic networks", 1968; from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

SUSPECT = 3.29
"""A standardized residual beyond this is named: by chance once in a thousand good tests."""
LEAST_REDUNDANCY = 0.1
"""Below it a test determines its own unknowns: an error of it would not show."""
SAME_DAY, SHEET = 1.5e-4, 1.0e-4
"""What a printer's scale differs by from day to day and from sheet to sheet: shop defaults without a source."""


@dataclass(frozen=True, slots=True)
class Prior:
    """Weak knowledge before any test, as standard uncertainties of logarithms."""

    lens: float = 0.005
    scale: float = 0.0005
    mode_or_paper: float = 0.0005


@dataclass(frozen=True, slots=True)
class Pairing:
    """What a pitch belongs to. ``printer`` names a printer between two events that changed its scale."""

    lens_lot: str
    nominal_lpi: float
    printer: str
    mode: str
    paper: str
    axis: str

    @property
    def scale(self) -> str:
        """The printer's own scale along one axis."""
        return f"{self.printer} {self.axis}"

    @property
    def unknowns(self) -> tuple[str, str, str, str]:
        """Names of the four unknowns that a pitch of this pairing is made of."""
        return (f"lens {self.lens_lot}", f"scale {self.scale}", f"mode {self.mode} {self.axis}",
                f"paper {self.paper} {self.axis}")


@dataclass(frozen=True, slots=True)
class Observed:
    """One test: ln of its pitch at 23 °C seen from infinitely far, its standard uncertainty, its day."""

    name: str
    pairing: Pairing
    value: float
    u: float
    day: str


@dataclass(frozen=True, slots=True)
class Ruled:
    """A printed scale read with a rule: ln of printed over nominal length, with the rule's own uncertainty."""

    name: str
    pairing: Pairing
    value: float
    u: float


@dataclass(frozen=True, slots=True)
class Checked:
    """How one test agrees with all others: residual in ln p, redundancy 0 … 1, standardized residual."""

    name: str
    residual: float
    redundancy: float
    w: float

    @property
    def verdict(self) -> str:
        """cannot be checked, suspect or agrees."""
        if self.redundancy < LEAST_REDUNDANCY:
            return "cannot be checked"
        return "suspect" if abs(self.w) > SUSPECT else "agrees"


@dataclass(frozen=True)
class Network:
    """Everything adjusted at once: unknowns by name, estimates, covariance, how each test agrees."""

    names: tuple[str, ...]
    estimates: np.ndarray
    covariance: np.ndarray
    checks: tuple[Checked, ...]
    prior: Prior
    tied: dict[str, str] = field(default_factory=dict)
    """Lens lots and printer scales that tests tie together have the same value here."""

    def linked(self, pairing: Pairing) -> bool:
        """Whether tests tie this lens lot to this printer scale, over however many others."""
        lens, scale = pairing.unknowns[:2]
        return lens in self.tied and self.tied.get(lens) == self.tied.get(scale)

    def of(self, pairing: Pairing) -> tuple[float, float]:
        """(ln of the pitch at 23 °C from far away, its standard uncertainty) for any pairing, tested or not."""
        known, gain = {name: at for at, name in enumerate(self.names)}, np.zeros(len(self.names))
        extra = value = 0.0
        for name, (before, u) in zip(pairing.unknowns, _priors(pairing, self.prior), strict=True):
            if name in known:
                gain[known[name]] = 1.0
            else:
                value, extra = value + before, extra + u**2
        variance = float(gain @ self.covariance @ gain) + extra + SHEET**2 + SAME_DAY**2
        return value + float(gain @ self.estimates), math.sqrt(variance)


def adjust(tests: Sequence[Observed], rules: Sequence[Ruled] = (), prior: Prior = Prior()) -> Network:
    """Adjust all tests and rule readings at once; with none of them nothing but the prior is known."""
    rows, values, u, known = _equations(tests, rules, prior)
    names = tuple(known)
    if not names:
        return Network((), np.zeros(0), np.zeros((0, 0)), (), prior)
    design = np.zeros((len(rows), len(names)))
    at = {name: number for number, name in enumerate(names)}
    for number, row in enumerate(rows):
        design[number, [at[name] for name in row]] = 1.0
    weighed = design / u[:, None]
    covariance = np.linalg.inv(weighed.T @ weighed)
    estimates = covariance @ (weighed.T @ (values / u))
    left = u**2 - np.einsum("ij,jk,ik->i", design, covariance, design)
    residuals = values - design @ estimates
    checks = tuple(_checked(test.name, residuals[number], left[number], u[number])
                   for number, test in enumerate(tests))
    return Network(names, estimates, covariance, checks, prior, _tied(tests))


def _equations(tests: Sequence[Observed], rules: Sequence[Ruled], prior: Prior
               ) -> tuple[list[list[str]], np.ndarray, np.ndarray, dict[str, None]]:
    """(unknowns of each equation, its value, its uncertainty, all unknowns): tests, rule readings, priors."""
    rows: list[list[str]] = []
    values: list[float] = []
    u: list[float] = []
    before: dict[str, tuple[float, float]] = {}
    for test in tests:
        day = f"day {test.pairing.scale} {test.day}"
        rows.append([*test.pairing.unknowns, day])
        values.append(test.value)
        u.append(math.hypot(test.u, SHEET))
        before |= dict(zip(test.pairing.unknowns, _priors(test.pairing, prior), strict=True)) | {day: (0.0, SAME_DAY)}
    for rule in rules:
        rows.append(list(rule.pairing.unknowns[1:]))
        values.append(rule.value)
        u.append(math.hypot(rule.u, SHEET, SAME_DAY))
        before |= dict(zip(rule.pairing.unknowns[1:], _priors(rule.pairing, prior)[1:], strict=True))
    for name, (value, wide) in before.items():
        rows.append([name])
        values.append(value)
        u.append(wide)
    return rows, np.array(values), np.array(u), dict.fromkeys(before)


def _priors(pairing: Pairing, prior: Prior) -> tuple[tuple[float, float], ...]:
    return ((math.log(pairing.nominal_lpi), prior.lens), (0.0, prior.scale), (0.0, prior.mode_or_paper),
            (0.0, prior.mode_or_paper))


def _checked(name: str, residual: float, left: float, u: float) -> Checked:
    left = max(float(left), 0.0)
    return Checked(name, float(residual), left / u**2, float(residual) / math.sqrt(left) if left > 1e-18 else 0.0)


def _tied(tests: Sequence[Observed]) -> dict[str, str]:
    """Lens lots and printer scales by the group that tests tie together; a group is named after its first member."""
    group: dict[str, str] = {}
    for test in tests:
        lens, scale = test.pairing.unknowns[:2]
        one, other = group.setdefault(lens, lens), group.setdefault(scale, scale)
        if one != other:
            group = {name: one if value == other else value for name, value in group.items()}
    return group
