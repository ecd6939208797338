"""From forces at two depths to stiffness and surface around the shaft: the exact step of the measurement.

At each angle the elastica gives the shaft's flexibility from the two forces and the travel between them. The
flexibility and the force at the light depth give the position of the surface. The difference between two depths is
used because a bow moves both forces alike: it does not look like a stiff side.

All functions work on S shafts at once. Angles are counted from the cycle's first reading, or from the index mark. The
shaft is measured over rims, whose walls and frame give, and within the calibration's range of reactions, of which the
middle is taken. Its standard deflection is always that of the reference condition: normal reactions, knife edges, no
wall that sinks. The friction along the shaft that the calibration knows to be left while it turns is taken out.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from midspan.base.units import MM_PER_THOU, STANDARD, Convention
from midspan.measurement import elastica
from midspan.measurement.calibrated_columns import CalibratedReadings
from midspan.measurement.calibration import Calibration
from midspan.measurement.converter_filter import dof_of_shared, shared_changes
from midspan.measurement.depth_consistency import SIGNIFICANT
from midspan.measurement.harmonics import COLUMNS, Array, HarmonicFit, basis, derivative_columns, each_times
from midspan.measurement.warmth import Warmth, warmth_of

# Largest shear of a shaft as a share of its bending on the standard span: 12 EI / (k G A L^2). A thin tube of mean
# radius r has I / A = r^2 / 2 and k = 1 / 2 (Cowper, 1966), so 12 (E / G) (r / L)^2. Unidirectional carbon with E / G
# of about 25 and an outer diameter of 7 mm gives 7e-3, an aluminium tube (E / G 2.7) up to 1e-3, a steel bar 1e-4.
LARGEST_SHEAR_SHARE = 7e-3
GRID = 24  # angles around the shaft: enough that orders up to 3, squared by the division, do not alias
DENSE_GRID = 72  # the same for orders up to 8
_EVERY = 3  # every third angle is enough for the small difference that the supports make


@dataclass(frozen=True)
class _Grid:
    """Angles around a shaft, with the columns there [C, angles] and the moments [angles, C] that find coefficients."""

    columns: Array
    moments: Array
    few_moments: Array


@cache
def _grid(columns: int) -> _Grid:
    """Return the grid for a number of columns."""
    number = GRID if columns == COLUMNS else DENSE_GRID
    at = basis(np.linspace(0.0, 2 * np.pi, number, endpoint=False), columns // 2)
    moments: Array = at.T * np.where(np.arange(columns) == 0, 1, 2) / number
    return _Grid(at, moments, moments[::_EVERY] * _EVERY)


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
        Derivative by the compliance of the frame, or of the shaft's wall, thou per mm/N, shape (S,).
    by_span : ndarray
        Derivative by the span, thou per mm, shape (S,).
    by_rim : ndarray
        Derivative by the height of the shaft's axis above the rims' centre of curvature, thou per mm, shape (S,).
    by_friction : ndarray
        Derivative by the force along the shaft over the reaction of a support, thou, shape (S,).
    span_mm : ndarray
        Distance between the supports at the temperature of the run, mm, shape (S,).
    bend_mm : ndarray
        Deflection between the two depths, mm, shape (S,).
    warmth : Warmth
        How much warmer the runs were than the calibration.
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
    by_rim: Array
    by_friction: Array
    span_mm: Array
    bend_mm: Array
    warmth: Warmth
    surface_by_low: Array
    surface_by_high: Array


Bounds = tuple[Array, Array] | None


@dataclass(frozen=True)
class Around:
    """Harmonics of standard deflection and of the surface's height around S shafts.

    Parameters
    ----------
    deflection_thou : ndarray
        Harmonic coefficients of the standard deflection, thou, shape (S, C).
    u_deflection : ndarray
        Their covariance from the fit and, except for the mean, from the supports, shape (S, C, C).
    surface_mm : ndarray
        Harmonic coefficients of the height of the surface, mm, shape (S, C).
    u_surface : ndarray
        Their covariance, shape (S, C, C).
    at_bounds : tuple of ndarray or None
        L^2 / EI at both ends of the supports' range, 1/N, each of shape (S, angles); None where that is a single value.
    deflection_changes, surface_changes : ndarray
        Change of the coefficients for one standard uncertainty of each cause of `converter_filter.shared_changes`, thou
        and mm, shape (S, causes, C); no causes where the readings are taken as they are.
    dof_changes : ndarray
        Degrees of freedom of these causes, shape (S, causes).
    """

    deflection_thou: Array
    u_deflection: Array
    surface_mm: Array
    u_surface: Array
    at_bounds: Bounds
    deflection_changes: Array
    surface_changes: Array
    dof_changes: Array


def mean_point(low_n: Array, high_n: Array, travel_mm: Array, cal: Calibration, warmth: Warmth | None = None) -> Point:
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
    warmth : Warmth, optional
        How much warmer the runs were than the calibration; None for an unknown temperature.

    Returns
    -------
    Point
        Values and derivatives.

    Raises
    ------
    ConversionError
        The forces do not rise with the travel, or a deflection is more than a tenth of the span.
    """
    warmth = warmth or warmth_of([None] * len(low_n), cal)
    span = cal.span.span_mm * (1 + cal.span.expansion_per_k * warmth.off_k)
    give, supports, rim = cal.give_mm_per_n, cal.span.vertical, cal.rim
    bend = travel_mm - give * (high_n - low_n)
    y = elastica.flexibility_between((low_n, high_n), _without_friction(bend / span, low_n, high_n, cal), supports, rim)
    _, low_slope = elastica.ratio_and_slope(low_n * y, supports, rim)
    _, high_slope = elastica.ratio_and_slope(high_n * y, supports, rim)
    by_y = high_n * high_slope - low_n * low_slope
    y_low, y_high = (y * low_slope + give / span) / by_y, -(y * high_slope + give / span) / by_y
    deflection, slope = standard_thou(y, span)
    shear = _shear_at(span)
    # A rim of the same height is a smaller one on a longer span.
    groups = np.stack([low_n * y, high_n * y])
    by_rim = -slope * np.diff(elastica.ratio_by_rim(groups, supports, rim), axis=0)[0] / span / by_y
    by_friction = -slope * np.diff(elastica.ratio_by_friction(groups), axis=0)[0] / by_y
    return Point(
        y,
        deflection,
        slope * y_low,
        slope * y_high,
        slope / span / by_y,
        -slope * (high_n - low_n) / span / by_y,
        -slope * bend / span**2 / by_y
        - 2 * y * slope / span
        - by_rim * rim
        + 2 * deflection * shear / (1 + shear) / span,
        by_rim,
        by_friction,
        span,
        bend,
        warmth,
        give + span * low_slope * (y + low_n * y_low),
        span * low_slope * low_n * y_high,
    )


