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
    """One linear fit at the current period and the Gauss-Newton step of the period that follows from it."""

    def __init__(self, turns: Turns, keep: Array, log_period: Array) -> None:
        angle = turns.steps * (2 * np.pi * np.exp(-log_period))[:, None, None]
        self.largest_angle = np.abs(angle * keep).max(axis=(1, 2))
        columns = basis(angle)
        kept = columns * keep[:, :, None, :]
        self.inverse = np.linalg.inv(kept @ columns.transpose(0, 1, 3, 2))
        self.coefficients = self._solve(kept, turns.force_n)
        self.residual = turns.force_n - self._evaluate(self.coefficients, columns)
        # Force changes with the logarithm of the period as minus the angle times its slope in angle.
        tangent = self._evaluate(derivative_columns(self.coefficients), columns)
        tangent *= -angle
        self.period_gradient = self._solve(kept, tangent)
        tangent -= self._evaluate(self.period_gradient, columns)
        tangent *= keep
        self.squares = np.einsum("sdn,sdn,sdn->sd", self.residual, self.residual, keep)
        self.information = np.einsum("sdn,sdn->sd", tangent, tangent)
        self.pull = np.einsum("sdn,sdn->sd", tangent, self.residual)

    def _solve(self, kept: Array, values: Array) -> Array:
        moments = kept @ values[..., None]
        return (self.inverse @ moments)[..., 0]

    @staticmethod
    def _evaluate(coefficients: Array, columns: Array) -> Array:
        return (coefficients[:, :, None, :] @ columns)[:, :, 0, :]


def fit_turns(turns: Turns, nominal_steps: Array, u_relative_nominal: Array) -> HarmonicFit:
    """Fit all shafts; the nominal steps per turn [S] with their relative uncertainty [S] act as one more reading.

    With a bow or a stiff side in the signal the readings settle the period to a few millionths and the
    nominal value has no say; with neither, it keeps the period from wandering off with the noise.
    Needs at least 40 valid readings at each depth. Every fourth reading finds the period nearly as well as
    all of them at a quarter of the cost, so those go first.
    """
    nominal_log = np.log(nominal_steps)
    every_fourth = Turns(*(part[..., ::COARSE] for part in (turns.steps, turns.force_n, turns.valid)))
    coarse = _Iteration(every_fourth, nominal_log, nominal_log, u_relative_nominal)
    for _ in range(2):
        coarse.improve()
    fit = _Iteration(turns, coarse.log_period, nominal_log, u_relative_nominal)
    for _ in range(MOST_PASSES):
        fit.improve()
    return fit.result()


class _Iteration:
    """Repeats the pass on those shafts that have not come to rest."""

    def __init__(self, turns: Turns, start_log: Array, nominal_log: Array, u_nominal: Array) -> None:
        shafts, depths, _ = turns.force_n.shape
        self.turns, self.nominal_log, self.u_nominal = turns, nominal_log, u_nominal
        self.keep = turns.valid.astype(float)
        self.log_period = start_log.copy()
        self.u_period = u_nominal.copy()
        self.coefficients = np.zeros((shafts, depths, COLUMNS))
        self.gradient = np.zeros((shafts, depths, COLUMNS))
        self.inverse = np.zeros((shafts, depths, COLUMNS, COLUMNS))
        self.scatter = np.zeros((shafts, depths))
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
        now = _Pass(turns, self.keep[index], self.log_period[index])
        degrees = self.keep[index].sum(axis=-1) - COLUMNS
        variance = now.squares / degrees
        step, u_period = self._period_step(now, variance, index)
        # A reading at the very limit could go in and out for ever; once the period is found it may only go out.
        keep = self._screen(now.residual, self.keep[index] > 0 if self.passes >= FREE_PASSES else turns.valid)
        self.passes += 1
        self._store(index, now, variance, step, u_period)
        turned = np.abs(step) * now.largest_angle
        settled = (keep == self.keep[index]).all(axis=(1, 2)) & (turned < SMALL_TURN_RAD)
        self.log_period[index] += step
        self.keep[index] = keep
        self.moving[index] = ~settled

    def _period_step(self, now: _Pass, variance: Array, index: NDArray[np.int64]) -> tuple[Array, Array]:
        """Weighted step of ln(period) and its standard uncertainty, prior knowledge included."""
        weight = 1 / np.maximum(variance, np.finfo(float).tiny)
        prior = self.u_nominal[index] ** -2
        information = (now.information * weight).sum(axis=1) + prior
        pull = (now.pull * weight).sum(axis=1) + (self.nominal_log - self.log_period)[index] * prior
        return pull / information, information**-0.5

    @staticmethod
    def _screen(residual: Array, valid: Mask) -> Array:
        distance = np.abs(residual)
        sigma = MAD_TO_SIGMA * median_of_valid(distance, valid)
        return (valid & (distance <= REJECT_SIGMAS * sigma[..., None])).astype(float)

    def _store(self, index: NDArray[np.int64], now: _Pass, variance: Array, step: Array, u_period: Array) -> None:
        self.coefficients[index] = now.coefficients - now.period_gradient * step[:, None, None]
        self.gradient[index] = -now.period_gradient
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
