"""Undo what the converter's filter does to the readings of a turning shaft.

A converter of this kind gives the weighted mean of the force over a few conversions. Two things follow while a shaft
turns. A word belongs to the middle of that time, so it comes late: the angle of a reading is the rotate position at
its tick less the delay. And the mean of a wave is smaller than the wave: of the harmonic of order m at the angular
speed w a share H(m w) is left, which the fitted harmonics are divided by. The mean force around the shaft has no
frequency, so its share is 1 and its spine is untouched; zeros and thresholds of force are read at rest or nearly so.

H is that of a moving average with the calibrated rms width. Any other symmetric response of this width has the same
delay, and differs in the fourth power of m w width; that difference is part of the uncertainty.

The filter of a gauge is in its calibration. Without it, readings of firmware before 1.0.0 are taken as they are, so
that their results stay, and for later ones bounds that suit the converters in use stand in for it.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from midspan.archive.raw_run import RawRun
from midspan.measurement.calibration import Calibration
from midspan.measurement.harmonics import (
    Array,
    HarmonicFit,
    Mask,
    derivative_columns,
    orders_of,
)

FIRST_FILTERED = 1  # major number of the first firmware whose runs are corrected without a calibrated filter
# A converter that settles within about four conversions, in conversions: middle and half width of what is possible
# (GUM 4.3.7). The width goes from that of a fourth-order sinc of single conversions, 0.58, to beyond that of a moving
# average of four, 1.15. Common practice of data sheets, no source.
UNKNOWN_DELAY = (2.0, 1.0)
UNKNOWN_WIDTH = (1.0, 0.75)
BOXCAR = np.sqrt(12.0)  # length of a moving average in units of its rms width
LEAST_LEFT = 0.2  # a smaller share could not be divided out; its uncertainty is then above the harmonic itself


@dataclass(frozen=True)
class Filters:
    """Filters of the converters behind S runs, with standard uncertainties.

    Parameters
    ----------
    delay_us, u_delay_us : ndarray
        Time from the middle of the response to the tick of a word, us, shape (S,).
    width_us, u_width_us : ndarray
        Rms width of the response, us, shape (S,).
    dof_delay, dof_width : ndarray
        Degrees of freedom of the two uncertainties, shape (S,).
    interval_us : ndarray
        Interval between conversions, us, shape (S,).
    """

    delay_us: Array
    u_delay_us: Array
    width_us: Array
    u_width_us: Array
    dof_delay: Array
    dof_width: Array
    interval_us: Array


@dataclass(frozen=True)
class Filtering:
    """Filters of S runs, and how their shafts turned at D depths.

    Parameters
    ----------
    filters : Filters
        Delay and width.
    steps_per_us : ndarray
        Speed of the rotate axis, steps per us, negative backwards, shape (S, D).
    u_depth_steps : ndarray
        Standard uncertainty of the rotate position that all readings of a depth have in common, steps, shape (S, D).
    u_origin_steps : ndarray
        Standard uncertainty of the rotate position of angle 0, steps, shape (S,).
    """

    filters: Filters
    steps_per_us: Array
    u_depth_steps: Array
    u_origin_steps: Array


def is_filtered(run: RawRun, calibration: Calibration) -> bool:
    """Return True if the filter is to be undone: it was calibrated, or the firmware is 1.0.0 or later.

    Parameters
    ----------
    run : RawRun
        Raw run of one shaft.
    calibration : Calibration
        Calibration, with or without a filter.

    Returns
    -------
    bool
        False for a run that is taken as it is.
    """
    if calibration.filter is not None:
        return True
    major = re.match(r"(\d{1,9})\.", run.firmware)
    return major is not None and int(major[1]) >= FIRST_FILTERED


def filters_of(runs: Sequence[RawRun], calibration: Calibration) -> Filters:
    """Return the filters of runs: as calibrated, or within the bounds of the usual converters.

    Parameters
    ----------
    runs : sequence of RawRun
        Raw runs of S shafts, for all of which `is_filtered` is True.
    calibration : Calibration
        Calibration, with or without a filter.

    Returns
    -------
    Filters
        Delay and width.
    """
    interval = np.array([run.interval_us for run in runs], float)
    known, ones = calibration.filter, np.ones(len(runs))
    if known is not None:
        seconds = known.delay_s, known.u_delay_s, known.width_s, known.u_width_s
        delay, u_delay, width, u_width = (1e6 * value * ones for value in seconds)
        return Filters(delay, u_delay, width, u_width, known.dof_delay * ones, known.dof_width * ones, interval)
    (late, far), (wide, off) = UNKNOWN_DELAY, UNKNOWN_WIDTH
    bounded = (share * interval for share in (late, far / np.sqrt(3), wide, off / np.sqrt(3)))
    delay, u_delay, width, u_width = bounded
    return Filters(delay, u_delay, width, u_width, np.inf * ones, np.inf * ones, interval)


def middle_steps(run: RawRun, delay_us: float) -> Array:
    """Return the rotate position in the middle of the time that each reading was taken over.

    Parameters
    ----------
    run : RawRun
        Raw run of one shaft; the board notes the position at the end of the conversion.
    delay_us : float
        Delay of the converter's word, us.

    Returns
    -------
    ndarray
        Position, microsteps, shape (readings,). Before the first reading the axis is taken to stand.
    """
    ticks = run.tick_us.astype(float)
    return np.asarray(np.interp(ticks - delay_us, ticks, run.rotate_steps.astype(float)), np.float64)


def filtering(
    filters: Filters, steps: NDArray[np.int64], tick_us: NDArray[np.int64], valid: Mask, marked: Mask
) -> Filtering:
    """Return the filters of runs with the speed of each depth and with what whole microsteps leave unknown.

    Steps between two readings tell the place within a step, unless each interval has the same number of whole steps:
    then all positions of a depth may be off by the same part of one step, at most by half a step either way.

    Parameters
    ----------
    filters : Filters
        Delay and width.
    steps, tick_us : ndarray of int
        Rotate positions at the ticks, and the ticks, shape (S, D, N).
    valid : ndarray of bool
        True for good readings, which all are taken at a constant speed, same shape.
    marked : ndarray of bool
        True for a run whose angles count from an index mark, which is located to a step, shape (S,).

    Returns
    -------
    Filtering
        Speeds and uncertainties of the positions.
    """
    number = valid.sum(axis=-1, keepdims=True)
    time, place = (_centred(values, valid, number) for values in (tick_us, steps))
    rate = (time * place).sum(axis=-1) / (time * time).sum(axis=-1)
    off = place - rate[..., None] * time
    seen = np.where(valid, off, -np.inf).max(axis=-1) - np.where(valid, off, np.inf).min(axis=-1)
    # Angle 0 is a position at rest, that of a reading one while moving: the rotor may be half a step off either way.
    u_origin = np.sqrt((1 + marked) / 12)
    return Filtering(filters, rate, np.maximum(0.0, 1.0 - seen) / np.sqrt(12), u_origin)


def _centred(values: NDArray[np.int64], valid: Mask, number: NDArray[np.int64]) -> Array:
    """Return valid values less their mean along the last axis, 0 for the others."""
    first = np.where(valid, values - values[..., :1], 0)
    centred: Array = np.where(valid, first - first.sum(axis=-1, keepdims=True) / number, 0.0)
    return centred


def left_of_wave(angle_of_width: Array) -> Array:
    """Return the share of a wave's amplitude that is left by a moving average of a given rms width.

    Parameters
    ----------
    angle_of_width : ndarray
        Angle that the wave turns through in one rms width of the response, rad, any shape.

    Returns
    -------
    ndarray
        Share sin(x) / x, x = sqrt(3) times that angle, which is half of the window; same shape, not below LEAST_LEFT.

    References
    ----------
    Frequency response of the moving average: A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal Processing, in the
    limit of many samples (from memory).

    Examples
    --------
    >>> float(left_of_wave(np.array(0.0))), round(float(left_of_wave(np.array(0.3))), 5)
    (1.0, 0.9556)
    """
    share: Array = np.sinc(BOXCAR / 2 * angle_of_width / np.pi)
    return np.maximum(share, LEAST_LEFT)


def readings_alike(off_n: Array, near: Mask, turned: Filtering | None) -> Array:
    """Return the number of neighbouring readings that share their noise, shape (S,), 1 for independent readings.

    Noise that enters before a moving average over n conversions makes neighbours alike: the variance of a slow harmonic
    is then n times that of as many independent readings of the same scatter. Noise of the word itself does not. The
    share of each shows in the difference of neighbours, against that of readings which have no conversion in common.

    Parameters
    ----------
    off_n : ndarray
        Readings less the curve that fits them, N, shape (S, D, N).
    near : ndarray of bool
        True for the readings that were used in the fit, same shape.
    turned : Filtering | None
        Their filters; None for readings that are taken as they are.

    Returns
    -------
    ndarray
        Number of readings, from 1 to those that the filter spans.
    """
    result = np.ones(len(off_n))
    if turned is None:
        return result
    spans = np.maximum(np.round(2 * turned.filters.delay_us / turned.filters.interval_us).astype(int), 2)
    most = np.maximum(1.0, BOXCAR * turned.filters.width_us / turned.filters.interval_us)
    for span in np.unique(spans).tolist():
        rows = np.flatnonzero(spans == span)
        apart = np.maximum(_mean_square_apart(off_n[rows], near[rows], span), np.finfo(float).tiny)
        ratio = _mean_square_apart(off_n[rows], near[rows], 1) / apart
        # Neighbours within a moving average of n readings differ by one in n of what they have: 1 - ratio is 1 - 1/n.
        result[rows] = np.clip(1 + most[rows] * (1 - ratio), 1.0, most[rows])
    return result


def _mean_square_apart(off: Array, near: Mask, span: int) -> Array:
    """Return the mean square of the difference of readings that lie a span apart, over all depths, shape (S,)."""
    if off.shape[-1] <= span:
        return np.zeros(len(off))
    both = near[..., span:] & near[..., :-span]
    square = np.where(both, (off[..., span:] - off[..., :-span]) ** 2, 0.0).sum(axis=-1).sum(axis=-1)
    result: Array = square / np.maximum(both.sum(axis=(1, 2)), 1)
    return result


def unfiltered(fit: HarmonicFit, turned: Filtering | None, alike: Array) -> HarmonicFit:
    """Return the fit as it would be without the filter; its uncertainty has the noise that readings share.

    Parameters
    ----------
    fit : HarmonicFit
        Fit of S shafts at D depths, with angles at the middle of each reading.
    turned : Filtering | None
        Their filters and speeds; None for readings that are taken as they are.
    alike : ndarray
        Number of neighbouring readings that share their noise, shape (S,).

    Returns
    -------
    HarmonicFit
        Each harmonic divided by the share of it that the filter leaves; the same fit for None.
    """
    if turned is None:
        return fit
    left = left_of_orders(fit, turned)
    gain = 1 / left
    coefficients, share, columns = fit.coefficients_n * gain, alike[:, None], fit.coefficients_n.shape[-1]
    # Of noise that n readings share, each coefficient takes up what belongs to n readings: less is left to scatter.
    inflated = share * (fit.used - columns) / np.maximum(fit.used - columns * share, columns)
    # Noise that the filter made alike has lost as much of a fast wave as the wave itself.
    noise = gain * np.sqrt(1 + (inflated[..., None] - 1) * left**2)
    both = noise[..., :, None] * noise[..., None, :]
    step_rad = 2 * np.pi / fit.steps_per_turn[:, None] * turned.u_depth_steps
    step_n = derivative_columns(coefficients) * step_rad[..., None]
    return replace(
        fit,
        coefficients_n=coefficients,
        covariance=fit.covariance * both + step_n[..., :, None] * step_n[..., None, :],
        period_gradient=fit.period_gradient * gain,
        shared=None if fit.shared is None else fit.shared * gain[:, None],
        unseen=None if fit.unseen is None else fit.unseen * gain[:, None],
        readings_alike=np.broadcast_to(share, fit.used.shape),
    )


def left_of_orders(fit: HarmonicFit, turned: Filtering) -> Array:
    """Return the share of each column's harmonic that the filter leaves.

    Parameters
    ----------
    fit : HarmonicFit
        Fit of S shafts at D depths with C columns.
    turned : Filtering
        Filters and speeds.

    Returns
    -------
    ndarray
        Share, dimensionless, shape (S, D, C).
    """
    return left_of_wave(_width_rad(fit, turned, turned.filters.width_us))


def _width_rad(fit: HarmonicFit, turned: Filtering, width_us: Array) -> Array:
    """Return the angle that each column's harmonic turns through in an rms width, rad, shape (S, D, C)."""
    speed = 2 * np.pi * turned.steps_per_us / fit.steps_per_turn[:, None]
    result: Array = np.abs(speed)[..., None] * width_us[:, None, None] * orders_of(fit.coefficients_n.shape[-1])
    return result


