"""Combine the fits of one shaft at its three depths into one consistent fit.

Within one depth a shaft turns twice; from the first to the last depth it turns six times or more. Its bow stays where
it is, so the phases of the once-per-turn harmonic at the three depths fix the period with three times the lever, and
tell how much more the rollers slip under the full load. So do the phases of the twice-per-turn harmonic at both visits
to the light depth; at the full depth it has another phase where the shaft is out of round. Only phases are compared:
the amplitude of the bow at a depth depends on the shaft's stiffness.

The light depth is visited twice. Apart from hysteresis both visits see the same pattern, so their mean is better than
either. Where phases or patterns disagree (the shaft skidded, a crack opened), each depth keeps its own fit.
"""

from dataclasses import replace

import numpy as np

from midspan.measurement.calibrated_columns import AGAIN, FULL, LIGHT, MIDDLE, CalibratedReadings
from midspan.measurement.harmonics import Array, HarmonicFit, Mask, derivative_columns

SIGNIFICANT = 13.8  # a harmonic is real when its squared amplitude exceeds this many variances: one chance in 1000
# Chi square of up to three phases that can disagree. One chance in 1000 makes the angles less certain; one in a million
# is a reason to measure again, because every shaft of every night is asked.
MOST_APART = (10.8, 10.8, 13.8, 16.3)
SLIPPED = (23.9, 23.9, 27.6, 30.7)
MOST_UNLIKE = 22.5  # chi square of six degrees of freedom, one chance in 1000
_COMPARED = ((1, (LIGHT, FULL, AGAIN)), (2, (LIGHT, AGAIN)))  # orders whose phases agree, and the depths at which


def joined(fit: HarmonicFit, forces: CalibratedReadings) -> tuple[HarmonicFit, Array, Mask]:
    """Return the fit improved by what its depths have in common, and how far apart their phases are.

    The means of the depths stay as they are.

    Parameters
    ----------
    fit : HarmonicFit
        Fit with each depth on its own.
    forces : CalibratedReadings
        Zeros of the same shafts.

    Returns
    -------
    fit : HarmonicFit
        Fit with a better period and better harmonics at the light depth.
    apart_rad : ndarray
        How far the shaft may lie from where an even turning would have taken it, rad, shape (S,); 0 where noise
        explains it.
    slipped : ndarray of bool
        True where it surely does, shape (S,).
    """
    aligned, apart, slipped = _phases_aligned(fit)
    return _visits_averaged(aligned, u_visits_n(fit, forces)), apart, slipped


def skidded(fit: HarmonicFit, rad: Array) -> HarmonicFit:
    """Return a fit whose angles are uncertain at each depth by itself.

    Parameters
    ----------
    fit : HarmonicFit
        Fit of S shafts.
    rad : ndarray
        Standard uncertainty of the angle at each depth, rad, shape (S, D).

    Returns
    -------
    HarmonicFit
        The same fit with a further cause for each depth in `unseen`.
    """
    shafts, depths, columns = fit.coefficients_n.shape
    turned = np.zeros((shafts, depths, depths, columns))
    number = np.arange(depths)
    turned[:, number, number] = derivative_columns(fit.coefficients_n) * rad[..., None]
    return replace(fit, unseen=turned if fit.unseen is None else np.concatenate([fit.unseen, turned], axis=1))


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
    shared, unseen = (_causes_averaged(causes, share, scale) for causes in (fit.shared, fit.unseen))
    coefficients, covariance = fit.coefficients_n.copy(), fit.covariance.copy()
    coefficients[:, LIGHT, 1:] = (1 - share) * first + share * second
    gradient[:, LIGHT, 1:] = (1 - share) * gradient[:, LIGHT, 1:] + share * gradient[:, AGAIN, 1:] * scale
    covariance[:, LIGHT, 0, 1:] *= 1 - share
    covariance[:, LIGHT, 1:, 0] *= 1 - share
    covariance[:, LIGHT, 1:, 1:] = (1 - share[:, :, None]) ** 2 * of_first + share[:, :, None] ** 2 * of_second
    return replace(
        fit, coefficients_n=coefficients, covariance=covariance, period_gradient=gradient, shared=shared, unseen=unseen
    )


def _causes_averaged(causes: Array | None, share: Array, scale: Array) -> Array | None:
    """Return changes of coefficients with those of the light depth averaged by the share of the second visit."""
    if causes is None:
        return None
    averaged, part = causes.copy(), share[:, None]
    averaged[:, :, LIGHT, 1:] *= 1 - part
    averaged[:, :, LIGHT, 1:] += part * scale[:, None] * causes[:, :, AGAIN, 1:]
    return averaged


def _diagonal(matrices: Array) -> Array:
    """Return the diagonals of matrices, shape (S, n)."""
    return np.diagonal(matrices, axis1=1, axis2=2)


