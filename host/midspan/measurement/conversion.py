"""From forces at two depths to stiffness and surface around the shaft: the exact step of the measurement.

At each angle the elastica gives the shaft's flexibility from the two forces and the travel between them. The
flexibility and the force at the light depth give the position of the surface. The difference between two depths is
used because a bow moves both forces alike: it does not look like a stiff side.

All functions work on S shafts at once. Angles are counted from the cycle's first reading, or from the index mark. The
calibration gives a range for the supports, from reactions normal to the shaft to vertical reactions; every number is
for the middle of that range.
"""

from dataclasses import dataclass

import numpy as np

from midspan.base.units import MM_PER_THOU, STANDARD, Convention
from midspan.measurement import elastica
from midspan.measurement.calibrated_columns import CalibratedReadings
from midspan.measurement.calibration import Calibration
from midspan.measurement.converter_filter import dof_of_shared, shared_changes
from midspan.measurement.depth_consistency import SIGNIFICANT
from midspan.measurement.elastica import Support
from midspan.measurement.harmonics import COLUMNS, Array, HarmonicFit, basis, derivative_columns, each_times

GRID = 24  # angles around the shaft: enough that orders up to 3, squared by the division, do not alias
_GRID_ANGLE: Array = np.linspace(0.0, 2 * np.pi, GRID, endpoint=False)
_GRID_BASIS = basis(_GRID_ANGLE)  # [7, GRID]
_EVERY = 3  # every third angle is enough for the small difference that the supports make
_GRID_MOMENTS = _GRID_BASIS.T * np.where(np.arange(COLUMNS) == 0, 1, 2) / GRID  # [GRID, 7]
_FEW_MOMENTS = _GRID_MOMENTS[::_EVERY] * _EVERY


@dataclass(frozen=True)
class Point:
    """Mean state of S shafts at both depths, with the derivatives that carry uncertainty to the result.

    Parameters
    ----------
    flexibility : ndarray
        L^2 / EI on the gauge's span, 1/N, shape (S,).
    deflection_thou : ndarray
        Standard deflection at the mean forces, thou, shape (S,).
    by_low, by_high : ndarray
        Derivative of the deflection by the force at the light and at the full depth, thou per N, shape (S,).
    by_travel : ndarray
        Derivative by the travel between the depths, thou per mm, shape (S,).
    by_give : ndarray
        Derivative by the compliance of the frame, thou per mm/N, shape (S,).
    by_span : ndarray
        Derivative by the span, thou per mm, shape (S,).
    surface_by_low, surface_by_high : ndarray
        Derivative of the surface's height by the two forces, mm per N, shape (S,).
    """

    flexibility: Array
    deflection_thou: Array
    by_low: Array
    by_high: Array
    by_travel: Array
    by_give: Array
    by_span: Array
    surface_by_low: Array
    surface_by_high: Array


@dataclass(frozen=True)
class Around:
    """Harmonics of standard deflection and of the surface's height around S shafts.

    Parameters
    ----------
    deflection_thou : ndarray
        Harmonic coefficients of the standard deflection, thou, shape (S, 7).
    u_deflection : ndarray
        Their covariance from the fit and, except for the mean, from the supports, shape (S, 7, 7).
    surface_mm : ndarray
        Harmonic coefficients of the height of the surface, mm, shape (S, 7).
    u_surface : ndarray
        Their covariance, shape (S, 7, 7).
    at_bounds : tuple of ndarray
        L^2 / EI at both ends of the supports' range, 1/N, each of shape (S, angles).
    deflection_changes, surface_changes : ndarray
        Change of the coefficients for one standard uncertainty of each cause of `converter_filter.shared_changes`, thou
        and mm, shape (S, causes, 7); no causes where the readings are taken as they are.
    dof_changes : ndarray
        Degrees of freedom of these causes, shape (S, causes).
    """

    deflection_thou: Array
    u_deflection: Array
    surface_mm: Array
    u_surface: Array
    at_bounds: tuple[Array, Array]
    deflection_changes: Array
    surface_changes: Array
    dof_changes: Array