def _without_friction(bend_ratio: Array, low_n: Array, high_n: Array, cal: Calibration) -> Array:
    """Return the deflection between the depths, over the span, as it would be without friction along the shaft.

    First order in the friction. The flexibility at which the friction acts is that of the handbook line with its first
    correction, near enough for a change that is a thousandth of the whole.
    """
    friction = cal.span.axial_friction
    if not friction:
        return bend_ratio
    risen = high_n - low_n
    near = np.minimum(bend_ratio, elastica.LARGEST_RATIO)
    y = np.divide(48 * near / (1 + 12 * near**2), risen, out=np.zeros_like(risen), where=risen > 0)
    result: Array = bend_ratio - friction * (
        elastica.ratio_by_friction(high_n * y) - elastica.ratio_by_friction(low_n * y)
    )
    return result


def standard_thou(flexibility: Array, span_mm: Array, to: Convention = STANDARD) -> tuple[Array, Array]:
    """Return the deflection under the reference condition, and its derivative by the flexibility.

    Parameters
    ----------
    flexibility : ndarray
        L^2 / EI on the gauge's span, 1/N, any shape.
    span_mm : ndarray
        That span, mm, of a shape that broadcasts.
    to : Convention
        Span and load of the deflection.

    Returns
    -------
    thou : ndarray
        Deflection with normal reactions on knife edges, thou, of the shape of `flexibility`.
    slope : ndarray
        Its derivative, thou N, of the same shape.

    Raises
    ------
    ConversionError
        A deflection is more than a tenth of the span.
    """
    factor = to.load_n * (to.span_mm / span_mm) ** 2
    ratio, slope = elastica.ratio_and_slope(factor * flexibility)
    thou = to.span_mm / MM_PER_THOU * shear_factor(span_mm, to)
    return thou * ratio, thou * slope * factor


