"""Robust fits of force against angle while the shafts turn, for many shafts at once.

All depths of a shaft share one unknown, the rotate steps per revolution: a roller turns the shaft by friction and
slips a little. The fit is Gauss-Newton in that unknown and exact linear least squares in the harmonics. Readings
further than a few robust standard deviations away are left out and the fit is repeated. So a spike does not move the
result, and clean readings keep full efficiency.

The numbers of a shaft do not depend on the batch: the same bits come out alone and among thousands.
"""

import numpy as np
from numpy.typing import NDArray

from midspan.base.errors import ConversionError
from midspan.measurement.harmonics import (
    COLUMNS,
    MAD_TO_SIGMA,
    MOST_ORDERS,
    ORDERS,
    REJECT_SIGMAS,
    Array,
    HarmonicFit,
    Mask,
    Turns,
    basis,
    derivative_columns,
    median_of_valid,
)  # fmt: skip

MOST_PASSES = 12
COARSE = 4
# The coarse stage has a quarter of the readings. Two for each of its coefficients leave a scatter to screen by.
FEWEST_OF_DEPTH = COARSE * 2 * COLUMNS
BENT_SHARE = 0.4  # of the scatter of the very first curve
FREE_PASSES = 2  # in these the period may still be so far off that good readings look bad
LARGEST_INFLATION = 10.0  # of a coefficient's variance times the readings; 1 and 2 for angles evenly around
# A step of the period that turns the last reading by less than this is applied to first order, without another pass.
# The error is half its square, 1e-5 of a bow's force, far below the noise.
SMALL_TURN_RAD = 5e-3
NOT_AROUND = "the angles of the readings do not go evenly around the shaft: did it turn at each depth, once at least?"


def _inverse(moments: Array, readings: Array) -> Array:
    """Return the inverse of the moments (S, D, C, C); ConversionError if the angles cannot support the fit."""
    try:
        inverse = np.asarray(np.linalg.inv(moments), np.float64)
    except np.linalg.LinAlgError as error:
        raise ConversionError(NOT_AROUND) from error
    if not _supported(inverse, readings).all():
        raise ConversionError(NOT_AROUND)
    return inverse


def _supported(inverse: Array, readings: Array) -> Mask:
    """Return True for the shafts whose angles leave no coefficient too uncertain, shape (S,)."""
    inflation = np.diagonal(inverse, axis1=-2, axis2=-1) * readings[..., None]
    return np.asarray(((inflation > 0) & (inflation < LARGEST_INFLATION)).all(axis=(1, 2)), bool)


class _Pass:
    """All columns at the current period: one linear fit, and the Gauss-Newton step of the period."""

    def __init__(self, turns: Turns, log_period: Array, orders: int = ORDERS) -> None:
        self.force_n = turns.force_n
        self.angle = turns.steps * (2 * np.pi * np.exp(-log_period))[:, None, None]
        self.columns = basis(self.angle, orders)

    def residual_of(self, coefficients: Array) -> Array:
        """Return the readings minus the curve with these coefficients."""
        return self.force_n - self._evaluate(coefficients)

    def fit(self, keep: Array) -> None:
        """Fit the readings to keep by least squares, and find how the period acts on what is left."""
        kept = self.columns * keep[:, :, None, :]
        self.inverse = _inverse(kept @ self.columns.transpose(0, 1, 3, 2), keep.sum(axis=-1))
        self.coefficients = self._solve(kept, self.force_n)
        self.residual = self.residual_of(self.coefficients)
        # Force changes with the logarithm of the period as minus the angle times its slope in angle.
        tangent = self._evaluate(derivative_columns(self.coefficients))
        tangent *= -self.angle
        self.shared = self._solve(kept, tangent)
        tangent -= self._evaluate(self.shared)
        tangent *= keep
        left = self.residual * keep
        self.squares = np.vecdot(left, left)
        self.information = np.vecdot(tangent, tangent)
        self.pull = np.vecdot(tangent, left)

    def _solve(self, kept: Array, values: Array) -> Array:
        """Return the least-squares coefficients of values at the kept readings."""
        moments = kept @ values[..., None]
        return (self.inverse @ moments)[..., 0]

    def _evaluate(self, coefficients: Array) -> Array:
        """Return the curve with these coefficients at each reading."""
        return (coefficients[:, :, None, :] @ self.columns)[:, :, 0, :]


