"""Robust harmonic fits of force against angle, for many shafts at once.

While a shaft turns at a fixed depth its force repeats with the angle. Each depth gets a mean and harmonics of
orders 1 to 3; all depths of a shaft share one unknown, the rotate steps per revolution, because a roller
turns the shaft by friction and slips a little. The fit is Gauss-Newton in that one unknown and exact linear
least squares in the others; readings further than a few robust standard deviations away are left out and the
fit repeated, so a spike does not move the result, while clean readings keep full efficiency.

A shaft's numbers do not depend on its company: the same bits come out alone and in a batch of thousands.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ORDERS = 3
COLUMNS = 2 * ORDERS + 1
REJECT_SIGMAS = 5.0  # of clean normal readings one in two million is lost: no efficiency is given away
MAD_TO_SIGMA = 1.482602218505602  # normal distribution: 1 / quantile(0.75)
MOST_PASSES = 12
COARSE = 4
FREE_PASSES = 2  # in these the period may still be so far off that good readings look bad
# A step of the period that turns the last reading by less than this is taken to first order instead of by
# another pass: what that leaves out is half its square, 1e-5 of a bow's force, far below the noise.
SMALL_TURN_RAD = 5e-3
_ORDER_OF_COLUMN = np.array([0.0, 1, 1, 2, 2, 3, 3])


@dataclass(frozen=True)
class Turns:
    """Readings of S shafts at D depths, padded to N: steps from the angle origin, force, and which are real."""

    steps: Array  # [S, D, N]
    force_n: Array  # [S, D, N]
    valid: Mask  # [S, D, N]


@dataclass(frozen=True)
class HarmonicFit:
    """Result for S shafts at D depths; columns are mean, cos 1, sin 1, cos 2, sin 2, cos 3, sin 3.

    Angles are counted from the origin of ``Turns.steps``; ``steps_per_turn`` and its standard uncertainty
    include what was known beforehand. ``covariance`` is that of the coefficients at a known period, with
    the scatter of the readings around the fit; ``period_gradient`` is the change of the coefficients per
    unit of relative period, through which its uncertainty enters them.
    """

    coefficients_n: Array  # [S, D, 7]
    covariance: Array  # [S, D, 7, 7]
    scatter_n: Array  # [S, D], standard deviation of the readings around the fit
    used: NDArray[np.int64]  # [S, D]
    left_out: NDArray[np.int64]  # [S, D]
    steps_per_turn: Array  # [S]
    u_relative_period: Array  # [S]
    period_gradient: Array  # [S, D, 7]
    converged: Mask  # [S]


def basis(angle_rad: Array) -> Array:
    """Columns 1, cos a, sin a, cos 2a, sin 2a, cos 3a, sin 3a on a new axis before the last.

    Higher orders by the addition theorems: two transcendental functions a reading are dear enough.

    >>> basis(np.array([0.0])).ravel().tolist()
    [1.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0]
    """
    out = np.empty((*angle_rad.shape[:-1], COLUMNS, angle_rad.shape[-1]))
    out[..., 0, :] = 1.0
    c1 = np.cos(angle_rad, out=out[..., 1, :])
    s1 = np.sin(angle_rad, out=out[..., 2, :])
    c2, s2 = out[..., 3, :], out[..., 4, :]
    np.multiply(c1, c1, out=c2)
    c2 *= 2
    c2 -= 1
    np.multiply(s1, c1, out=s2)
    s2 *= 2
    np.subtract(c2 * c1, s2 * s1, out=out[..., 5, :])
    np.add(s2 * c1, c2 * s1, out=out[..., 6, :])
    return out


def derivative_columns(coefficients: Array) -> Array:
    """Coefficients of the derivative with respect to the angle, same shape.

    >>> derivative_columns(np.array([5.0, 1, 2, 3, 4, 0, 0])).tolist()
    [0.0, 2.0, -1.0, 8.0, -6.0, 0.0, -0.0]
    """
    out = np.zeros_like(coefficients)
    out[..., 1::2] = coefficients[..., 2::2] * _ORDER_OF_COLUMN[2::2]
    out[..., 2::2] = -coefficients[..., 1::2] * _ORDER_OF_COLUMN[1::2]
    return out


def median_of_valid(values: Array, valid: Mask) -> Array:
    """Median of the valid entries along the last axis (lower middle for even counts: one partition serves)."""
    counts = valid.sum(axis=-1)
    middle = np.maximum(counts - 1, 0) // 2
    padded = np.where(valid, values, np.inf)
    padded.partition(np.unique(middle), axis=-1)
    return np.take_along_axis(padded, middle[..., None], axis=-1)[..., 0]


class _Pass:
    """All columns at the current period: one linear fit, and the Gauss-Newton step of the period that follows."""

    def __init__(self, turns: Turns, log_period: Array) -> None:
        self.force_n = turns.force_n
        self.angle = turns.steps * (2 * np.pi * np.exp(-log_period))[:, None, None]
        self.columns = basis(self.angle)

    def residual_of(self, coefficients: Array) -> Array:
        """Readings minus the curve with these coefficients."""
        return self.force_n - self._evaluate(coefficients)

    def fit(self, keep: Array) -> None:
        """Least squares over the readings kept, and how the period pulls on what is left."""
        kept = self.columns * keep[:, :, None, :]
        self.inverse = np.linalg.inv(kept @ self.columns.transpose(0, 1, 3, 2))
        self.coefficients = self._solve(kept, self.force_n)
        self.residual = self.residual_of(self.coefficients)
        # Force changes with the logarithm of the period as minus the angle times its slope in angle.
        tangent = self._evaluate(derivative_columns(self.coefficients))
        tangent *= -self.angle
        self.shared = self._solve(kept, tangent)
        tangent -= self._evaluate(self.shared)
        tangent *= keep
        self.squares = np.einsum("sdn,sdn,sdn->sd", self.residual, self.residual, keep)
        self.information = np.einsum("sdn,sdn->sd", tangent, tangent)
        self.pull = np.einsum("sdn,sdn->sd", tangent, self.residual)

    def _solve(self, kept: Array, values: Array) -> Array:
        moments = kept @ values[..., None]
        return (self.inverse @ moments)[..., 0]

    def _evaluate(self, coefficients: Array) -> Array:
        return (coefficients[:, :, None, :] @ self.columns)[:, :, 0, :]


def fit_turns(turns: Turns, nominal_steps: Array, u_relative_nominal: Array) -> HarmonicFit:
    """Fit all shafts; the nominal steps per turn [S] with their relative uncertainty [S] act as one more reading.

    With a bow or a stiff side in the signal the readings settle the period to a few millionths and the
    nominal value has no say; with neither, it keeps the period from wandering off with the noise.
    Needs at least 40 valid readings at each depth. Every fourth reading finds the period nearly as well as
    all of them at a quarter of the cost, so those go first.
    """
    nominal_log = np.log(nominal_steps)
    every_fourth = Turns(turns.steps[..., ::COARSE], turns.force_n[..., ::COARSE], turns.valid[..., ::COARSE])
    coarse = _Iteration(every_fourth, nominal_log, u_relative_nominal)
    for _ in range(2):
        coarse.improve()
    fit = _Iteration(turns, nominal_log, u_relative_nominal, start=coarse)
    for _ in range(MOST_PASSES):
        fit.improve()
    return fit.result()


class _Iteration:
    """Repeats the pass on those shafts that have not come to rest."""

    def __init__(self, turns: Turns, nominal_log: Array, u_nominal: Array, start: "_Iteration | None" = None) -> None:
        shafts, depths, _ = turns.force_n.shape
        self.turns, self.nominal_log, self.u_nominal = turns, nominal_log, u_nominal
        self.keep = turns.valid.astype(float)
        self.log_period: Array = (start.log_period if start else nominal_log).copy()
        self.u_period = u_nominal.copy()
        self.coefficients: Array = start.coefficients if start else np.zeros((shafts, depths, COLUMNS))
        self.screen_first = start is not None
        self.gradient = np.zeros((shafts, depths, COLUMNS))
        self.inverse = np.zeros((shafts, depths, COLUMNS, COLUMNS))
        self.scatter: Array = start.scatter if start else np.zeros((shafts, depths))
        self.moving = np.ones(shafts, bool)
        self.passes = 0

    def improve(self) -> None:
        """One pass over the shafts still moving, if there are any."""
        index = np.flatnonzero(self.moving)
        if not index.size:
            return
        turns = self.turns
        if index.size < self.moving.size:
            turns = Turns(turns.steps[index], turns.force_n[index], turns.valid[index])
        now = _Pass(turns, self.log_period[index])
        keep = self.keep[index]
        if self.screen_first and not self.passes:
            keep = self._screen(now.residual_of(self.coefficients), turns.valid, self.scatter)
        now.fit(keep)
        variance = now.squares / (keep.sum(axis=-1) - COLUMNS)
        step, u_period = self._period_step(now, variance, index)
        # A reading at the very limit could go in and out for ever; once the period is found it may only go out.
        allowed = keep > 0 if self.passes >= FREE_PASSES else turns.valid
        after = self._screen(now.residual, allowed, self._sigma(now.residual, turns.valid, variance))
        self._store(index, now, variance, step, u_period)
        turned = np.abs(step) * np.abs(now.angle).max(axis=(1, 2))
        settled = (after == keep).all(axis=(1, 2)) & (turned < SMALL_TURN_RAD)
        self.log_period[index] += step
        self.keep[index] = after
        self.moving[index] = ~settled
        self.passes += 1

    def _period_step(self, now: _Pass, variance: Array, index: NDArray[np.int64]) -> tuple[Array, Array]:
        """Weighted step of ln(period) and its standard uncertainty, prior knowledge included."""
        weight = 1 / np.maximum(variance, np.finfo(float).tiny)
        prior = self.u_nominal[index] ** -2
        information = (now.information * weight).sum(axis=1) + prior
        pull = (now.pull * weight).sum(axis=1) + (self.nominal_log - self.log_period)[index] * prior
        return pull / information, information**-0.5

    def _sigma(self, residual: Array, valid: Mask, variance: Array) -> Array:
        """Scatter to screen by: robust while outliers are still in, then that of the readings kept."""
        if self.screen_first:
            return np.sqrt(variance)
        return MAD_TO_SIGMA * median_of_valid(np.abs(residual), valid)

    @staticmethod
    def _screen(residual: Array, allowed: Mask, sigma: Array) -> Array:
        return (allowed & (np.abs(residual) <= REJECT_SIGMAS * sigma[..., None])).astype(float)

    def _store(self, index: NDArray[np.int64], now: _Pass, variance: Array, step: Array, u_period: Array) -> None:
        self.coefficients[index] = now.coefficients - now.shared * step[:, None, None]
        self.gradient[index] = -now.shared
        self.inverse[index], self.scatter[index] = now.inverse, np.sqrt(variance)
        self.u_period[index] = u_period

    def result(self) -> HarmonicFit:
        used = self.keep.sum(axis=-1).astype(np.int64)
        return HarmonicFit(
            self.coefficients,
            self.inverse * (self.scatter**2)[..., None, None],
            self.scatter,
            used,
            self.turns.valid.sum(axis=-1) - used,
            np.exp(self.log_period),
            self.u_period,
            self.gradient,
            ~self.moving,
        )
