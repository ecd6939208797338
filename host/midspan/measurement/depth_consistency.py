"""Combine the fits of one shaft at its three depths into one consistent fit.

Within one depth a shaft turns twice; from the first to the last depth it turns six times or more. Its bow stays where
it is, so the phases of the once-per-turn harmonic at the three depths fix the period with three times the lever. Only
phases are compared: the amplitude of the bow at a depth depends on the shaft's stiffness.

The light depth is visited twice. Apart from hysteresis both visits see the same pattern, so their mean is better than
either. Where phases or patterns disagree (the rollers slip differently under full load, the shaft skidded, a crack
opened), each depth keeps its own fit.
"""

from dataclasses import replace

import numpy as np

from midspan.measurement.calibrated_columns import MIDDLE, CalibratedReadings
from midspan.measurement.harmonics import Array, HarmonicFit, Mask

SIGNIFICANT = 13.8  # a harmonic is real when its squared amplitude exceeds this many variances: one chance in 1000
MOST_APART = 13.8  # chi square of two degrees of freedom, one chance in 1000
MOST_UNLIKE = 22.5  # chi square of six degrees of freedom, one chance in 1000
LIGHT, FULL, AGAIN = range(3)


def joined(fit: HarmonicFit, forces: CalibratedReadings) -> HarmonicFit:
    """Return the fit improved by what its depths have in common; the means of the depths stay as they are.

    Parameters
    ----------
    fit : HarmonicFit
        Fit with each depth on its own.
    forces : CalibratedReadings
        Zeros of the same shafts.

    Returns
    -------
    HarmonicFit
        Fit with a better period and better harmonics at the light depth.
    """
    return _visits_averaged(_phases_aligned(fit), u_visits_n(fit, forces))


def u_visits_n(fit: HarmonicFit, forces: CalibratedReadings) -> Array:
    """Return the standard uncertainty of the difference between the mean forces of both light visits, N (S,).

    Both use the line through the zeros, at different places. The course of the zero between its readings is unknown.

    Parameters
    ----------
    fit : HarmonicFit
        Covariance of the mean forces.
    forces : CalibratedReadings
        Zeros of the same shafts.

    Returns
    -------
    ndarray
        Standard uncertainty, N, shape (S,).
    """
    apart = forces.zero_share[:, AGAIN] - forces.zero_share[:, LIGHT]
    u_zero = apart * np.hypot(forces.u_zero_n[:, 0], forces.u_zero_n[:, 1])
    if forces.u_zero_n.shape[1] > MIDDLE:
        middle = forces.middle_share[:, AGAIN] - forces.middle_share[:, LIGHT]
        weights = np.stack([apart + middle, apart, middle], axis=1)
        u_zero = np.sqrt(((weights * forces.u_zero_n) ** 2).sum(axis=1))
    variance = fit.covariance[:, LIGHT, 0, 0] + fit.covariance[:, AGAIN, 0, 0]
    u: Array = np.sqrt(variance + u_zero**2 + forces.zero_change_n**2 / 6)
    return u


