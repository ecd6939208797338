"""Harmonics around a shaft: the columns of the fit, and the form of its result.

While a shaft turns at a fixed depth its force repeats with the angle: a mean and harmonics of orders 1 to 3.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ORDERS = 3
COLUMNS = 2 * ORDERS + 1
REJECT_SIGMAS = 5.0  # removes one in two million clean normal readings: no loss of efficiency
MAD_TO_SIGMA = 1.482602218505602  # normal distribution: 1 / quantile(0.75)
_ORDER_OF_COLUMN = np.array([0.0, 1, 1, 2, 2, 3, 3])


@dataclass(frozen=True)
class Turns:
    """Readings of S shafts at D depths, padded to N.

    Parameters
    ----------
    steps : ndarray
        Rotate steps from the angle origin, shape (S, D, N).
    force_n : ndarray
        Force at each reading, N, shape (S, D, N).
    valid : ndarray of bool
        True where a reading is real, shape (S, D, N).
    """

    steps: Array
    force_n: Array
    valid: Mask


@dataclass(frozen=True)
class HarmonicFit:
    """Fit of S shafts at D depths; columns are mean, cos 1, sin 1, cos 2, sin 2, cos 3, sin 3.

    Angles are counted from the origin of `Turns.steps`.

    Parameters
    ----------
    coefficients_n : ndarray
        Harmonic coefficients of the force, N, shape (S, D, 7).
    covariance : ndarray
        Their covariance at a known period, from the scatter of the readings around the fit, shape (S, D, 7, 7).
    scatter_n : ndarray
        Standard deviation of the readings around the fit, N, shape (S, D).
    used, left_out : ndarray of int
        Numbers of readings used and left out, shape (S, D).
    steps_per_turn : ndarray
        Rotate steps per turn, with the nominal value taken into account, shape (S,).
    u_relative_period : ndarray
        Relative standard uncertainty of `steps_per_turn`, shape (S,).
    period_gradient : ndarray
        Change of the coefficients per unit of relative period, N, shape (S, D, 7).
    converged : ndarray of bool
        True where the iteration converged, shape (S,).
    readings_alike : ndarray or float
        Number of neighbouring readings that share their noise, shape (S, D); 1 for independent readings.
    """

    coefficients_n: Array
    covariance: Array
    scatter_n: Array
    used: NDArray[np.int64]
    left_out: NDArray[np.int64]
    steps_per_turn: Array
    u_relative_period: Array
    period_gradient: Array
    converged: Mask
    readings_alike: Array | float = 1.0


def basis(angle_rad: Array) -> Array:
    """Return the columns 1, cos a, sin a, cos 2a, sin 2a, cos 3a, sin 3a at each angle.

    With t = tan(a / 2), cos a = (1 - t^2) / (1 + t^2) and sin a = 2 t / (1 + t^2); higher orders follow by the
    addition theorems. That needs one transcendental function a reading, the one that numpy computes fastest.

    Parameters
    ----------
    angle_rad : ndarray
        Angles, rad, shape (..., N).

    Returns
    -------
    ndarray
        Columns, dimensionless, shape (..., 7, N).

    Examples
    --------
    >>> basis(np.array([0.0])).ravel().tolist()
    [1.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0]
    """
    out = np.empty((*angle_rad.shape[:-1], COLUMNS, angle_rad.shape[-1]))
    out[..., 0, :] = 1.0
    c1, s1, c2, s2 = (out[..., column, :] for column in range(1, 5))
    tangent = np.tan(angle_rad / 2)
    share = 1 / (tangent * tangent + 1)
    np.subtract(2 * share, 1, out=c1)  # (1 - t^2) / (1 + t^2) without losing digits where t is large
    np.multiply(tangent, share, out=s1)
    s1 *= 2
    np.multiply(c1, c1, out=c2)
    c2 *= 2
    c2 -= 1
    np.multiply(s1, c1, out=s2)
    s2 *= 2
    np.subtract(c2 * c1, s2 * s1, out=out[..., 5, :])
    np.add(s2 * c1, c2 * s1, out=out[..., 6, :])
    return out


def derivative_columns(coefficients: Array) -> Array:
    """Return the coefficients of the derivative by the angle, same shape.

    Parameters
    ----------
    coefficients : ndarray
        Harmonic coefficients, shape (..., 7).

    Returns
    -------
    ndarray
        Coefficients of the derivative, per rad, same shape.

    Examples
    --------
    >>> derivative_columns(np.array([5.0, 1, 2, 3, 4, 0, 0])).tolist()
    [0.0, 2.0, -1.0, 8.0, -6.0, 0.0, -0.0]
    """
    out = np.zeros_like(coefficients)
    out[..., 1::2] = coefficients[..., 2::2] * _ORDER_OF_COLUMN[2::2]
    out[..., 2::2] = -coefficients[..., 1::2] * _ORDER_OF_COLUMN[1::2]
    return out


def each_times(rows: Array, matrix: Array) -> Array:
    """Return every row of (S, n) times the matrix (n, m), each row in a product of its own.

    In a single product of all rows the rounding would depend on their number.

    Parameters
    ----------
    rows : ndarray
        Rows, shape (S, n).
    matrix : ndarray
        Matrix, shape (n, m).

    Returns
    -------
    ndarray
        Products, shape (S, m); a row has the same bits whatever the other rows are.
    """
    product: Array = rows[:, None, :] @ matrix
    return product[:, 0, :]


def median_of_valid(values: Array, valid: Mask) -> Array:
    """Return the median of the valid entries along the last axis.

    For even counts this is the lower of the two middle entries, which needs one partition only.

    Parameters
    ----------
    values : ndarray
        Values, shape (..., N).
    valid : ndarray of bool
        True for the entries that count, same shape.

    Returns
    -------
    ndarray
        Medians, shape (...).
    """
    counts = valid.sum(axis=-1)
    middle = np.maximum(counts - 1, 0) // 2
    padded = np.where(valid, values, np.inf)
    padded.partition(np.unique(middle), axis=-1)
    return np.take_along_axis(padded, middle[..., None], axis=-1)[..., 0]