def shared_changes(fit: HarmonicFit, turned: Filtering | None) -> Array:
    """Return the change of the harmonics for one standard uncertainty of each cause that all depths have in common.

    The causes are the filter's delay, its width, its shape beyond the width, and the position of angle 0.

    Parameters
    ----------
    fit : HarmonicFit
        Fit without the filter.
    turned : Filtering | None
        Filters and speeds; None for readings that are taken as they are.

    Returns
    -------
    ndarray
        Changes, N, shape (S, causes, D, C); no causes for None.

    Notes
    -----
    With s = m w width, ln H is -s^2/2 + k s^4/24, where k is the excess kurtosis of the response: -1.2 for a moving
    average, -0.4 for a third-order sinc, 0 for a Gaussian. The shape's share is at most s^4/20, and rectangular.
    """
    coefficients = fit.coefficients_n
    if turned is None:
        return np.zeros((len(coefficients), 0, *coefficients.shape[1:]))
    filters, by_angle = turned.filters, derivative_columns(coefficients)
    per_step = 2 * np.pi / fit.steps_per_turn
    late = per_step[:, None] * turned.steps_per_us * filters.u_delay_us[:, None]
    width = _width_rad(fit, turned, filters.width_us)
    wider = _width_rad(fit, turned, filters.width_us + filters.u_width_us)
    return np.stack(
        [
            by_angle * late[..., None],
            coefficients * (left_of_wave(width) / left_of_wave(wider) - 1),
            coefficients * width**4 / (20 * np.sqrt(3)),
            by_angle * (per_step * turned.u_origin_steps)[:, None, None],
        ],
        axis=1,
    )


def dof_of_shared(turned: Filtering | None, shafts: int) -> Array:
    """Return the degrees of freedom of the causes of `shared_changes`.

    Parameters
    ----------
    turned : Filtering | None
        Filters and speeds; None for readings that are taken as they are.
    shafts : int
        Number of runs.

    Returns
    -------
    ndarray
        Degrees of freedom, infinite where a cause is known by its bounds, shape (S, causes); no causes for None.
    """
    if turned is None:
        return np.zeros((shafts, 0))
    known = np.full(shafts, np.inf)
    return np.stack([turned.filters.dof_delay, turned.filters.dof_width, known, known], axis=1)