def _visits_averaged(fit: HarmonicFit, u_visits: Array) -> HarmonicFit:
    """Return the fit with the light depth's harmonics averaged over both visits."""
    mean, again = (
        np.where(fit.coefficients_n[:, d, :1] == 0, 1.0, fit.coefficients_n[:, d, :1]) for d in (LIGHT, AGAIN)
    )
    scale = mean / again  # the conversion refuses a force of zero later
    first, second = fit.coefficients_n[:, LIGHT, 1:], fit.coefficients_n[:, AGAIN, 1:] * scale
    of_first, gradient = fit.covariance[:, LIGHT, 1:, 1:], fit.period_gradient.copy()
    # The scale is known only as well as the two means. Its error makes the whole pattern larger or smaller.
    u_pattern = second * u_visits[:, None] / mean
    of_second = (
        fit.covariance[:, AGAIN, 1:, 1:] * scale[:, :, None] ** 2 + u_pattern[:, :, None] * u_pattern[:, None, :]
    )
    variance = _diagonal(of_first) + _diagonal(of_second)
    unlike = ((first - second) ** 2 / np.maximum(variance, np.finfo(float).tiny)).sum(axis=1)
    total = np.maximum(variance.sum(axis=1), np.finfo(float).tiny)
    share = np.where(unlike < MOST_UNLIKE, _diagonal(of_first).sum(axis=1) / total, 0.0)[:, None]
    coefficients, covariance = fit.coefficients_n.copy(), fit.covariance.copy()
    coefficients[:, LIGHT, 1:] = (1 - share) * first + share * second
    gradient[:, LIGHT, 1:] = (1 - share) * gradient[:, LIGHT, 1:] + share * gradient[:, AGAIN, 1:] * scale
    covariance[:, LIGHT, 0, 1:] *= 1 - share
    covariance[:, LIGHT, 1:, 0] *= 1 - share
    covariance[:, LIGHT, 1:, 1:] = (1 - share[:, :, None]) ** 2 * of_first + share[:, :, None] ** 2 * of_second
    return replace(fit, coefficients_n=coefficients, covariance=covariance, period_gradient=gradient)


def _diagonal(matrices: Array) -> Array:
    """Return the diagonals of matrices, shape (S, n)."""
    return np.diagonal(matrices, axis1=1, axis2=2)


def _phases_aligned(fit: HarmonicFit) -> HarmonicFit:
    """Return the fit with its period, and so every angle, improved by the phases of the bow where these agree.

    A weighted line goes through three phases: psi_d + slope_d e = psi, with the common phase psi and the relative
    change e of the period. Earlier knowledge of the period counts as one more reading of e.
    """
    phase, slope, weight = _phases(fit)
    apart = np.angle(np.exp(1j * (phase - phase[:, FULL, None])))
    total = np.maximum(weight.sum(axis=1), np.finfo(float).tiny)
    apart -= ((weight * apart).sum(axis=1) / total)[:, None]
    slope = slope - ((weight * slope).sum(axis=1) / total)[:, None]
    known = fit.u_relative_period**-2
    information = (weight * slope**2).sum(axis=1) + known
    change = -(weight * slope * apart).sum(axis=1) / information
    disagreement = (weight * (apart + slope * change[:, None]) ** 2).sum(axis=1) + known * change**2
    return _changed(fit, change, information**-0.5, disagreement < MOST_APART)


def _phases(fit: HarmonicFit) -> tuple[Array, Array, Array]:
    """Return phase of the first harmonic, its change per relative change of period, and its weight, each (S, D)."""
    c, s = fit.coefficients_n[..., 1], fit.coefficients_n[..., 2]
    covariance, gradient = fit.covariance, fit.period_gradient
    square = np.maximum(c**2 + s**2, np.finfo(float).tiny)
    across = s**2 * covariance[..., 1, 1] - 2 * s * c * covariance[..., 1, 2] + c**2 * covariance[..., 2, 2]
    variance = (covariance[..., 1, 1] + covariance[..., 2, 2]) / 2
    weight = np.where(square > SIGNIFICANT * variance, square**2 / np.maximum(across, np.finfo(float).tiny), 0.0)
    return np.arctan2(s, c), (c * gradient[..., 2] - s * gradient[..., 1]) / square, weight


def _changed(fit: HarmonicFit, change: Array, u_period: Array, agrees: Mask) -> HarmonicFit:
    """Return the fit after a relative change of the period where the phases agree, unchanged elsewhere."""
    change = np.where(agrees, change, 0.0)
    return replace(
        fit,
        coefficients_n=fit.coefficients_n + fit.period_gradient * change[:, None, None],
        steps_per_turn=fit.steps_per_turn * np.exp(change),
        u_relative_period=np.where(agrees, u_period, fit.u_relative_period),
    )
