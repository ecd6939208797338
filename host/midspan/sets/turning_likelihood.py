"""How well two sets of waves around a shaft agree when nobody knows how the shaft was turned in between.

A shaft is laid into a gauge at any clock angle, and either end first. Turning it by an angle turns a wave of order n by
n times the angle; laying it in end for end mirrors every wave. The agreement is that of all waves together, averaged
over every angle and both senses. So a wave that is no larger than its noise counts for nothing, without a limit
beneath which phases would be left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from midspan.sets.limits import Array

Waves = NDArray[np.complex128]
ORDERS = np.array([1, 2, 3])
ANGLES = 48  # a sum of waves up to order 3 has its maxima much further apart than 360/48 degrees
STEP = 2 * np.pi / ANGLES
PEAKS = 6  # most maxima: three of the third order in each sense
_GRID = np.exp(1j * np.outer(ORDERS, np.arange(ANGLES) * STEP))
_AT_ONCE = 20_000  # pairs a block: some 60 MB


@dataclass(frozen=True)
class TurnedAgreement:
    """Agreement of pairs of shafts whose turning is unknown.

    Parameters
    ----------
    log_mean : Array
        Natural logarithm of exp(-squares / 2) averaged over all angles and both senses, shape (pairs,).
    squares : Array
        Smallest sum of squared differences over their variances, at the best angle, shape (pairs,).
    """

    log_mean: Array
    squares: Array


def turned_agreement(first: Waves, second: Waves, variance: Array) -> TurnedAgreement:
    """Return how well the waves of pairs of shafts agree, whatever their turning.

    Parameters
    ----------
    first : Waves
        Complex amplitudes of the first shafts, a + ib for a wave a cos + b sin, shape (pairs, series, 3) by order 1 to
        3 of each series.
    second : Waves
        Those of the second shafts, same shape.
    variance : Array
        Variance of the difference of each of a and b, same shape; infinite where either is unknown.

    Returns
    -------
    TurnedAgreement
        Logarithm of the mean over the turning, and the squares at the best angle.

    References
    ----------
    The average over the angle is exact on a grid for flat maxima, and Laplace's approximation for sharp ones.

    Examples
    --------
    >>> bow = np.array([[[3.0 + 4.0j, 0, 0]]])
    >>> turned_agreement(bow, 1j * bow, np.ones((1, 1, 3))).squares.round(9).tolist()  # turned by 90 degrees
    [0.0]
    """
    parts = np.array_split(np.arange(len(first)), 1 + len(first) // _AT_ONCE)
    found = [_agreement(first[part], second[part], variance[part]) for part in parts]
    return TurnedAgreement(*(np.concatenate(column) for column in zip(*found, strict=True)))


def _agreement(first: Waves, second: Waves, variance: Array) -> tuple[Array, Array]:
    """Return the two columns of one block of pairs."""
    weight = 1 / variance
    constant = ((np.abs(first) ** 2 + np.abs(second) ** 2) * weight).sum(axis=(1, 2))
    both = np.stack([second, np.conj(second)], axis=1)
    # -squares/2 = -constant/2 + real part of the sum of c_n exp(i n angle)
    c = (both * (np.conj(first) * weight)[:, None]).sum(axis=2)  # [pairs, senses, orders]
    on_grid = (c @ _GRID).real
    is_peak = (on_grid >= np.roll(on_grid, 1, axis=2)) & (on_grid >= np.roll(on_grid, -1, axis=2))
    candidates = np.where(is_peak, on_grid, -np.inf).reshape(len(first), 2 * ANGLES)
    places = np.argpartition(-candidates, PEAKS, axis=1)[:, :PEAKS]
    height = np.take_along_axis(candidates, places, axis=1)
    of_sense = np.take_along_axis(c, (places // ANGLES)[..., None], axis=1)
    peak, curvature = _climbed(of_sense, np.asarray((places % ANGLES) * STEP, np.float64))
    highest = peak.max(axis=1, where=np.isfinite(height), initial=-np.inf)
    with np.errstate(divide="ignore"):
        width = np.sqrt(2 * np.pi / np.maximum(curvature, 1e-300)) / (4 * np.pi)
    by_laplace = (np.exp(peak - highest[:, None]) * width).sum(axis=1, where=np.isfinite(height))
    by_grid = np.exp(on_grid - highest[:, None, None]).mean(axis=(1, 2))
    sharp = curvature.max(axis=1, where=np.isfinite(height), initial=0.0) * STEP**2 > 1
    log_mean = np.log(np.where(sharp, by_laplace, by_grid)) + highest - constant / 2
    return log_mean, np.maximum(constant - 2 * highest, 0.0)


def _climbed(c: Waves, angle: Array) -> tuple[Array, Array]:
    """Return the height and the curvature of the maxima near angles [pairs, peaks], by Newton's method."""
    start = angle
    for _ in range(4):
        terms = c * np.exp(1j * angle[..., None] * ORDERS)
        slope, curvature = -(terms * ORDERS).imag.sum(axis=2), (terms * ORDERS**2).real.sum(axis=2)
        moved = angle + slope / np.where(curvature > 0, curvature, np.inf)
        angle = np.clip(moved, start - STEP, start + STEP)
    terms = c * np.exp(1j * angle[..., None] * ORDERS)
    return terms.real.sum(axis=2), (terms * ORDERS**2).real.sum(axis=2)