def shear_factor(span_mm: Array | float, to: Convention) -> Array:
    """Return the factor from a deflection that was converted as bending alone to one that shears as well.

    Shear adds P L / (4 k G A) to the bending P L^3 / (48 EI): a share of 12 EI / (k G A L^2), which goes as 1 / L^2.
    What was measured at L as bending has it already, so (1 + s(to)) / (1 + s(L)) is left to apply; 1 on the same span.
    The share lies between nothing and LARGEST_SHEAR_SHARE; the middle is taken.

    Parameters
    ----------
    span_mm : ndarray or float
        Distance between the supports at which the shaft was measured, mm, any shape.
    to : Convention
        Convention of the result.

    Returns
    -------
    ndarray
        Factor, dimensionless, of the shape of the span.

    References
    ----------
    G. R. Cowper, The shear coefficient in Timoshenko's beam theory, J. Appl. Mech. 33 (1966) 335-340.

    Examples
    --------
    >>> from midspan.base.units import OLDER
    >>> shear_factor(np.array([STANDARD.span_mm, OLDER.span_mm]), STANDARD).round(6).tolist()
    [1.0, 0.999443]
    """
    factor: Array = (1 + _shear_at(to.span_mm)) / (1 + _shear_at(span_mm))
    return factor


def _shear_at(span_mm: Array | float) -> Array:
    """Return the middle of the shear's share of the bending on a span, dimensionless, of the shape of the span."""
    return LARGEST_SHEAR_SHARE / 2 * (STANDARD.span_mm / np.asarray(span_mm)) ** 2


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
    rotation, turned = _to_start(forces.steps_to_start, fit.steps_per_turn, fit.coefficients_n.shape[-1])
    kept, grid = _significant(fit.coefficients_n, fit.covariance), _grid(fit.coefficients_n.shape[-1])
    low, high = (each_times(kept[:, depth], grid.columns) for depth in (0, 1))
    travel = (forces.head_mm[:, 1] - forces.head_mm[:, 0])[:, None]
    span, give, supports, rim = point.span_mm[:, None], cal.give_mm_per_n, cal.span.vertical, cal.rim
    bend_ratio = _without_friction((travel - give * (high - low)) / span, low, high, cal)
    y = elastica.flexibility_between((low, high), bend_ratio, supports, rim)
    deflection, _ = standard_thou(y, span)
    depth = forces.head_mm[:, :1] - give * low - span * elastica.deflection_ratio(low * y, supports, rim)
    few_low, few_high, few_y = (values[:, ::_EVERY] for values in (low, high, y))
    bounds = _at_bounds(few_y, few_low, few_high, bend_ratio[:, ::_EVERY], cal)
    deflection_apart, surface_apart = _half_apart(bounds, few_low, span, cal)
    shapes = []
    for values, apart, by_low, by_high in (
        (deflection, deflection_apart, point.by_low, point.by_high),
        (-depth, surface_apart, point.surface_by_low, point.surface_by_high),
    ):
        coefficients = each_times(values, grid.moments)
        covariance = _carried(fit, rotation, turned, coefficients, by_low, by_high)
        if apart is not None:
            covariance += _of_supports(_turned(rotation, each_times(apart, grid.few_moments)))
        covariance += _of_shared(fit, rotation, by_low, by_high)
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
    """Return changes of the force's harmonics (S, causes, D, C) as changes of harmonics that depend on both depths."""
    low, high = by_low[:, None, None], by_high[:, None, None]
    result: Array = (low * shared[:, :, 0] + high * shared[:, :, 1]) @ rotation.transpose(0, 2, 1)
    return result


def _turned(rotation: Array, coefficients: Array) -> Array:
    """Return coefficients of shape (S, C) after a rotation of the angle origin."""
    result: Array = (rotation @ coefficients[:, :, None])[:, :, 0]
    return result


def _of_supports(half_width: Array) -> Array:
    """Return the covariance of harmonics whose common error is rectangular with a half width of shape (S, C).

    The mean is left out: the budget of the spine has it. The reactions make a bow look like a little stiffness once
    per turn, and change the scale of the other orders.
    """
    half_width[:, 0] = 0.0
    result: Array = half_width[:, :, None] * half_width[:, None, :] / 3
    return result