def fit_turns(turns: Turns, nominal_steps: Array, u_relative_nominal: Array) -> HarmonicFit:
    """Return the fit of all shafts; the nominal steps per turn, with their uncertainty, count as one more reading.

    With a bow or a stiff side in the signal the readings fix the period to a few millionths, and the nominal value has
    no effect. With neither, the nominal value keeps the period from following the noise. Every fourth reading finds
    the period nearly as well as all of them, in a quarter of the time, so the fit begins with those.

    Parameters
    ----------
    turns : Turns
        Readings of S shafts, at least FEWEST_OF_DEPTH valid readings at each depth.
    nominal_steps : ndarray
        Nominal rotate steps per turn, shape (S,).
    u_relative_nominal : ndarray
        Their relative standard uncertainty, shape (S,).

    Returns
    -------
    HarmonicFit
        Harmonics at each depth, and the period.

    Raises
    ------
    ConversionError
        The angles of the readings do not go evenly around a shaft.
    """
    nominal_log = np.log(nominal_steps)
    fit = _Iteration(turns, nominal_log, u_relative_nominal, start=_begun(turns, nominal_log, u_relative_nominal))
    for _ in range(MOST_PASSES):
        fit.improve()
    return fit.result()


def fit_more_orders(turns: Turns, fit: HarmonicFit, nominal_steps: Array, u_relative_nominal: Array) -> HarmonicFit:
    """Return the fit with orders up to MOST_ORDERS, begun where the fit of fewer orders ended.

    Parameters
    ----------
    turns : Turns
        Readings of S shafts, each of them with True in `supports_more_orders`.
    fit : HarmonicFit
        Fit of the same readings.
    nominal_steps : ndarray
        Nominal rotate steps per turn, shape (S,).
    u_relative_nominal : ndarray
        Their relative standard uncertainty, shape (S,).

    Returns
    -------
    HarmonicFit
        Harmonics with 2 MOST_ORDERS + 1 columns.

    Raises
    ------
    ConversionError
        The angles of the readings that are left do not go evenly around a shaft.
    """
    start = _Iteration(turns, np.log(fit.steps_per_turn), fit.u_relative_period, orders=MOST_ORDERS)
    start.coefficients[..., : fit.coefficients_n.shape[-1]] = fit.coefficients_n
    start.sigma = fit.scatter_n
    more = _Iteration(turns, np.log(nominal_steps), u_relative_nominal, start, MOST_ORDERS)
    for _ in range(MOST_PASSES):
        more.improve()
    return more.result()


def supports_more_orders(turns: Turns, fit: HarmonicFit) -> Mask:
    """Return True for the shafts whose readings lie closely enough around for orders up to MOST_ORDERS.

    Parameters
    ----------
    turns : Turns
        Readings of S shafts.
    fit : HarmonicFit
        Fit of the same readings.

    Returns
    -------
    ndarray of bool
        Shape (S,).
    """
    columns = basis(turns.steps * (2 * np.pi / fit.steps_per_turn)[:, None, None], MOST_ORDERS)
    moments = (columns * fit.kept[:, :, None, :]) @ columns.transpose(0, 1, 3, 2)  # type: ignore[index]
    inverse = np.linalg.pinv(moments, hermitian=True)
    full = np.linalg.matrix_rank(moments, hermitian=True) == moments.shape[-1]
    result: Mask = full.all(axis=1) & _supported(inverse, fit.used.astype(float))
    return result


