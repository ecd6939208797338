"""Fit of readings at a few clock positions: mean, second harmonic, and their uncertainty.

The bending stiffness of a tube repeats twice in a turn, so its deflection is a mean and a second harmonic. Four
positions 90 degrees apart fix the mean, but see only one of the two parts of the harmonic.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from midspan.base.errors import ReadingsError

Array = NDArray[np.float64]
FULL_TURN_POSITIONS = 5  # with fewer, the curve goes through the readings and cannot be checked
SURE = 0.05  # a misfit that chance makes more rarely is real
RANK_TOLERANCE = 1e-6


@dataclass(frozen=True)
class AroundFit:
    """Fit of a mean and a second harmonic.

    Parameters
    ----------
    coefficients : ndarray
        Mean, cosine and sine of twice the angle, in the unit of the values, shape (3,); parts not seen are 0.
    covariance : ndarray
        Their covariance, shape (3, 3).
    dof : int
        Degrees of freedom of the covariance.
    scatter : float
        Standard deviation of a reading, in the unit of the values.
    positions : int
        Number of clock positions.
    sees_all : bool
        True if both parts of the harmonic could be fitted.
    misfit_p : float
        Probability that chance alone makes the positions differ from the curve as much as they do.
    """

    coefficients: Array
    covariance: Array
    dof: int
    scatter: float
    positions: int
    sees_all: bool
    misfit_p: float


def fit_around(angle_deg: Array, values: Array) -> AroundFit:
    """Return the least-squares fit of readings around a shaft; parts that the positions cannot determine stay zero.

    The scatter is that of all readings around the curve. If the positions differ from the curve by more than the
    repeats explain (F test of the lack of fit), the difference between positions counts instead: more repeats do not
    make it smaller.

    Parameters
    ----------
    angle_deg : ndarray
        Clock position of each reading, degrees, shape (n,).
    values : ndarray
        Readings, any unit, shape (n,).

    Returns
    -------
    AroundFit
        Coefficients with their covariance.

    Raises
    ------
    ReadingsError
        The positions do not determine the mean (code "positions"), or there are too few readings to find the
        scatter ("repeats").

    References
    ----------
    N. R. Draper and H. Smith, Applied Regression Analysis, section 1.5 (lack of fit).

    Examples
    --------
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
            f"{_places(position)} do not give the mean around the shaft: read at least two clock positions 90 degrees "
            "apart, better eight 45 degrees apart",
            code="positions",
        )
    coefficients = basis.T @ ((left[:, seen].T @ values) / size[seen])
    residual = values - columns @ coefficients
    variance, dof, p = _variance(residual, members, len(position), int(seen.sum()))
    covariance = basis.T @ np.diag(variance / size[seen] ** 2) @ basis
    sees_all = bool(seen.all()) and len(position) >= FULL_TURN_POSITIONS
    return AroundFit(coefficients, covariance, dof, float(np.sqrt(variance)), len(position), sees_all, p)


def _places(position: Array) -> str:
    """Return the positions of readings in words."""
    names = ", ".join(f"{angle:g}" for angle in position)
    return f"readings at {names} degrees" if len(position) > 1 else f"readings at {names} degrees alone"


def _variance(residual: Array, members: NDArray[np.intp], positions: int, rank: int) -> tuple[float, int, float]:
    """Return the variance for the covariance of the fit, its degrees of freedom, and the probability of the misfit."""
    dof, within_dof, misfit_dof = len(residual) - rank, len(residual) - positions, positions - rank
    if dof < 1:
        raise ReadingsError(
            f"{len(residual)} readings for {rank} unknowns do not show the scatter: repeat each position at least once",
            code="repeats",
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
