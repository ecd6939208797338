"""Spread, stiff side, four readings and runout of a curve around a shaft, with their uncertainties.

A curve is C harmonic coefficients (mean, then cosine and sine of each order) with their covariance. Bending stiffness
of a tube repeats twice in a turn, its surface once (bow) and twice (out of round). Other orders count only where they
are above the noise.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from midspan.measurement.depth_consistency import SIGNIFICANT
from midspan.measurement.harmonics import Array, basis, each_times

# 95 % point of a Rayleigh distribution of unit sigma, sqrt(-2 ln 0.05): the amplitude of pure noise stays below it
# nineteen times in twenty.
RAYLEIGH_95 = 2.447746830680816
FINE = 360
_FINE_ANGLE: Array = np.linspace(0.0, 2 * np.pi, FINE, endpoint=False)


@cache
def _fine(columns: int) -> Array:
    """Return the columns at FINE angles around the shaft, shape (columns, FINE)."""
    return basis(_FINE_ANGLE, columns // 2)


@cache
def _quarters(columns: int) -> Array:
    """Return the columns at four angles 90 degrees apart, shape (columns, 4)."""
    return basis(np.array([0.0, 0.5, 1.0, 1.5]) * np.pi, columns // 2)


@dataclass(frozen=True)
class Swing:
    """Highest minus lowest value of S curves over a full turn, and the angle of the lowest.

    Parameters
    ----------
    value : ndarray
        Highest minus lowest value, in the unit of the curve, shape (S,).
    u : ndarray
        Its standard uncertainty, shape (S,).
    floor : ndarray
        Value that noise alone exceeds in a twentieth of all measurements, shape (S,).
    lowest_rad : ndarray
        Angle of the lowest point of the leading order, rad, shape (S,).
    u_lowest_rad : ndarray
        Its standard uncertainty, rad, shape (S,).
    by_value : ndarray
        Derivative of the value by the coefficients, dimensionless, shape (S, C).
    by_lowest : ndarray
        Derivative of that angle by the coefficients, rad per unit of the curve, shape (S, C).
    """

    value: Array
    u: Array
    floor: Array
    lowest_rad: Array
    u_lowest_rad: Array
    by_value: Array
    by_lowest: Array


def retained(coefficients: Array, covariance: Array, always: int) -> Array:
    """Return coefficients whose orders, except `always`, are set to zero unless they are above chance.

    Parameters
    ----------
    coefficients : ndarray
        Harmonic coefficients of S curves, shape (S, C).
    covariance : ndarray
        Their covariance, shape (S, C, C).
    always : int
        Order to keep in any case.

    Returns
    -------
    ndarray
        Coefficients, shape (S, C).
    """
    kept = coefficients.copy()
    for order in range(1, coefficients.shape[1] // 2 + 1):
        if order == always:
            continue
        i = 2 * order - 1
        variance = (covariance[:, i, i] + covariance[:, i + 1, i + 1]) / 2
        noise = coefficients[:, i] ** 2 + coefficients[:, i + 1] ** 2 <= SIGNIFICANT * variance
        kept[noise, i : i + 2] = 0.0
    return kept


def swing(coefficients: Array, covariance: Array, order: int) -> Swing:
    """Return the full-turn swing of curves led by a given order, together with any other order that is significant.

    The uncertainty is that of the difference between the highest and the lowest point. The angle of the lowest point
    is that of the leading order; its uncertainty is the noise across that order divided by its amplitude.

    Parameters
    ----------
    coefficients : ndarray
        Harmonic coefficients of S curves, shape (S, C).
    covariance : ndarray
        Their covariance, shape (S, C, C).
    order : int
        Leading order: 1 for a surface, 2 for a stiffness.

    Returns
    -------
    Swing
        Swing, its noise floor and the angle of its lowest point.

    References
    ----------
    S. M. Kay, Estimation Theory (1993), for the variance of a quadrature.
    """
    i = 2 * order - 1
    cosine, sine = coefficients[:, i], coefficients[:, i + 1]
    amplitude = np.hypot(cosine, sine)
    phase = np.arctan2(sine, cosine)
    kept = retained(coefficients, covariance, order)
    highest, lowest = phase / order, (phase + np.pi) / order
    value = 2 * amplitude
    mixed = (np.delete(kept, (0, i, i + 1), axis=1) != 0).any(axis=1)
    if mixed.any():
        curves = each_times(kept[mixed], _fine(kept.shape[1]))
        highest[mixed], lowest[mixed] = _FINE_ANGLE[curves.argmax(axis=1)], _FINE_ANGLE[curves.argmin(axis=1)]
        value[mixed] = np.ptp(curves, axis=1)
    across = np.stack([-np.sin(phase), np.cos(phase)], axis=1)
    block = covariance[:, i : i + 2, i : i + 2]
    u_across = np.sqrt(_form(across, block))
    orders = kept.shape[1] // 2
    difference = (basis(highest[:, None], orders) - basis(lowest[:, None], orders))[:, :, 0] * (kept != 0)
    least = np.maximum(amplitude, np.finfo(float).tiny)
    u_phase = u_across / least
    by_lowest = np.zeros_like(coefficients)
    by_lowest[:, i : i + 2] = across / (least * order)[:, None]
    quadrature = np.sqrt((block[:, 0, 0] + block[:, 1, 1]) / 2)
    return Swing(
        value,
        np.sqrt(_form(difference, covariance)),
        2 * RAYLEIGH_95 * quadrature,
        ((phase + np.pi) / order) % (2 * np.pi / order),
        u_phase / order,
        difference,
        by_lowest,
    )


def four_readings(coefficients: Array, covariance: Array) -> tuple[Array, Array]:
    """Return highest minus lowest of four readings 90 degrees apart.

    It does not see a stiff side at 45 degrees.

    Parameters
    ----------
    coefficients : ndarray
        Harmonic coefficients of S curves, shape (S, C).
    covariance : ndarray
        Their covariance, shape (S, C, C).

    Returns
    -------
    difference : ndarray
        Highest minus lowest reading, in the unit of the curve, shape (S,).
    u_difference : ndarray
        Its standard uncertainty, shape (S,).

    References
    ----------
    ASTM F2031, variation of spine around the shaft.
    """
    values = each_times(coefficients, _quarters(coefficients.shape[1]))
    return np.ptp(values, axis=1), np.sqrt(_form(by_four_readings(coefficients), covariance))


def by_four_readings(coefficients: Array) -> Array:
    """Return the derivative of highest minus lowest of four readings by the coefficients.

    Parameters
    ----------
    coefficients : ndarray
        Harmonic coefficients of S curves, shape (S, C).

    Returns
    -------
    ndarray
        Derivative, dimensionless, shape (S, C); 0 for a coefficient that is 0.
    """
    quarters = _quarters(coefficients.shape[1])
    values = each_times(coefficients, quarters)
    high, low = values.argmax(axis=1), values.argmin(axis=1)
    result: Array = (quarters[:, high] - quarters[:, low]).T * (coefficients != 0)
    return result


def amplitude(coefficients: Array, order: int) -> Array:
    """Return the amplitude of a single order.

    Parameters
    ----------
    coefficients : ndarray
        Harmonic coefficients of S curves, shape (S, C).
    order : int
        Order, from 1.

    Returns
    -------
    ndarray
        Amplitude, in the unit of the curve, shape (S,).
    """
    result: Array = np.hypot(coefficients[:, 2 * order - 1], coefficients[:, 2 * order])
    return result


def shares_of(changes: Array, by_coefficients: Array) -> Array:
    """Return the change of a quantity by each cause that changes the whole curve.

    Parameters
    ----------
    changes : ndarray
        Change of the coefficients for one standard uncertainty of each cause, shape (S, causes, C).
    by_coefficients : ndarray
        Derivative of the quantity by the coefficients, shape (S, C).

    Returns
    -------
    ndarray
        Standard uncertainty from each cause, in the unit of the quantity, shape (S, causes).
    """
    result: Array = np.abs((changes @ by_coefficients[:, :, None])[:, :, 0])
    return result


def _form(vector: Array, matrix: Array) -> Array:
    """Return the quadratic form v M v of each row, shape (S,)."""
    result: Array = vector[:, None, :] @ matrix @ vector[:, :, None]
    return result[:, 0, 0]