def _begun(turns: Turns, nominal_log: Array, u_nominal: Array) -> "_Iteration":
    """Return a fit of every fourth reading; of more of them for a single shaft whose few readings then lie unevenly.

    Shafts that are fitted together all have every fourth, so that the numbers of each do not depend on the others.
    """
    for each in (COARSE, COARSE // 2, 1):
        some = Turns(turns.steps[..., ::each], turns.force_n[..., ::each], turns.valid[..., ::each])
        coarse = _Iteration(some, nominal_log, u_nominal)
        coarse.keep = _near_the_median(some)
        try:
            for _ in range(3):
                coarse.improve()
        except ConversionError:
            if each == 1 or len(nominal_log) > 1:
                raise
        else:
            break
    return coarse


def _near_the_median(turns: Turns) -> Array:
    """Return 1.0 for the readings to begin with: a spike of many newtons would pull the first fit away from the others.

    Harmonics reach about 1.4 times the median of their distance from the middle, far inside this limit.
    """
    distance = np.abs(turns.force_n - median_of_valid(turns.force_n, turns.valid)[..., None])
    limit = REJECT_SIGMAS * MAD_TO_SIGMA * median_of_valid(distance, turns.valid)
    return (turns.valid & (distance <= limit[..., None])).astype(float)


class _Iteration:
    """The fit of all shafts, improved pass by pass; only shafts that have not converged take part in a pass."""

    def __init__(
        self,
        turns: Turns,
        nominal_log: Array,
        u_nominal: Array,
        start: "_Iteration | None" = None,
        orders: int = ORDERS,
    ) -> None:
        shafts, depths, _ = turns.force_n.shape
        self.orders, columns = orders, 2 * orders + 1
        self.turns, self.nominal_log, self.u_nominal = turns, nominal_log, u_nominal
        self.keep = turns.valid.astype(float)
        self.log_period: Array = (start.log_period if start else nominal_log).copy()
        self.u_period = u_nominal.copy()
        self.coefficients: Array = start.coefficients if start else np.zeros((shafts, depths, columns))
        self.screen_first = start is not None
        self.gradient = np.zeros((shafts, depths, columns))
        self.inverse = np.zeros((shafts, depths, columns, columns))
        self.scatter = np.zeros((shafts, depths))
        self.sigma: Array = start.sigma if start else np.zeros((shafts, depths))
        self.moving = np.ones(shafts, bool)
        self.passes = 0

    def improve(self) -> None:
        """Run one pass over the shafts that have not converged; do nothing if all have."""
        index = np.flatnonzero(self.moving)
        if not index.size:
            return
        turns = self.turns
        if index.size < self.moving.size:
            turns = Turns(turns.steps[index], turns.force_n[index], turns.valid[index])
        now = _Pass(turns, self.log_period[index], self.orders)
        keep = self.keep[index]
        if self.screen_first and not self.passes:
            keep = self._screen(now.residual_of(self.coefficients), turns.valid, self.sigma)
        now.fit(keep)
        variance = now.squares / (keep.sum(axis=-1) - (2 * self.orders + 1))
        step, u_period = self._period_step(now, variance, index)
        # A reading right at the limit could alternate for ever; once the period is found it may only be removed.
        allowed = keep > 0 if self.passes >= FREE_PASSES else turns.valid
        self.sigma[index] = self._sigma(now.residual, turns.valid, variance)
        after = self._screen(now.residual, allowed, self.sigma[index])
        self._store(index, now, variance, step, u_period)
        turned = np.abs(step) * np.abs(now.angle).max(axis=(1, 2))
        settled = (after == keep).all(axis=(1, 2)) & (turned < SMALL_TURN_RAD)
        self.log_period[index] += step
        self.keep[index] = after
        self.moving[index] = ~settled
        self.passes += 1

    def _period_step(self, now: _Pass, variance: Array, index: NDArray[np.int64]) -> tuple[Array, Array]:
        """Return the weighted step of ln(period) and its standard uncertainty, prior knowledge included."""
        weight = 1 / np.maximum(variance, np.finfo(float).tiny)
        prior = self.u_nominal[index] ** -2
        information = (now.information * weight).sum(axis=1) + prior
        pull = (now.pull * weight).sum(axis=1) + (self.nominal_log - self.log_period)[index] * prior
        return pull / information, information**-0.5

    def _sigma(self, residual: Array, valid: Mask, variance: Array) -> Array:
        """Return the scatter to screen by: robust while outliers are included, later that of the kept readings."""
        if self.screen_first:
            return np.sqrt(variance)
        robust: Array = MAD_TO_SIGMA * median_of_valid(np.abs(residual), valid)
        # Spikes near each other bend the first curve; without this limit the good readings there would be removed too.
        return robust if self.passes else np.maximum(robust, BENT_SHARE * np.sqrt(variance))

    @staticmethod
    def _screen(residual: Array, allowed: Mask, sigma: Array) -> Array:
        """Return 1.0 for the allowed readings that lie near enough to the curve."""
        return (allowed & (np.abs(residual) <= REJECT_SIGMAS * sigma[..., None])).astype(float)

    def _store(self, index: NDArray[np.int64], now: _Pass, variance: Array, step: Array, u_period: Array) -> None:
        """Keep what a pass found for the shafts that took part in it."""
        self.coefficients[index] = now.coefficients - now.shared * step[:, None, None]
        self.gradient[index] = -now.shared
        self.inverse[index], self.scatter[index] = now.inverse, np.sqrt(variance)
        self.u_period[index] = u_period

    def result(self) -> HarmonicFit:
        """Return the fit as it is now."""
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
            kept=self.keep > 0,
        )
