"""Readings less the fitted curve, and what else a shaft could have done to them while it turned.

Everything that is looked for after the fit of the harmonics goes through the same door: a column of what it would do to
the readings, less what the harmonics take up of it.
"""

from dataclasses import dataclass, replace

import numpy as np

from midspan.measurement.converter_filter import Filtering, left_of_orders
from midspan.measurement.harmonics import (
    MOST_ORDERS,
    ORDERS,
    Array,
    HarmonicFit,
    Mask,
    Turns,
    basis,
    derivative_columns,
    each_times,
)

BINS = 96  # angles around the shaft: a wave of order 8 loses a hundredth of its height in them
# Chi square of six degrees of freedom, one chance in a million: an order is looked for in every shaft of every night.
MORE_ORDERS = 38.3
_LEAST = 1e-30  # N2: no cell's noise is so quiet; a count that never changes has none
LEAST_PASSED = 0.1  # of a wave's square by the converter's filter: what it takes out cannot be restored
_HIGHER_PHASE: Array = np.outer((np.arange(BINS) + 0.5) * (2 * np.pi / BINS), np.arange(ORDERS + 1, MOST_ORDERS + 1))
_COSINES: Array = np.cos(_HIGHER_PHASE)
_SINES: Array = np.sin(_HIGHER_PHASE)


@dataclass(frozen=True)
class Residual:
    """What the fit of S shafts at D depths leaves of their readings.

    Parameters
    ----------
    angle : ndarray
        Angle of each reading from the angle origin, rad, shape (S, D, N).
    columns : ndarray
        Columns of the fit, shape (S, D, C, N).
    kept : ndarray
        1.0 for the readings used in the fit, 0.0 for the others, shape (S, D, N).
    inverse : ndarray
        Covariance of the coefficients for readings of unit variance, shape (S, D, C, C).
    off_n : ndarray
        Force less the curve, N, 0 for readings left out, shape (S, D, N).
    slope_n : ndarray
        Change of the curve with the angle, N per rad, shape (S, D, N).
    """

    angle: Array
    columns: Array
    kept: Array
    inverse: Array
    off_n: Array
    slope_n: Array

    def projected(self, waves: Array) -> tuple[Array, Array]:
        """Return what the harmonics take up of some waves, and what they leave, which is written over the waves.

        Parameters
        ----------
        waves : ndarray
            Values at each reading, shape (S, D, W, N); they are overwritten, as a copy would cost more than the sums.

        Returns
        -------
        coefficients : ndarray
            Harmonic coefficients of each wave, shape (S, D, W, C).
        left : ndarray
            Waves less these, 0 for readings left out, shape (S, D, W, N).
        """
        kept = self.kept[:, :, None, :]
        waves *= kept
        coefficients = waves @ self.columns.transpose(0, 1, 3, 2) @ self.inverse
        waves -= coefficients @ self.columns
        waves *= kept
        return coefficients, waves