def mean_point(low_n: Array, high_n: Array, travel_mm: Array, cal: Calibration) -> Point:
    """Return flexibility, standard deflection and its derivatives at the mean forces of S shafts.

    The implicit function is u(F2 y) - u(F1 y) = (travel - compliance (F2 - F1)) / L with y = L^2 / EI.

    Parameters
    ----------
    low_n, high_n : ndarray
        Mean forces at the light and at the full depth, N, shape (S,).
    travel_mm : ndarray
        Travel of the head between the depths, mm, shape (S,).
    cal : Calibration
        Span, supports and compliance of the gauge.

    Returns
    -------
    Point
        Values and derivatives.
    """
    span, give, supports = cal.span.span_mm, cal.frame.give_mm_per_n, cal.span.vertical
    bend = travel_mm - give * (high_n - low_n)
    y = elastica.flexibility_between((low_n, high_n), bend / span, supports)
    _, low_slope = elastica.ratio_and_slope(low_n * y, supports)
    _, high_slope = elastica.ratio_and_slope(high_n * y, supports)
    by_y = high_n * high_slope - low_n * low_slope
    y_low, y_high = (y * low_slope + give / span) / by_y, -(y * high_slope + give / span) / by_y
    deflection, slope = _standard_thou(y, span, supports)
    return Point(
        y,
        deflection,
        slope * y_low,
        slope * y_high,
        slope / span / by_y,
        -slope * (high_n - low_n) / span / by_y,
        -slope * bend / span**2 / by_y - 2 * y * slope / span,
        give + span * low_slope * (y + low_n * y_low),
        span * low_slope * low_n * y_high,
    )


def _standard_thou(y: Array, span_mm: float, supports: Support) -> tuple[Array, Array]:
    """Return the standard deflection in thou from y = L^2 / EI of the gauge's span, and its derivative by y."""
    factor = STANDARD.load_n * (STANDARD.span_mm / span_mm) ** 2
    ratio, slope = elastica.ratio_and_slope(factor * y, supports)
    thou = STANDARD.span_mm / MM_PER_THOU
    return thou * ratio, thou * slope * factor


def around(fit: HarmonicFit, forces: CalibratedReadings, point: Point, cal: Calibration) -> Around:
    """Return standard deflection and surface around each shaft, with angles counted from the start of the cycle.

    Parameters
    ----------
    fit : HarmonicFit
        Harmonics of the force at the depths.
    forces : CalibratedReadings
        Positions of the head, and steps back to the start.
    point : Point
        Mean state, whose derivatives carry the covariance.
    cal : Calibration
        Span, supports and compliance of the gauge.

    Returns
    -------
    Around
        Harmonics of deflection and surface.
    """
    rotation, turned = _to_start(forces.steps_to_start, fit.steps_per_turn)
    kept = _significant(fit.coefficients_n, fit.covariance)
    low, high = (each_times(kept[:, depth], _GRID_BASIS) for depth in (0, 1))
    travel = (forces.head_mm[:, 1] - forces.head_mm[:, 0])[:, None]
    span, give, supports = cal.span.span_mm, cal.frame.give_mm_per_n, cal.span.vertical
    y = elastica.flexibility_between((low, high), (travel - give * (high - low)) / span, supports)
    deflection, _ = _standard_thou(y, span, supports)
    depth = forces.head_mm[:, :1] - give * low - span * elastica.deflection_ratio(low * y, supports)
    few_low, few_high, few_y = (values[:, ::_EVERY] for values in (low, high, y))
    bounds = _at_bounds(few_y, few_low, few_high, (travel - give * (few_high - few_low)) / span, cal)
    load, thou = STANDARD.load_n * (STANDARD.span_mm / span) ** 2, STANDARD.span_mm / MM_PER_THOU
    shapes = []
    for values, apart, by_low, by_high in (
        (deflection, thou * _half_apart(load, bounds, cal), point.by_low, point.by_high),
        (-depth, span * _half_apart(few_low, bounds, cal), point.surface_by_low, point.surface_by_high),
    ):
        coefficients = each_times(values, _GRID_MOMENTS)
        covariance = _carried(fit, rotation, turned, coefficients, by_low, by_high)
        covariance += _of_supports(_turned(rotation, each_times(apart, _FEW_MOMENTS)))
        shapes.append((_turned(rotation, coefficients), covariance))
    shared = shared_changes(fit, forces.filtering)
    deflection_changes, surface_changes = (
        _carried_changes(shared, rotation, by_low, by_high)
        for by_low, by_high in ((point.by_low, point.by_high), (point.surface_by_low, point.surface_by_high))
    )
    return Around(
        *shapes[0], *shapes[1], bounds, deflection_changes, surface_changes, dof_of_shared(forces.filtering, len(low))
    )


def _carried_changes(shared: Array, rotation: Array, by_low: Array, by_high: Array) -> Array:
    """Return changes of the force's harmonics (S, causes, D, 7) as changes of harmonics that depend on both depths."""
    low, high = by_low[:, None, None], by_high[:, None, None]
    result: Array = (low * shared[:, :, 0] + high * shared[:, :, 1]) @ rotation.transpose(0, 2, 1)
    return result


