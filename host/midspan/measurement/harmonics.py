"""Harmonics around a shaft: the columns of the fit, and the form of its result.

While a shaft turns at a fixed depth its force repeats with the angle: a mean and harmonics of orders 1 to 3. A shaft
whose readings show more, as an uneven shaft or a surface with flats does, is fitted with orders up to 8.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ORDERS = 3
COLUMNS = 2 * ORDERS + 1
MOST_ORDERS = 8
REJECT_SIGMAS = 5.0  # removes one in two million clean normal readings: no loss of efficiency
MAD_TO_SIGMA = 1.482602218505602  # normal distribution: 1 / quantile(0.75)


@cache
def orders_of(columns: int) -> Array:
    """Return the order of each column.

    Parameters
    ----------
    columns : int
        Number of columns, odd.

    Returns
    -------
    ndarray
        Orders, shape (columns,).

    Examples
    --------
    >>> orders_of(7).tolist()
    [0.0, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0]
    """
    return ((np.arange(columns) + 1) // 2).astype(float)


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
    """Fit of S shafts at D depths; the C columns are mean, cos 1, sin 1, cos 2, sin 2 and so on, mostly to order 3.

    Angles are counted from the origin of `Turns.steps`.

    Parameters
    ----------
    coefficients_n : ndarray
        Harmonic coefficients of the force, N, shape (S, D, C).
    covariance : ndarray
        Their covariance at a known period, from the scatter of the readings around the fit, shape (S, D, C, C).
    scatter_n : ndarray
        Standard deviation of the readings around the fit, N, shape (S, D).
    used, left_out : ndarray of int
        Numbers of readings used and left out, shape (S, D).
    steps_per_turn : ndarray
        Rotate steps per turn, with the nominal value taken into account, shape (S,).
    u_relative_period : ndarray
        Relative standard uncertainty of `steps_per_turn`, shape (S,).
    period_gradient : ndarray
        Change of the coefficients per unit of relative period, N, shape (S, D, C).
    converged : ndarray of bool
        True where the iteration converged, shape (S,).
    readings_alike : ndarray or float
        Number of neighbouring readings that share their noise, shape (S, D); 1 for independent readings.
    kept : ndarray of bool, optional
        True for the readings used, shape (S, D, N); None for a fit that was not made from readings.
    shared : ndarray, optional
        Change of the coefficients for one standard uncertainty of each further unknown, such as the rollers' height, N,
        shape (S, unknowns, D, C); None where there are none.
    unseen : ndarray, optional
        The same for causes of which the readings tell nothing.
    higher_n : ndarray or float
        Amplitude that orders beyond those fitted may have together, N, shape (S,).
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
    kept: Mask | None = None
    shared: Array | None = None
    unseen: Array | None = None
    higher_n: Array | float = 0.0


def rows_of(batch: Any, index: NDArray[np.int64]) -> Any:
    """Return a batch of some of its shafts: every array in it is indexed along its first axis.

    Parameters
    ----------
    batch : dataclass
        Arrays of S shafts, also in dataclasses within it.
    index : ndarray of int
        Numbers of the shafts, shape (R,).

    Returns
    -------
    dataclass
        The same with arrays of R shafts.
    """
    changed = {}
    for field in fields(batch):
        value = getattr(batch, field.name)
        if isinstance(value, np.ndarray):
            changed[field.name] = value[index]
        elif is_dataclass(value):
            changed[field.name] = rows_of(value, index)
    return replace(batch, **changed)