def residual_of(turns: Turns, fit: HarmonicFit) -> Residual:
    """Return what a fit leaves of its readings.

    Parameters
    ----------
    turns : Turns
        Readings of S shafts.
    fit : HarmonicFit
        Their fit, with the readings that it kept.

    Returns
    -------
    Residual
        Residuals, and what further unknowns are projected on.
    """
    coefficients = fit.coefficients_n
    kept = np.asarray(fit.kept, float)
    angle = turns.steps * (2 * np.pi / fit.steps_per_turn)[:, None, None]
    columns = basis(angle, coefficients.shape[-1] // 2)
    both = np.stack([coefficients, derivative_columns(coefficients)], axis=2) @ columns
    variance = np.where(fit.scatter_n > 0, fit.scatter_n, 1.0) ** 2
    return Residual(
        angle,
        columns,
        kept,
        fit.covariance / variance[..., None, None],
        (turns.force_n - both[:, :, 0]) * kept,
        both[:, :, 1],
    )


def shows_more_orders(residual: Residual, fit: HarmonicFit, alike: Array, turned: Filtering | None) -> Mask:
    """Return True for the shafts whose residuals have a harmonic of orders 4 to 8 that noise does not explain.

    Parameters
    ----------
    residual : Residual
        Residuals of S shafts, fitted to order 3.
    fit : HarmonicFit
        Their fit.
    alike : ndarray
        Number of neighbouring readings that share their noise, shape (S,).
    turned : Filtering | None
        Filters of the converters; None for readings that are taken as they are.

    Returns
    -------
    ndarray of bool
        Shape (S,).
    """
    waves = _waves(residual, fit, alike, turned)
    # Positions are noted in whole steps. Where these beat with the readings, a steep pattern shows waves that are none.
    step_rad = 2 * np.pi / fit.steps_per_turn[:, None]
    steep = (residual.slope_n**2 * residual.kept).sum(axis=-1) * step_rad**2 / 8
    seen = (waves.chi_square > MORE_ORDERS) & (waves.square > steep[..., None]).any(axis=1)
    result: Mask = seen.any(axis=1)
    return result


def unfitted_n(residual: Residual, fit: HarmonicFit, alike: Array, turned: Filtering | None) -> Array:
    """Return how large harmonics of orders 4 to 8 may be together that are not fitted.

    Parameters
    ----------
    residual : Residual
        Residuals of S shafts, fitted to order 3.
    fit : HarmonicFit
        Their fit.
    alike : ndarray
        Number of neighbouring readings that share their noise, shape (S,).
    turned : Filtering | None
        Filters of the converters; None for readings that are taken as they are.

    Returns
    -------
    ndarray
        Root of the summed squares of their amplitudes beyond what noise makes, N, shape (S,); 0 where it makes all.
    """
    waves = _waves(residual, fit, alike, turned)
    # Noise makes a chi square of twice the depths in each order. What an order has beyond that is a wave, which was
    # larger before the converter's filter.
    depths = waves.square.shape[1]
    beyond = waves.square.sum(axis=1) * (1 - 2 * depths / np.maximum(waves.chi_square, _LEAST))
    passed = np.maximum(np.broadcast_to(waves.left, waves.square.shape).mean(axis=1) ** 2, LEAST_PASSED)
    amplitudes: Array = np.sqrt(np.maximum(2 * (beyond / passed).sum(axis=1) / fit.used.sum(axis=1), 0.0))
    return amplitudes


@dataclass(frozen=True)
class _HigherOrders:
    """Squares of the harmonics of orders 4 to 8 at the depths, their chi square, and what the filter left of them."""

    square: Array  # (S, D, orders), sum over the readings, N2
    chi_square: Array  # (S, orders)
    left: Array | float  # (S, D, orders)


def _waves(residual: Residual, fit: HarmonicFit, alike: Array, turned: Filtering | None) -> _HigherOrders:
    """Return the harmonics of orders 4 to 8 in residuals."""
    shafts, depths, _ = residual.off_n.shape
    place = np.floor(residual.angle * (BINS / (2 * np.pi))).astype(np.int64) % BINS
    place += (np.arange(shafts * depths) * BINS).reshape(shafts, depths, 1)
    sums = np.bincount(place.ravel(), residual.off_n.ravel(), shafts * depths * BINS).astype(float)
    sums = sums.reshape(shafts * depths, BINS)
    square = (
        each_times(sums, _COSINES) ** 2 + each_times(sums, _SINES) ** 2
    ).reshape(shafts, depths, -1) * (2 / fit.used[..., None])  # fmt: skip
    # The waves themselves are no noise: what they explain is taken off the scatter.
    dof = fit.used - fit.coefficients_n.shape[-1]
    noise = np.maximum(fit.scatter_n**2 * dof - square.sum(axis=-1), 0.0) / np.maximum(dof - square.shape[-1] * 2, 1)
    left: Array | float = 1.0
    if turned is not None:
        wide = replace(fit, coefficients_n=np.zeros((shafts, depths, 2 * MOST_ORDERS + 1)))
        left = left_of_orders(wide, turned)[..., 2 * ORDERS + 1 :: 2]
    shared = 1 + (alike[:, None, None] - 1) * left**2  # noise that readings share is slow
    ratio = square / np.maximum(noise[..., None] * shared, _LEAST)
    return _HigherOrders(square, ratio.sum(axis=1), left)
