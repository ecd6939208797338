"""What readings at a few clock positions say about a whole turn: mean, second harmonic, and how sure they are.

The bending stiffness of a tube repeats twice in a turn, so its deflection is a mean and a second harmonic. Four
positions 90 degrees apart fix the mean, but see only one of the two parts of the harmonic.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from midspan.base.errors import ReadingsError

Array = NDArray[np.float64]
FULL_TURN_POSITIONS = 5  # from here on the fit can be checked, not only drawn through the readings
SURE = 0.05  # a misfit rarer than this by chance is real
RANK_TOLERANCE = 1e-6


@dataclass(frozen=True)
class AroundFit:
    """Mean, cosine and sine of twice the angle with covariance; `sees_all` when both parts could be fitted."""

    coefficients: Array
    covariance: Array
    dof: int
    scatter: float
    positions: int
    sees_all: bool
    misfit_p: float  # how often chance alone would make the positions differ from the curve so much


def fit_around(angle_deg: Array, values: Array) -> AroundFit:
    """Fit readings [n] at angles [n] by least squares; what the positions cannot tell stays zero.

    The scatter is that of all readings around the curve. Where the positions differ from the curve by more than
    repeats explain (F test of the lack of fit; N. R. Draper and H. Smith, Applied Regression Analysis, section
    1.5), the difference between positions counts instead, for more repeats do not make it smaller.

    Raises ReadingsError when the positions do not fix the mean or nothing tells the scatter.

    >>> fit = fit_around(np.array([0.0, 90, 180, 270] * 2), np.array([501.0, 499, 501, 499, 503, 501, 503, 501]))
    >>> fit.coefficients[:2].round(9).tolist(), fit.dof, fit.sees_all
    ([501.0, 1.0], 6, False)
    """
    position, members = np.unique(np.round(angle_deg % 360, 6), return_inverse=True)
    twice = 2 * np.radians(angle_deg)
    columns = np.stack([np.ones_like(twice), np.cos(twice), np.sin(twice)], axis=1)
    left, size, right = np.linalg.svd(columns, full_matrices=False)
    seen = size > RANK_TOLERANCE * size[0]
    basis = right[seen]
    if np.linalg.norm(basis[:, 0]) < 1 - RANK_TOLERANCE:
        raise ReadingsError(
            f"{_places(position)} cannot tell the mean around the shaft: read at least two clock positions 90 degrees "
            "apart, better eight 45 degrees apart"
        )
    coefficients = basis.T @ ((left[:, seen].T @ values) / size[seen])
    residual = values - columns @ coefficients
    variance, dof, p = _variance(residual, members, len(position), int(seen.sum()))
    covariance = basis.T @ np.diag(variance / size[seen] ** 2) @ basis
    sees_all = bool(seen.all()) and len(position) >= FULL_TURN_POSITIONS
    return AroundFit(coefficients, covariance, dof, float(np.sqrt(variance)), len(position), sees_all, p)


def _places(position: Array) -> str:
    names = ", ".join(f"{angle:g}" for angle in position)
    return f"readings at {names} degrees" if len(position) > 1 else f"readings at {names} degrees alone"


def _variance(residual: Array, members: NDArray[np.intp], positions: int, rank: int) -> tuple[float, int, float]:
    """Variance that goes with the covariance of the fit, its degrees of freedom, and the chance of the misfit."""
    dof, within_dof, misfit_dof = len(residual) - rank, len(residual) - positions, positions - rank
    if dof < 1:
        raise ReadingsError(
            f"{len(residual)} readings for {rank} unknowns leave nothing to judge the scatter by: repeat each position "
            "at least once"
        )
    repeats = np.bincount(members)
    misfit = float((np.bincount(members, residual) ** 2 / repeats).sum())
    within = float((residual**2).sum()) - misfit
    if misfit_dof < 1 or within_dof < 1 or within <= 0:
        return float((residual**2).sum()) / dof, dof, 1.0
    p = float(fdtrc(misfit_dof, within_dof, misfit / misfit_dof / (within / within_dof)))
    if p < SURE:
        return misfit / misfit_dof, misfit_dof, p
    return (misfit + within) / dof, dof, p