def basis(angle_rad: Array, orders: int = ORDERS) -> Array:
    """Return the columns 1, cos a, sin a, cos 2a, sin 2a and so on at each angle.

    Higher orders follow by the addition theorems.

    Parameters
    ----------
    angle_rad : ndarray
        Angles, rad, shape (..., N).
    orders : int
        Highest order, 3 or more.

    Returns
    -------
    ndarray
        Columns, dimensionless, shape (..., 2 orders + 1, N).

    Examples
    --------
    >>> basis(np.array([0.0])).ravel().tolist()
    [1.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0]
    """
    out = np.empty((*angle_rad.shape[:-1], 2 * orders + 1, angle_rad.shape[-1]))
    out[..., 0, :] = 1.0
    c1, s1, c2, s2 = (out[..., column, :] for column in range(1, 5))
    cosine_and_sine(angle_rad, c1, s1)
    np.multiply(c1, c1, out=c2)
    c2 *= 2
    c2 -= 1
    np.multiply(s1, c1, out=s2)
    s2 *= 2
    np.subtract(c2 * c1, s2 * s1, out=out[..., 5, :])
    np.add(s2 * c1, c2 * s1, out=out[..., 6, :])
    for i in range(COLUMNS, 2 * orders + 1, 2):  # from the order before and the first
        c, s = out[..., i - 2, :], out[..., i - 1, :]
        np.subtract(c * c1, s * s1, out=out[..., i, :])
        np.add(s * c1, c * s1, out=out[..., i + 1, :])
    return out


def cosine_and_sine(angle_rad: Array, cosine: Array, sine: Array) -> None:
    """Write the cosine and the sine of angles into arrays.

    With t = tan(a / 2), cos a = (1 - t^2) / (1 + t^2) and sin a = 2 t / (1 + t^2). That needs one transcendental
    function a reading, the one that numpy computes fastest.

    Parameters
    ----------
    angle_rad : ndarray
        Angles, rad, any shape.
    cosine, sine : ndarray
        Get the values, dimensionless, same shape.

    Examples
    --------
    >>> both = np.empty((2, 1))
    >>> cosine_and_sine(np.array([np.pi / 3]), *both)
    >>> both.ravel().round(6).tolist()
    [0.5, 0.866025]
    """
    tangent = np.tan(angle_rad / 2)
    share = 1 / (tangent * tangent + 1)
    np.subtract(2 * share, 1, out=cosine)  # (1 - t^2) / (1 + t^2) without losing digits where t is large
    np.multiply(tangent, share, out=sine)
    sine *= 2


def curve_at(angle_rad: Array, coefficients: Sequence[float], higher: Sequence[float] = ()) -> Array:
    """Return the value of a curve around a shaft at angles.

    Parameters
    ----------
    angle_rad : ndarray
        Angles, rad, shape (N,).
    coefficients : sequence of float
        Coefficients of mean and orders 1 to 3, 7 values.
    higher : sequence of float
        Coefficients of the orders from 4, as a result keeps them; empty if there are none.

    Returns
    -------
    ndarray
        Values in the unit of the coefficients, shape (N,).

    Examples
    --------
    >>> curve_at(np.array([0.0, np.pi]), [500.0, 1.0, 0, 0, 0, 0, 0]).tolist()
    [501.0, 499.0]
    """
    together = np.array([*coefficients, *higher], float)
    return np.asarray(together @ basis(angle_rad, len(together) // 2), np.float64)


def derivative_columns(coefficients: Array) -> Array:
    """Return the coefficients of the derivative by the angle, same shape.

    Parameters
    ----------
    coefficients : ndarray
        Harmonic coefficients, shape (..., C).

    Returns
    -------
    ndarray
        Coefficients of the derivative, per rad, same shape.

    Examples
    --------
    >>> derivative_columns(np.array([5.0, 1, 2, 3, 4, 0, 0])).tolist()
    [0.0, 2.0, -1.0, 8.0, -6.0, 0.0, -0.0]
    """
    out, order = np.zeros_like(coefficients), orders_of(coefficients.shape[-1])
    out[..., 1::2] = coefficients[..., 2::2] * order[2::2]
    out[..., 2::2] = -coefficients[..., 1::2] * order[1::2]
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

    For even counts this is the lower of the two middle entries.

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
    padded.sort(axis=-1)  # five times as fast as a partition at the few places that the counts of a batch have
    return np.take_along_axis(padded, middle[..., None], axis=-1)[..., 0]