def _turned(rotation: Array, coefficients: Array) -> Array:
    """Return coefficients of shape (S, 7) after a rotation of the angle origin."""
    result: Array = (rotation @ coefficients[:, :, None])[:, :, 0]
    return result


def _of_supports(half_width: Array) -> Array:
    """Return the covariance of harmonics whose common error is rectangular with a half width of shape (S, 7).

    The mean is left out: the budget of the spine has it. The reactions make a bow look like a little stiffness once
    per turn, and change the scale of the other orders.
    """
    half_width[:, 0] = 0.0
    result: Array = half_width[:, :, None] * half_width[:, None, :] / 3
    return result


def _significant(coefficients: Array, covariance: Array) -> Array:
    """Return the coefficients with the third order set to zero where neither loaded depth shows it above chance."""
    variance = (covariance[..., 5, 5] + covariance[..., 6, 6]) / 2
    real = (coefficients[..., 5] ** 2 + coefficients[..., 6] ** 2 > SIGNIFICANT * variance)[:, :2].any(axis=1)
    kept = coefficients.copy()
    kept[~real, :, 5:] = 0.0
    return kept


def _to_start(steps: Array, steps_per_turn: Array) -> tuple[Array, Array]:
    """Return matrices (S, 7, 7) that move the angle origin back to the start, and the angle moved, rad (S,).

    By the addition theorems, f(a - shift) is again a sum of cosines and sines of a.
    """
    shift = 2 * np.pi * steps / steps_per_turn
    matrix = np.zeros((len(steps), COLUMNS, COLUMNS))
    matrix[:, 0, 0] = 1.0
    for order in (1, 2, 3):
        c, s = np.cos(order * shift), np.sin(order * shift)
        i = 2 * order - 1
        matrix[:, i, i], matrix[:, i, i + 1] = c, -s
        matrix[:, i + 1, i], matrix[:, i + 1, i + 1] = s, c
    return matrix, shift


def _carried(
    fit: HarmonicFit, rotation: Array, turned: Array, coefficients: Array, by_low: Array, by_high: Array
) -> Array:
    """Return the covariance of harmonics that depend on both depths, carried through slopes and rotation.

    The steps per turn act twice: on the force coefficients, and on the angle back to the start.
    """
    low, high = by_low[:, None, None], by_high[:, None, None]
    covariance = low**2 * fit.covariance[:, 0] + high**2 * fit.covariance[:, 1]
    gradient = by_low[:, None] * fit.period_gradient[:, 0] + by_high[:, None] * fit.period_gradient[:, 1]
    # A longer period makes the angle back to the start smaller, by `turned` per unit of relative period.
    gradient += derivative_columns(coefficients) * turned[:, None]
    shared = _turned(rotation, gradient) * fit.u_relative_period[:, None]
    return rotation @ covariance @ rotation.transpose(0, 2, 1) + shared[:, :, None] * shared[:, None, :]


def _at_bounds(y: Array, low_n: Array, high_n: Array, bend_ratio: Array, cal: Calibration) -> tuple[Array, Array]:
    """Return the flexibility L^2 / EI at both ends of the supports' range, of the shape of `y`.

    A single Newton step from the flexibility in the middle is enough: the remaining error goes with the square of the
    range.
    """
    bounds = []
    for support in cal.span.vertical_share:
        low, low_slope = elastica.ratio_and_slope(low_n * y, support)
        high, high_slope = elastica.ratio_and_slope(high_n * y, support)
        bounds.append(y - (high - low - bend_ratio) / (high_n * high_slope - low_n * low_slope))
    return bounds[0], bounds[1]


def _half_apart(load_n: Array | float, at_bounds: tuple[Array, Array], cal: Calibration) -> Array:
    """Return half the difference of a deflection, in spans, between both ends of the supports' range."""
    ends = zip(at_bounds, cal.span.vertical_share, strict=True)
    lowest, highest = (elastica.deflection_ratio(load_n * y, support) for y, support in ends)
    half: Array = (lowest - highest) / 2
    return half


def support_half_width_thou(turn: Around, cal: Calibration, to: Convention) -> Array:
    """Return the half width of the mean deflection under a convention that the unknown reactions leave, thou (S,).

    It nearly vanishes for a shaft measured at the load and span of that convention.

    Parameters
    ----------
    turn : Around
        Flexibilities at both ends of the supports' range.
    cal : Calibration
        Span and supports of the gauge.
    to : Convention
        Span and load of the deflection.

    Returns
    -------
    ndarray
        Half width, thou, shape (S,).
    """
    load = to.load_n * (to.span_mm / cal.span.span_mm) ** 2
    half: Array = np.abs(_half_apart(load, turn.at_bounds, cal).mean(axis=1))
    return half * (to.span_mm / MM_PER_THOU)
