"""Weighted linear least squares with the standard uncertainties stated beforehand.

The solution of min Σ ((target − design·x) / u)² and its covariance (designᵀ·design / u²)⁻¹,
as in JCGM 100:2008 (GUM), annex H.3; by QR, because normal equations lose digits.
"""

from dataclasses import dataclass

import numpy as np

from logbook.refusals import Refused


@dataclass(frozen=True, slots=True)
class Solution:
    """Parameters, their covariance for the stated uncertainties, and what is left over.

    ``chi2`` is the sum of squared residuals in units of u, ``degrees`` the number
    of observations less the number of parameters.
    """

    parameters: np.ndarray
    covariance: np.ndarray
    residuals: np.ndarray
    chi2: float
    degrees: int

    @property
    def scatter(self) -> float:
        """√(χ²/ν): how much more the observations scatter than was stated; 1 where ν is 0."""
        return float(np.sqrt(self.chi2 / self.degrees)) if self.degrees > 0 else 1.0


def solve(design: np.ndarray, target: np.ndarray, *, u: np.ndarray) -> Solution:
    """Solve for the columns of ``design`` (observations × parameters); ``u`` are standard uncertainties.

    Raises Refused where the observations do not determine the parameters.
    """
    observations, unknowns = design.shape
    scaled, wanted = design / u[:, None], target / u
    if observations < unknowns or np.linalg.matrix_rank(scaled) < unknowns:
        raise Refused("The readings are too few or too alike to give a number.")
    orthogonal, triangle = np.linalg.qr(scaled)
    parameters = np.linalg.solve(triangle, orthogonal.T @ wanted)
    inverse = np.linalg.inv(triangle)
    residuals = target - design @ parameters
    return Solution(parameters=parameters, covariance=inverse @ inverse.T, residuals=residuals,
                    chi2=float(np.sum((residuals / u) ** 2)), degrees=observations - unknowns)