def _of_shared(fit: HarmonicFit, rotation: Array, by_low: Array, by_high: Array) -> Array:
    """Return the covariance from what the readings of all depths have in common; the mean is in the spine's budget."""
    result = np.zeros_like(rotation)
    for causes in (fit.shared, fit.unseen):
        if causes is not None:
            changes = _carried_changes(causes, rotation, by_low, by_high)
            changes[..., 0] = 0.0
            result += changes.transpose(0, 2, 1) @ changes
    return result


def _significant(coefficients: Array, covariance: Array) -> Array:
    """Return the coefficients with orders above 2 set to zero where neither loaded depth shows them above chance."""
    kept = coefficients.copy()
    for i in range(5, coefficients.shape[-1], 2):
        variance = (covariance[..., i, i] + covariance[..., i + 1, i + 1]) / 2
        square = coefficients[..., i] ** 2 + coefficients[..., i + 1] ** 2
        real = (square > SIGNIFICANT * variance)[:, :2].any(axis=1)
        kept[~real, :, i : i + 2] = 0.0
    return kept


def _to_start(steps: Array, steps_per_turn: Array, columns: int = COLUMNS) -> tuple[Array, Array]:
    """Return matrices (S, C, C) that move the angle origin back to the start, and the angle moved, rad (S,).

    By the addition theorems, f(a - shift) is again a sum of cosines and sines of a.
    """
    shift = 2 * np.pi * steps / steps_per_turn
    matrix = np.zeros((len(steps), columns, columns))
    matrix[:, 0, 0] = 1.0
    for order in range(1, columns // 2 + 1):
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


def _at_bounds(y: Array, low_n: Array, high_n: Array, bend_ratio: Array, cal: Calibration) -> Bounds:
    """Return the flexibility L^2 / EI at both ends of the supports' range, None where the ends are the same.

    A single Newton step from the flexibility in the middle is enough: the remaining error goes with the square of the
    range.
    """
    lowest, highest = cal.span.vertical_share
    if lowest == highest:
        return None
    bounds = []
    for support in (lowest, highest):
        low, low_slope = elastica.ratio_and_slope(low_n * y, support, cal.rim)
        high, high_slope = elastica.ratio_and_slope(high_n * y, support, cal.rim)
        bounds.append(y - (high - low - bend_ratio) / (high_n * high_slope - low_n * low_slope))
    return bounds[0], bounds[1]


def _half_apart(
    bounds: Bounds, low_n: Array, span_mm: Array, cal: Calibration
) -> tuple[Array, Array] | tuple[None, None]:
    """Return half of what both ends of the supports' range differ in: standard deflection, thou, and surface, mm.

    Both are None where the reactions are known. The supports bend the measured shaft, not the reference condition.
    """
    if bounds is None:
        return None, None
    ends = zip(bounds, cal.span.vertical_share, strict=True)
    lowest, highest = (elastica.deflection_ratio(low_n * y, support, cal.rim) for y, support in ends)
    return _half_difference_thou(bounds, span_mm, STANDARD), span_mm * (lowest - highest) / 2


def _half_difference_thou(bounds: tuple[Array, Array], span_mm: Array, to: Convention) -> Array:
    """Return half the difference of the deflections under a convention at both ends of the supports' range, thou."""
    lowest, highest = (standard_thou(y, span_mm, to)[0] for y in bounds)
    half: Array = (lowest - highest) / 2
    return half


def support_half_width_thou(turn: Around, point: Point, to: Convention) -> Array:
    """Return the half width of the mean deflection under a convention that the unknown reactions leave, thou (S,).

    Parameters
    ----------
    turn : Around
        Flexibilities at both ends of the supports' range.
    point : Point
        Span at the temperature of the run.
    to : Convention
        Span and load of the deflection.

    Returns
    -------
    ndarray
        Half width, thou, shape (S,); 0 where the reactions are known.
    """
    if turn.at_bounds is None:
        return np.zeros_like(point.flexibility)
    half: Array = np.abs(_half_difference_thou(turn.at_bounds, point.span_mm[:, None], to).mean(axis=1))
    return half
