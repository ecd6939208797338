"""What the readings of a shaft have in common beyond its harmonics: slip, rollers that are not round, drift, friction.

While a shaft turns at a depth, four things reach its readings that are no part of its pattern. The period may be a
little longer at the full depth than at the light one, because traction grows with load. Rollers that are not round lift
the shaft with their own frequency, at all depths by the same height. The zero may wander off the line between its
readings, as that of a cell that warms does. And the ends of a shaft that is pressed down slide over the supports:
friction along the shaft makes it stiffer by 2.4 mu d / L until it has rolled off.

Each is an unknown with a known size beforehand. All of them are found together from what the harmonics leave of them,
and their posterior covariance goes on with the fit (Bayesian linear regression). Where the turns cannot tell an unknown
from the harmonics it stays at 0, as uncertain as it was.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from midspan.measurement.calibrated_columns import AGAIN, FULL, LIGHT, CalibratedReadings
from midspan.measurement.calibration import Calibration
from midspan.measurement.converter_filter import readings_alike
from midspan.measurement.harmonics import Array, HarmonicFit, cosine_and_sine, derivative_columns, rows_of
from midspan.measurement.turning_residual import Residual

# Places of the unknowns: the period, slip at the light depth in common and at either visit, drift and friction of each
# depth, and two parts of the rollers' runout, then two of their ovality.
_PERIOD, _SLIP, _VISITS, _DRIFT, _FRICTION, _ROLLERS = 0, 1, (2, 3), slice(4, 7), slice(7, 10), 10
VISIT_SHARE = 0.3  # of the slip's uncertainty: how much a visit to the light depth differs from the other
_TURN, _RAMP, _SECOND, _THIRD, _FADE, _ROLLER = range(6)  # places of the waves at a depth
_LEAST = 1e-6  # N or mm: an unknown that is known to be 0
_RIDGE = 1e-9
_LEAST_SCATTER_N = 1e-8  # of readings without any noise, as a stuck converter gives them
_ROLLER_PARTS = 4
OVAL_SHARE = 0.5  # of the rollers' runout: how oval they may be, twice per turn of theirs; an estimate, no source
EARNED = 23.0  # chi square of two degrees of freedom, one chance in 100,000
UNEVEN_STEPS = 0.6  # rms error of a position in steps: 0.3 of whole steps and half a microstep of the rotor
STEPS_ALIKE = 1.0
QUIET = 1.5  # by how much the variance of one depth may exceed that of another without a skid
SKIDDED = 18.4  # chi square of two degrees of freedom, one chance in 10,000
FADING_RAD = np.radians(15.0)  # turning of the shaft in which stored friction falls to 0.37: an estimate, no source
# Friction left at the first reading beforehand: some hundredths of the support's force.
U_FRICTION_LEFT = 0.03
BY_FRICTION = 2.4  # leading term of the force's relative change, per coefficient of friction and deflection in spans
# While a bowed or uneven shaft turns, its ends slide to and fro. Friction follows late, so that its pattern changes its
# size by a tenth of a percent and turns, at spine 500, where a shaft rolls its friction off in 3 degrees. Per
# LATE_FRICTION times 2.4 d / L: as the simulated supports do it. What rollers that are askew leave has no part in it.
LATE_FRICTION, LATE_GAIN, LATE_RAD = 0.001, 28.0, 14.0
OF_SCATTER = 0.98  # of the readings' variance; unknowns that explain more are taken out before the scatter is judged
WANDER_TO_SIDE = 4.0  # a jump in the middle of the turns leaves 0.17 of itself as wander and moves the side by 0.75
UNROUND_MEANS = (1.9, 2.7, 3.3, 4.1)  # shaft turns in a turn of the rollers where their size is not known


@dataclass(frozen=True)
class Shared:
    """Further unknowns of S shafts, as found.

    Parameters
    ----------
    slip, u_slip : ndarray
        Relative period at the light depth less that at the full one, and its standard uncertainty, shape (S,).
    drift_n, u_drift_n : ndarray
        Rise of the force from the first to the last reading of each depth, beyond the zeros' line and the shaft's
        pattern, and its standard uncertainty, N, shape (S, D).
    friction, u_friction : ndarray
        Coefficient of the friction along the shaft that is left at the first reading of the full depth, and its
        standard uncertainty, shape (S,).
    rollers_mm : ndarray or None
        Cosine and sine part of the height that the rollers add at midspan, mm, shape (S, 2); None if it was not looked
        for.
    u_roller_mm : ndarray
        Standard uncertainty of either part of that height, mm, shape (S,).
    skid_rad : ndarray
        How far the shaft may lie off its place at each depth by an uneven turning, rad, 0 where noise explains it,
        shape (S, D).
    extra_n : ndarray
        Force that the unknowns make at each reading, N, shape (S, D, N); 0 where they make little.
    """

    slip: Array
    u_slip: Array
    drift_n: Array
    u_drift_n: Array
    friction: Array
    u_friction: Array
    rollers_mm: Array | None
    u_roller_mm: Array
    skid_rad: Array
    extra_n: Array


@dataclass(frozen=True)
class _Waves:
    """Waves W at the depths: their harmonics, what is left of them, products of these, and products with the rest."""

    taken_up: Array  # (S, D, W, C)
    left: Array  # (S, D, W, N)
    products: Array  # (S, D, W, W)
    scores: Array  # (S, D, W)
    into: Array  # (D, W, U), how much of each unknown each wave has


@dataclass(frozen=True)
class _Solution:
    """Values of the unknowns U and the lower Cholesky factor of their covariance, with the scatter that is left."""

    values: Array  # (S, U)
    factor: Array  # (S, U, U)
    variance: Array  # (S, D)
    alike: Array  # (S,)


def with_shared_unknowns(
    fit: HarmonicFit, residual: Residual, forces: CalibratedReadings, alike: Array, cal: Calibration
) -> tuple[HarmonicFit, Shared, Array]:
    """Return the fit with its further unknowns taken into account, these unknowns, and the readings that share noise.

    Parameters
    ----------
    fit : HarmonicFit
        Fit of S shafts.
    residual : Residual
        What it leaves of the readings.
    forces : CalibratedReadings
        Readings of the shafts.
    alike : ndarray
        Number of neighbouring readings that share their noise by these residuals, shape (S,).
    cal : Calibration
        Rollers and slip of the gauge.

    Returns
    -------
    fit : HarmonicFit
        Harmonics, scatter and period without the unknowns, whose uncertainty is in `shared`.
    found : Shared
        The unknowns.
    alike : ndarray
        Number of neighbouring readings that share their noise once the unknowns are taken out, shape (S,).

    References
    ----------
    C. M. Bishop, Pattern Recognition and Machine Learning (2006), 3.3: linear regression with a Gaussian prior.
    """
    local = local_n_per_mm(fit, forces)
    waves = _waves(residual, local, fit, cal)
    prior = _priors(forces, waves.into, _by_friction_n(fit, local, cal), cal)
    found = _solution(fit, residual, forces, waves, prior, alike)
    by_unknown = _by_unknown(fit, residual, forces, waves, cal)  # (S, U, D, C)
    shafts, depths, columns = fit.coefficients_n.shape
    changes = (found.factor.transpose(0, 2, 1) @ by_unknown.reshape(shafts, -1, depths * columns)).reshape(
        shafts, -1, depths, columns
    )
    moved = found.values[:, None, :] @ by_unknown.reshape(shafts, -1, depths * columns)
    u_period = found.factor[:, _PERIOD, _PERIOD]
    ratio = found.variance / np.where(fit.scatter_n > 0, fit.scatter_n, 1.0) ** 2
    skid = _skid_rad(waves, found, fit, residual)
    improved = replace(
        fit,
        coefficients_n=fit.coefficients_n + moved.reshape(fit.coefficients_n.shape),
        covariance=fit.covariance * ratio[..., None, None],
        scatter_n=np.sqrt(found.variance),
        steps_per_turn=fit.steps_per_turn * np.exp(found.values[:, _PERIOD]),
        u_relative_period=u_period,
        period_gradient=changes[:, _PERIOD] / u_period[:, None, None],
        shared=changes[:, 1:],
        unseen=np.concatenate(
            [_of_unseen_rollers(fit, residual, local, cal), _of_late_friction(fit, local, cal)], axis=1
        ),
    )
    return (
        improved,
        _as_found(found, _by_friction_n(fit, local, cal), skid, _extra_n(waves, found, residual), cal),
        found.alike,
    )


def local_n_per_mm(fit: HarmonicFit, forces: CalibratedReadings) -> Array:
    """Return the change of the force with the height of the shaft under the head.

    Parameters
    ----------
    fit : HarmonicFit
        Mean forces.
    forces : CalibratedReadings
        Positions of the head.

    Returns
    -------
    ndarray
        Change, N per mm, shape (S,); 0 where the head did not move.
    """
    apart_mm = forces.head_mm[:, FULL] - forces.head_mm[:, LIGHT]
    apart_n = fit.coefficients_n[:, FULL, 0] - fit.coefficients_n[:, LIGHT, 0]
    result: Array = np.divide(apart_n, apart_mm, out=np.zeros_like(apart_n), where=apart_mm != 0)
    return result


def _by_friction_n(fit: HarmonicFit, local: Array, cal: Calibration) -> Array:
    """Return the change of the mean force at each depth per coefficient of friction along the shaft, N (S, D)."""
    mean = fit.coefficients_n[..., 0]
    bend_mm = np.divide(mean, local[:, None], out=np.zeros_like(mean), where=local[:, None] > 0)
    result: Array = np.abs(BY_FRICTION * mean * bend_mm / cal.span.span_mm)
    return result


def _course(residual: Residual) -> tuple[Array, Array]:
    """Return the angles of the first and of the last reading used at each depth, rad, shape (S, D, 1) each."""
    used = residual.kept > 0
    first = np.take_along_axis(residual.angle, used.argmax(axis=-1)[..., None], axis=-1)
    last = np.take_along_axis(residual.angle, used.shape[-1] - 1 - used[..., ::-1].argmax(axis=-1)[..., None], axis=-1)
    return first, last


def _waves(residual: Residual, local: Array, fit: HarmonicFit, cal: Calibration) -> _Waves:
    """Return the waves of turning, drift, uneven turning and rollers, less what the harmonics take up of them."""
    first, last = _course(residual)
    way = np.where(last == first, 1.0, last - first)
    course = (residual.angle - (first + last) / 2) * (2 / way)  # from -1 to 1 while the shaft turns
    roller_turn = cal.rotation.steps_per_roller_turn
    rollers = 0 if roller_turn is None else _ROLLER_PARTS
    shafts, depths, number = residual.angle.shape
    rows = np.empty((shafts, depths, _ROLLER + rollers, number))
    square = course * course
    np.multiply(residual.angle, residual.slope_n, out=rows[:, :, _TURN])
    np.negative(rows[:, :, _TURN], out=rows[:, :, _TURN])
    np.multiply(course, 0.5, out=rows[:, :, _RAMP])
    np.multiply(residual.slope_n, 1.5 * square - 0.5, out=rows[:, :, _SECOND])
    np.multiply(residual.slope_n, course * (2.5 * square - 1.5), out=rows[:, :, _THIRD])
    np.exp(np.minimum(-np.abs(residual.angle - first) / FADING_RAD, 0.0), out=rows[:, :, _FADE])
    if roller_turn is not None:
        turn = residual.angle * (fit.steps_per_turn / roller_turn)[:, None, None]
        cosine, sine, twice, twice_sine = (rows[:, :, _ROLLER + part] for part in range(_ROLLER_PARTS))
        cosine_and_sine(turn, cosine, sine)
        np.multiply(2 * sine, cosine, out=twice_sine)
        np.subtract(1.0, 2 * sine * sine, out=twice)
        rows[:, :, _ROLLER:] *= local[:, None, None, None]
    taken_up, left = residual.projected(rows)
    across = left.transpose(0, 1, 3, 2)
    return _Waves(
        taken_up,
        left,
        left @ across,
        (residual.off_n[:, :, None, :] @ across)[:, :, 0, :],
        _assignment(left.shape[1], cal),
    )


def _assignment(depths: int, cal: Calibration) -> Array:
    """Return how much of each unknown each wave of a depth has, shape (D, W, U); slip is in standard uncertainties."""
    rollers = 0 if cal.rotation.steps_per_roller_turn is None else _ROLLER_PARTS
    into = np.zeros((depths, _ROLLER + rollers, _ROLLERS + rollers))
    into[:, _TURN, _PERIOD] = 1.0
    for depth, visit in zip((LIGHT, AGAIN), _VISITS, strict=True):
        into[depth, _TURN, _SLIP] = cal.rotation.u_slip_between_depths
        into[depth, _TURN, visit] = VISIT_SHARE * cal.rotation.u_slip_between_depths
    for depth in range(depths):
        into[depth, _RAMP, _DRIFT.start + depth] = into[depth, _FADE, _FRICTION.start + depth] = 1.0
    for part in range(rollers):
        into[:, _ROLLER + part, _ROLLERS + part] = 1.0
    return into


def _solution(
    fit: HarmonicFit, residual: Residual, forces: CalibratedReadings, waves: _Waves, prior: Array, alike: Array
) -> _Solution:
    """Return the unknowns; the scatter by which readings count is that without what the unknowns explain."""
    pull = np.log(forces.nominal_steps / fit.steps_per_turn)
    variance = np.maximum(fit.scatter_n, _LEAST_SCATTER_N) ** 2
    into = waves.into
    prior = _widened(prior, waves, variance * alike[:, None])
    values, factor = _solved(waves, variance * alike[:, None], prior, pull)
    at_depths = _at_depths(into, values)
    explained = (at_depths * (2 * waves.scores - (waves.products @ at_depths[..., None])[..., 0])).sum(axis=-1)
    dof = np.maximum(fit.used - fit.coefficients_n.shape[-1], 1)
    cleaned = np.maximum(variance - np.maximum(explained, 0.0) / dof, _LEAST_SCATTER_N**2)
    rows = np.flatnonzero((cleaned < OF_SCATTER * variance).any(axis=1))
    if not rows.size:
        return _Solution(values, factor, variance, alike)
    variance[rows], alike = cleaned[rows], alike.copy()
    off = residual.off_n - (at_depths[:, :, None, :] @ waves.left)[:, :, 0, :]
    turned = None if forces.filtering is None else rows_of(forces.filtering, rows)
    alike[rows] = readings_alike(off[rows], residual.kept[rows] > 0, turned)
    return _Solution(*_solved(waves, variance * alike[:, None], prior, pull), variance, alike)


def _at_depths(into: Array, values: Array) -> Array:
    """Return how much of each wave the unknowns make, shape (S, D, W)."""
    result: Array = (into[None] @ values[:, None, :, None])[..., 0]
    return result


def _priors(forces: CalibratedReadings, into: Array, by_friction_n: Array, cal: Calibration) -> Array:
    """Return the variances of the unknowns beforehand, shape (S, U).

    The zero may have moved by the change between its readings anywhere in between: for as long as a depth lasts, beyond
    the line, by as much of it as the depth takes of the time, once more.
    """
    u = np.full((len(forces.nominal_steps), into.shape[-1]), max(cal.rotation.u_roller_mm, _LEAST))
    u[:, _ROLLERS + 2 :] *= OVAL_SHARE
    u[:, : _DRIFT.start] = 1.0
    u[:, _PERIOD] = forces.u_relative_nominal
    u[:, _FRICTION] = np.maximum(U_FRICTION_LEFT * by_friction_n, _LEAST)
    u[:, _DRIFT] = np.maximum(forces.zero_change_n[:, None] * forces.turning_share, _LEAST)
    result: Array = u * u
    return result


def _widened(prior: Array, waves: _Waves, variance: Array) -> Array:
    """Return the variances beforehand, made as large as the readings show where these show beyond chance."""
    into, result = waves.into, prior.copy()
    product = np.maximum(waves.products[:, :, _RAMP, _RAMP], np.finfo(float).tiny)
    score = waves.scores[:, :, _RAMP]
    drifts = score * score > EARNED * product * variance
    of_drift = result[:, _DRIFT]
    result[:, _DRIFT] = np.where(drifts, np.maximum(of_drift, (score / product) ** 2), of_drift)
    for wave in range(_ROLLER, into.shape[1], 2):
        part, weight = slice(wave, wave + 2), 1 / variance
        of = slice(_ROLLERS + wave - _ROLLER, _ROLLERS + wave - _ROLLER + 2)
        moments = (waves.products[:, :, part, part] * weight[..., None, None]).sum(axis=1)
        pulls = (waves.scores[:, :, part] * weight[..., None]).sum(axis=1)
        # Without a shaft there is nothing to divide by; the smallest number keeps the matrix from being singular.
        least = 1e-6 * np.trace(moments, axis1=1, axis2=2) + 1e-300
        inverse = np.linalg.inv(moments + np.eye(2) * least[:, None, None])
        height = (inverse @ pulls[..., None])[..., 0]
        seen = (height * pulls).sum(axis=1) > EARNED
        square = (height**2).sum(axis=1) / 2
        result[:, of] = np.where(seen[:, None], np.maximum(result[:, of], square[:, None]), result[:, of])
    return result


def _solved(waves: _Waves, variance: Array, prior: Array, pull: Array) -> tuple[Array, Array]:
    """Return the unknowns (S, U) and the lower Cholesky factor of their covariance (S, U, U)."""
    into = waves.into
    weight = 1 / variance
    moments = (into.transpose(0, 2, 1)[None] @ (waves.products * weight[..., None, None]) @ into[None]).sum(axis=1)
    pulls = (into.transpose(0, 2, 1)[None] @ (waves.scores * weight[..., None])[..., None]).sum(axis=1)[..., 0]
    pulls[:, _PERIOD] += pull / prior[:, _PERIOD]
    number = np.arange(prior.shape[1])
    moments[:, number, number] += 1 / prior
    # In units in which every unknown is about as large as its own uncertainty, so that no digits are lost.
    unit = 1 / np.sqrt(moments[:, number, number])
    inverse = np.linalg.inv(moments * unit[:, :, None] * unit[:, None, :])
    values = (inverse @ (pulls * unit)[..., None])[..., 0] * unit
    factor: Array = np.linalg.cholesky((inverse + inverse.transpose(0, 2, 1)) / 2) * unit[:, :, None]
    return values, factor


def _by_unknown(
    fit: HarmonicFit, residual: Residual, forces: CalibratedReadings, waves: _Waves, cal: Calibration
) -> Array:
    """Return the change of the coefficients per unit of each unknown, shape (S, U, D, C).

    A shaft that slips at the light depth also lies elsewhere when it comes to the depths after it.
    """
    into = waves.into
    changes = -(into.transpose(0, 2, 1)[None] @ waves.taken_up).transpose(0, 2, 1, 3)
    at_middle = turned_rad(fit, residual, forces)
    of_first = at_middle.copy()
    of_first[:, AGAIN] = at_middle[:, FULL]
    first, last = (ends[..., 0] for ends in _course(residual))
    slope = derivative_columns(fit.coefficients_n) * cal.rotation.u_slip_between_depths
    for unknown, way, share in (
        (_SLIP, at_middle, 1.0),
        (_VISITS[0], of_first, VISIT_SHARE),
        (_VISITS[1], at_middle - of_first, VISIT_SHARE),
    ):
        # The waves of turning have the way from the angle origin to the middle of a depth in them already.
        within = np.where(into[:, _TURN, unknown] != 0, (first + last) / 2, 0.0)
        changes[:, unknown] += share * (way - within)[..., None] * slope
    return changes


def turned_rad(fit: HarmonicFit, residual: Residual, forces: CalibratedReadings) -> Array:
    """Return how far the shaft was turned under the light load, from the start to the middle of each depth.

    Parameters
    ----------
    fit : HarmonicFit
        Steps per turn.
    residual : Residual
        Angles of the readings.
    forces : CalibratedReadings
        Steps back to the start.

    Returns
    -------
    ndarray
        Angle, rad, shape (S, D).
    """
    first, last = (ends[..., 0] for ends in _course(residual))
    to_start = 2 * np.pi * forces.steps_to_start / fit.steps_per_turn
    began, ended = (last[:, LIGHT] + first[:, FULL]) / 2, (last[:, FULL] + first[:, AGAIN]) / 2
    light, again = ((first[:, depth] + last[:, depth]) / 2 for depth in (LIGHT, AGAIN))
    return np.stack([to_start + light, to_start + began, to_start + began + again - ended], axis=1)


def _of_unseen_rollers(fit: HarmonicFit, residual: Residual, local: Array, cal: Calibration) -> Array:
    """Return the change of the coefficients by rollers of unknown size, shape (S, causes, D, C); none if it is known.

    The wave of a roller is even over the angles turned, and so are the columns: their products are integrals.
    """
    shafts, depths, columns = fit.coefficients_n.shape
    if cal.rotation.steps_per_roller_turn is not None or cal.rotation.u_roller_mm == 0:
        return np.zeros((shafts, 0, depths, columns))
    first, last = (ends[..., 0] for ends in _course(residual))
    middle, half = (first + last) / 2, np.abs(last - first) / 2

    def mean(frequency: float) -> NDArray[np.complex128]:
        """Return the mean of exp(i frequency angle) over the turns."""
        return np.asarray(np.exp(1j * frequency * middle) * np.sinc(frequency * half / np.pi))

    causes = []
    for turns in UNROUND_MEANS:
        apart = [(mean(order - 1 / turns), mean(order + 1 / turns)) for order in range(columns // 2 + 1)]
        cosines, sines = np.zeros((2, shafts, depths, columns))
        for order, (less, more) in enumerate(apart):
            cosines[..., max(2 * order - 1, 0)] = (less.real + more.real) / 2
            sines[..., max(2 * order - 1, 0)] = (more.imag - less.imag) / 2
            if order:
                cosines[..., 2 * order] = (more.imag + less.imag) / 2
                sines[..., 2 * order] = (less.real - more.real) / 2
        causes += [cosines, sines]
    moments = np.stack(causes, axis=2) * fit.used[..., None, None]
    height = cal.rotation.u_roller_mm / np.sqrt(len(UNROUND_MEANS)) * local
    changes: Array = (moments @ residual.inverse).transpose(0, 2, 1, 3) * height[:, None, None, None]
    return changes


def _extra_n(waves: _Waves, found: _Solution, residual: Residual) -> Array:
    """Return what drift and rollers add to the readings, N (S, D, N)."""
    parts = _at_depths(waves.into, found.values)
    parts[..., [_TURN, _FADE]] = 0.0
    each = parts[:, :, None, :]
    result: Array = (each @ waves.left + (each @ waves.taken_up) @ residual.columns)[:, :, 0, :]
    return result


def step_noise_n(fit: HarmonicFit, residual: Residual) -> Array:
    """Return the scatter of readings by steps that the rotate axis makes unevenly.

    Positions are noted in whole steps, and the rotor of a stepper is off by about half a microstep more.

    Parameters
    ----------
    fit : HarmonicFit
        Steps per turn.
    residual : Residual
        Slope of the curve at each reading.

    Returns
    -------
    ndarray
        Standard deviation, N, shape (S, D).
    """
    square = (residual.slope_n**2 * residual.kept).sum(axis=-1) / np.maximum(residual.kept.sum(axis=-1), 1.0)
    result: Array = np.sqrt(square) * (2 * np.pi * UNEVEN_STEPS / fit.steps_per_turn)[:, None]
    return result


def _of_late_friction(fit: HarmonicFit, local: Array, cal: Calibration) -> Array:
    """Return the change of the coefficients by friction along the shaft that rolls off late, shape (S, 2, D, C).

    There is none on a gauge whose calibration rules out any friction along the shaft.
    """
    late = LATE_FRICTION if cal.span.u_axial_friction or cal.span.axial_friction else 0.0
    mean = np.where(fit.coefficients_n[..., 0] > 0, fit.coefficients_n[..., 0], np.inf)
    share = (late * _by_friction_n(fit, local, cal) / mean)[..., None]
    pattern = fit.coefficients_n.copy()
    pattern[..., 0] = 0.0
    turned = derivative_columns(fit.coefficients_n)
    return np.stack([LATE_GAIN * share * pattern, LATE_RAD * share * turned], axis=1)


def _inverse(products: Array) -> Array:
    """Return inverses of matrices of products; what hardly any wave has is left out by a little more of each."""
    number = np.arange(products.shape[-1])
    unit = 1 / np.sqrt(np.maximum(products[..., number, number], _LEAST**4))
    scaled = products * unit[..., :, None] * unit[..., None, :]
    scaled[..., number, number] += _RIDGE
    return np.asarray(np.linalg.inv(scaled) * unit[..., :, None] * unit[..., None, :], np.float64)


def _skid_rad(waves: _Waves, found: _Solution, fit: HarmonicFit, residual: Residual) -> Array:
    """Return how far off its place the shaft may lie by an uneven turning, rad (S, D); 0 where noise explains it."""
    others = [wave for wave in range(waves.products.shape[2]) if wave not in (_SECOND, _THIRD)]
    known = waves.products[:, :, others][..., others]
    between = waves.products[:, :, [_SECOND, _THIRD]][..., others]
    share = between @ _inverse(known)
    products = waves.products[:, :, _SECOND : _THIRD + 1, _SECOND : _THIRD + 1] - share @ between.transpose(0, 1, 3, 2)
    scores = waves.scores[:, :, _SECOND : _THIRD + 1] - (share @ waves.scores[:, :, others][..., None])[..., 0]
    wander = (_inverse(products) @ scores[..., None])[..., 0]
    # Uneven steps make more noise where the curve is steep, which is where a skid shows.
    # A skid makes scatter itself: that of the depth with the least tells the noise of all.
    quiet = np.minimum(found.variance, QUIET * found.variance.min(axis=1, keepdims=True))
    noise = quiet * found.alike[:, None] + STEPS_ALIKE * step_noise_n(fit, residual) ** 2
    chi_square = (wander * scores).sum(axis=-1) / noise
    root_mean_square = np.sqrt(wander[..., 0] ** 2 / 5 + wander[..., 1] ** 2 / 7)
    return np.where(chi_square > SKIDDED, WANDER_TO_SIDE * root_mean_square, 0.0)


def _as_found(found: _Solution, by_friction_n: Array, skid: Array, extra: Array, cal: Calibration) -> Shared:
    """Return the unknowns by name."""
    u = np.sqrt((found.factor**2).sum(axis=-1))
    scale = cal.rotation.u_slip_between_depths
    full = _FRICTION.start + FULL
    by = np.where(by_friction_n[:, FULL] > 0, by_friction_n[:, FULL], np.inf)
    friction, u_friction = found.values[:, full] / by, u[:, full] / by
    runout = slice(_ROLLERS, _ROLLERS + 2)
    rollers, u_rollers = found.values[:, runout], u[:, runout]
    known = cal.rotation.steps_per_roller_turn is not None
    return Shared(
        found.values[:, _SLIP] * scale,
        u[:, _SLIP] * scale,
        found.values[:, _DRIFT],
        u[:, _DRIFT],
        friction,
        u_friction,
        rollers if known else None,
        np.sqrt((u_rollers**2).mean(axis=1)) if known else np.full(len(u), cal.rotation.u_roller_mm),
        skid,
        extra,
    )


def added(first: Shared, then: Shared) -> Shared:
    """Return unknowns of which one part was taken out of the readings before the other was found.

    Parameters
    ----------
    first, then : Shared
        Unknowns of the same shafts, in the order in which they were found.

    Returns
    -------
    Shared
        Their sum, with the uncertainties of the later ones.
    """
    rollers = (first.rollers_mm, then.rollers_mm)
    return replace(
        then,
        slip=first.slip + then.slip,
        drift_n=first.drift_n + then.drift_n,
        rollers_mm=None if rollers[0] is None or rollers[1] is None else rollers[0] + rollers[1],
        extra_n=first.extra_n + then.extra_n,
    )


def expected_scatter_n(fit: HarmonicFit, residual: Residual, forces: CalibratedReadings, cal: Calibration) -> Array:
    """Return the scatter to expect while a shaft turns, beside that of the cell at rest.

    Parameters
    ----------
    fit : HarmonicFit
        Fit of S shafts.
    residual : Residual
        Slope of the curve at each reading.
    forces : CalibratedReadings
        Positions of the head.
    cal : Calibration
        Rollers of the gauge.

    Returns
    -------
    ndarray
        Standard deviation of the readings by uneven steps, and by unround rollers that were not looked for, N, shape
        (S,).
    """
    known = cal.rotation.steps_per_roller_turn is not None
    rollers = np.zeros(len(fit.used)) if known else cal.rotation.u_roller_mm * local_n_per_mm(fit, forces)
    result: Array = np.sqrt((step_noise_n(fit, residual) ** 2).mean(axis=1) + rollers**2)
    return result