def _phases_aligned(fit: HarmonicFit) -> tuple[HarmonicFit, Array, Mask]:
    """Return the fit with its angles improved by phases that agree, how far these are apart, and if noise cannot be it.

    The unknowns are those of the fit in units of their uncertainty, x: the period, then the shared ones. A phase obeys
    psi_d + slope_d x = psi, with a common phase psi for each order; x counts as one more reading of 0.
    """
    u_period = fit.u_relative_period
    changes = (fit.period_gradient * u_period[:, None, None])[:, None]
    if fit.shared is not None:
        changes = np.concatenate([changes, fit.shared], axis=1)
    apart, slope, weight = (np.concatenate(parts, axis=1) for parts in zip(*_compared(fit, changes), strict=True))
    across = (slope * weight[..., None]).transpose(0, 2, 1)
    number = np.arange(changes.shape[1])
    moments = across @ slope
    moments[:, number, number] += 1.0
    covariance = np.linalg.inv(moments)
    x = -(covariance @ (across @ apart[..., None]))[..., 0]
    left = apart + (slope @ x[..., None])[..., 0]
    disagreement = (weight * left**2).sum(axis=1) + (x**2).sum(axis=1)
    ends = np.cumsum([len(depths) for _, depths in _COMPARED])
    free = sum(np.maximum((part > 0).sum(axis=1) - 1, 0) for part in np.split(weight, ends[:-1], axis=1))
    agrees = disagreement < np.array(MOST_APART)[free]
    real = weight > 0
    wide = np.where(real, apart, -np.inf).max(axis=1) - np.where(real, apart, np.inf).min(axis=1)
    x = np.where(agrees[:, None], x, 0.0)
    factor = np.where(agrees[:, None, None], np.linalg.cholesky(covariance), np.eye(len(number)))
    shafts, _, depths, columns = changes.shape
    rows = changes.reshape(shafts, len(number), -1)
    moved = (x[:, None, :] @ rows).reshape(shafts, depths, columns)
    after = (factor.transpose(0, 2, 1) @ rows).reshape(changes.shape)
    share = factor[:, 0, 0]
    aligned = replace(
        fit,
        coefficients_n=fit.coefficients_n + moved,
        steps_per_turn=fit.steps_per_turn * np.exp(x[:, 0] * u_period),
        u_relative_period=u_period * share,
        period_gradient=after[:, 0] / (u_period * share)[:, None, None],
        shared=None if fit.shared is None else after[:, 1:],
    )
    return aligned, np.where(agrees, 0.0, wide), disagreement > np.array(SLIPPED)[free]


def _compared(fit: HarmonicFit, changes: Array) -> list[tuple[Array, Array, Array]]:
    """Return phases less their mean, their slopes by the unknowns less the mean slope, and weights for each order."""
    result = []
    for order, depths in _COMPARED:
        phase, slope, weight = _phases(fit, changes, order)
        depth = list(depths)
        middle = phase[:, FULL, None] if FULL in depths else phase[:, AGAIN, None]
        apart = np.angle(np.exp(1j * (phase[:, depth] - middle)))
        slope, weight = slope[:, depth], weight[:, depth]
        total = np.maximum(weight.sum(axis=1), np.finfo(float).tiny)
        apart = apart - ((weight * apart).sum(axis=1) / total)[:, None]
        slope = slope - ((weight[..., None] * slope).sum(axis=1) / total[:, None])[:, None, :]
        result.append((apart / order, slope / order, weight * order**2))
    return result


def _phases(fit: HarmonicFit, changes: Array, order: int) -> tuple[Array, Array, Array]:
    """Return phase of a harmonic (S, D), its change by each unknown (S, D, unknowns), and its weight (S, D)."""
    i = 2 * order - 1
    c, s = fit.coefficients_n[..., i], fit.coefficients_n[..., i + 1]
    of_c, of_s = fit.covariance[..., i, i], fit.covariance[..., i + 1, i + 1]
    square = np.maximum(c**2 + s**2, np.finfo(float).tiny)
    across = s**2 * of_c - 2 * s * c * fit.covariance[..., i, i + 1] + c**2 * of_s
    real = square > SIGNIFICANT * (of_c + of_s) / 2
    if fit.unseen is not None:
        unseen = c[:, None] * fit.unseen[..., i + 1] - s[:, None] * fit.unseen[..., i]
        across = across + (unseen**2).sum(axis=1)
    weight = np.where(real, square**2 / np.maximum(across, np.finfo(float).tiny), 0.0)
    slope = (c[:, None] * changes[..., i + 1] - s[:, None] * changes[..., i]) / square[:, None]
    return np.arctan2(s, c), slope.transpose(0, 2, 1), weight
