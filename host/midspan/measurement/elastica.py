"""Large-deflection bending of a shaft on two supports under a midspan load: the exact elastica, evaluated fast.

A shaft of bending stiffness EI on a fixed span L slides freely over its supports. Everything depends on one group, w =
P L^2 / EI, which gives one ratio, u = delta / L. For small loads u = w / 48, the handbook line P L^3 / 48 EI. Two
support conditions bound the real ones:

* ``normal``: frictionless supports push at right angles to the shaft, so the reactions lean inward;
* ``vertical``: the reactions stay vertical.

A number from 0 to 1 mixes the deflections of both, from normal to vertical; ``between`` is the middle.

The shaft rolls off rims: its axis lies rho above the centre of curvature of each rim, along the shaft's own normal.
Bent by theta at the support, the shaft spans L - 2 rho sin theta and has sunk by rho (1 - cos theta). The ratio rho / L
is called ``rim``, 0 for knife edges. To first order a rim takes a share of 13.5 rim (delta / L) from the deflection.

Both bounds are solved by quadrature of the first integral of the elastica (Bernoulli-Euler bending, inextensible shaft;
L. D. Landau and E. M. Lifshitz, Theory of Elasticity, section 19, for the differential equation; the reduction below is
our own). They are stored as Chebyshev series of u / (w / 48) in w^2: without rims the ratio is even in the load, so the
series converges fast; rims add w times another such series. The departure from the line begins with 72/7 (normal) or
108/35 (vertical) times (w / 48)^2.

>>> round(float(deflection_ratio(0.48)) * 48 / 0.48 - 1, 6)
0.001031
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache, partial
from typing import Any, Literal

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import ArrayLike, NDArray

from midspan.base.errors import ConversionError
from midspan.base.units import STANDARD, Convention

Array = NDArray[np.float64]
Support = Literal["normal", "vertical", "between"] | float
Curve = Callable[[Array], tuple[Array, Array]]
VERTICAL: dict[str, float] = {"normal": 0.0, "between": 0.5, "vertical": 1.0}

LARGEST_RATIO = 0.10  # delta / L; 2.8 in on the standard span, nearly twice the softest shaft sold
DEGREE = 14  # truncation error of a few 1e-15, checked in the tests
RIM_ROUNDS = 4  # each takes three digits
RIM_DEGREE = 10  # of the part that the rims add, a hundredth of the whole
NEWTON_STEPS = 8  # quadratic convergence from the handbook line takes three or four
OUT_OF_RANGE = (
    f"deflection above {LARGEST_RATIO:.2f} of the span, or not a number: no arrow shaft bends so far; check span, "
    "load and stiffness"
)
NOT_RISING = "the force does not rise with the travel: is a shaft in the gauge, and is the sign of the cell right?"
NO_STIFFNESS = "no bending stiffness fits these forces and travels; check calibration and span"


@cache
def _nodes() -> tuple[Array, Array]:
    """Return nodes and weights of Gauss-Legendre quadrature from 0 to 1."""
    node, weight = np.polynomial.legendre.leggauss(40)
    return (node + 1) / 2, weight / 2


def _normal_curve(angle_rad: Array) -> tuple[Array, Array]:
    """Return group w and ratio u for frictionless supports, from the slope angle at the support.

    With unit reaction and unit EI the turning angle psi from the support tangent obeys psi'^2 = 2 sin psi. So the
    distance along that tangent is sqrt(2 sin psi), and the distance across it is the integral of sqrt(sin psi / 2).
    Substituting psi = angle t^2 removes the root from the integrand, and Gauss-Legendre quadrature converges.
    """
    t, dt = _nodes()
    psi = angle_rad[:, None] * t**2
    along = np.sqrt(2 * np.sin(angle_rad))
    across = (np.sqrt(np.sin(psi) / 2) * 2 * angle_rad[:, None] * t) @ dt
    half_span = along * np.cos(angle_rad) + across * np.sin(angle_rad)
    drop = along * np.sin(angle_rad) - across * np.cos(angle_rad)
    return 8 * half_span**2 * np.cos(angle_rad), drop / (2 * half_span)


def _vertical_curve(angle_rad: Array) -> tuple[Array, Array]:
    """Return group w and ratio u for vertical reactions: the sine of the slope falls as a parabola along the span."""
    t, dt = _nodes()
    group = 16 * np.sin(angle_rad)
    sine = np.sin(angle_rad)[:, None] * (1 - t**2)
    return group, (sine / np.sqrt(1 - sine**2)) @ dt / 2


def _rim_curve(angle_rad: Array, curve: Curve, rim: float) -> tuple[Array, Array]:
    """Return group w and ratio u over rims, from the curve of knife edges that the shaft's axis would need.

    The axis rests on points nearer together by the share 2 rim sin(angle). A negative rim gives the branch of negative
    loads with both signs turned.
    """
    group, ratio = curve(angle_rad)
    share = 1 - 2 * rim * np.sin(angle_rad)
    return group / share**2, share * ratio + rim * (1 - np.cos(angle_rad))


def _inclined_curve(angle_rad: NDArray[Any], friction: complex) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return group w and ratio u for reactions that lean from the shaft's normal, from the slope angle at the support.

    `friction` is the force along the shaft over the force square to it; above 0 it pulls outwards. As for frictionless
    supports, but the turning angle psi is counted from the direction square to the reaction: it begins at e = -arctan
    (friction), and psi'^2 = 2 (sin psi - sin e). The substitution is psi = e + angle t^2. Complex numbers go through.
    """
    t, dt = _nodes()
    start = -np.arctan(friction)
    psi = start + angle_rad[:, None] * t**2
    # sin psi - sin e as a product, which loses no digits near the support
    risen = 2 * np.cos((psi + start) / 2) * np.sin(angle_rad[:, None] * t**2 / 2)
    end = start + angle_rad
    along = np.sqrt(2 * (np.sin(end) - np.sin(start)))
    across = (np.sin(psi) / np.sqrt(2 * risen) * 2 * angle_rad[:, None] * t) @ dt
    half_span = along * np.cos(end) + across * np.sin(end)
    drop = along * np.sin(end) - across * np.cos(end)
    return 8 * half_span**2 * np.cos(end), drop / (2 * half_span)


def _angle_of(target: Array, quantity: Callable[[Array], Array], low: float, high: float) -> Array:
    """Return the support angles at which an increasing quantity has the target values, by bisection to the last bit."""
    lower, upper = np.full_like(target, low), np.full_like(target, high)
    for _ in range(60):
        middle = (lower + upper) / 2
        below = quantity(middle) < target
        lower, upper = np.where(below, middle, lower), np.where(below, upper, middle)
    return (lower + upper) / 2


def _horner(powers: tuple[float, ...], x: Array) -> tuple[Array, Array]:
    """Return a polynomial and its derivative at x, both by Horner's rule; the highest power is first."""
    value, slope = np.full_like(x, powers[0]), np.zeros_like(x)
    for power in powers[1:]:
        slope *= x
        slope += value
        value *= x
        value += power
    return value, slope


def _polynomial(powers: tuple[float, ...], x: Array) -> Array:
    """Return a polynomial at x; the highest power is first."""
    value = np.full_like(x, powers[0])
    for power in powers[1:]:
        value *= x
        value += power
    return value


@dataclass(frozen=True)
class _ElasticaSeries:
    """Series of u / (w / 48): a polynomial in x, which is w^2 scaled to -1..1, plus w times another for the rims.

    Each Chebyshev coefficient is at least ten times smaller than the one before, so plain powers lose no digits.
    """

    largest_group: float
    powers: tuple[float, ...]
    of_rims: tuple[float, ...]  # empty for knife edges

    def value_and_derivative(self, group: Array) -> tuple[Array, Array]:
        """Return u(w) and du/dw; ConversionError beyond the range of the series."""
        if not np.all(np.abs(group) <= self.largest_group):
            raise ConversionError(OUT_OF_RANGE)
        square = group * group
        by_square = 2 / self.largest_group**2
        x = square * by_square - 1
        ratio, slope = _horner(self.powers, x)
        value, derivative = ratio, ratio + square * slope * (2 * by_square)
        if self.of_rims:
            rims, rims_slope = _horner(self.of_rims, x)
            rims *= group
            value = ratio + rims
            derivative += 2 * rims + square * group * rims_slope * (2 * by_square)
        return group / 48 * value, derivative / 48


@lru_cache(256)
def _series(support: Support, rim: float = 0.0) -> _ElasticaSeries:
    """Return the series of a support condition, computed once for each."""
    curves = _curves(support)
    largest = min(_largest_group(curve) for _, curve in curves)
    x = chebyshev.chebpts1(DEGREE + 1)
    group = largest * np.sqrt((x + 1) / 2)

    def over_line(rim: float) -> Array:
        ratio = sum(share * _ratio_at(group, partial(_rim_curve, curve=curve, rim=rim)) for share, curve in curves)
        result: Array = ratio / (group / 48)
        return result

    if not rim:
        return _ElasticaSeries(largest, _powers(x, over_line(0.0), DEGREE), ())
    # Under negative loads a rim acts as a negative rim does under positive ones.
    up, down = over_line(rim), over_line(-rim)
    return _ElasticaSeries(
        largest, _powers(x, (up + down) / 2, DEGREE), _powers(x, (up - down) / (2 * group), RIM_DEGREE)
    )


def _curves(support: Support) -> list[tuple[float, Curve]]:
    """Return the shares of both support conditions in a support, with their curves, without those that have none."""
    return [(share, _vertical_curve if pure else _normal_curve) for share, pure in _pure(support)]


def _powers(x: Array, values: Array, degree: int) -> tuple[float, ...]:
    """Return the powers of the polynomial through values at the Chebyshev points x, the highest first."""
    powers: list[float] = chebyshev.cheb2poly(chebyshev.chebfit(x, values, degree))[::-1].tolist()
    return tuple(powers)


@dataclass(frozen=True)
class _ChangeSeries:
    """Series for derivatives: of the sine of the slope over w / 16, of changes by rim and by friction over (w / 48)^2.

    All are polynomials in x, which is w^2 scaled to -1..1, highest power first; the change by the rim has a second one,
    which is multiplied by w.
    """

    largest_group: float
    sine: tuple[float, ...]
    by_rim: tuple[tuple[float, ...], tuple[float, ...]]
    by_friction: tuple[float, ...]

    def x_of(self, group: Array) -> Array:
        """Return x for groups w."""
        result: Array = group * group * (2 / self.largest_group**2) - 1
        return result


@lru_cache(256)
def _change_series(support: Support, rim: float = 0.0) -> _ChangeSeries:
    """Return the series for derivatives of a support condition."""
    curves = _curves(support)
    largest = min(_largest_group(curve) for _, curve in curves)
    x = chebyshev.chebpts1(DEGREE + 1)
    group = largest * np.sqrt((x + 1) / 2)
    square = (group / 48) ** 2
    sine = sum(share * np.sin(_angle_at(group, curve)) for share, curve in curves)
    up, down = (
        sum(share * _rim_change(group, curve, height) for share, curve in curves) / square for height in (rim, -rim)
    )
    return _ChangeSeries(
        largest,
        _powers(x, sine / (group / 16), DEGREE),
        (_powers(x, (up + down) / 2, RIM_DEGREE), _powers(x, (up - down) / (2 * group), RIM_DEGREE)),
        _powers(x, _by_friction(group) / square, RIM_DEGREE),
    )


def _rim_change(group: Array, curve: Curve, rim: float) -> Array:
    """Return the change of u per unit of rim at a fixed group w, for one support condition.

    At a fixed slope the rim changes w and u; a step along the curve takes the change of w back.
    """
    angle = _angle_at(group, partial(_rim_curve, curve=curve, rim=rim))
    step = 1e-5 * angle
    (low_group, low), (high_group, high) = (_rim_curve(angle + part, curve, rim) for part in (-step, step))
    on_edges, ratio = curve(angle)
    share, sine = 1 - 2 * rim * np.sin(angle), np.sin(angle)
    result: Array = (
        1 - np.cos(angle) - 2 * sine * ratio - on_edges * 4 * sine / share**3 * (high - low) / (high_group - low_group)
    )
    return result


def _by_friction(group: Array) -> Array:
    """Return the change of u per unit of friction at a fixed group w, for small friction around normal reactions.

    Friction changes group and ratio at a fixed slope. A step along the imaginary axis gives both derivatives without
    loss of digits; one along the curve takes the change of the group back.
    """
    angle = _angle_at(group, _normal_curve)
    tiny = 1e-30j
    by_friction = [part.imag / tiny.imag for part in _inclined_curve(angle + 0j, tiny)]
    by_angle = [part.imag / tiny.imag for part in _inclined_curve(angle + tiny, 0j)]
    result: Array = by_friction[1] - by_friction[0] * by_angle[1] / by_angle[0]
    return result


def _largest_group(curve: Curve) -> float:
    """Return the group w at the largest deflection of a support condition."""
    end = _angle_of(np.array([LARGEST_RATIO]), lambda a: curve(a)[1], 1e-9, 0.9)
    return float(curve(end)[0][0])


def _ratio_at(group: Array, curve: Curve) -> Array:
    """Return the ratio u of a support condition at groups w."""
    return curve(_angle_at(group, curve))[1]


def _angle_at(group: Array, curve: Curve) -> Array:
    """Return the support angles of a support condition at groups w, rad."""
    return _angle_of(group, lambda a: curve(a)[0], 0.0, 0.9)


def deflection_ratio(group: ArrayLike, support: Support = "normal", rim: float = 0.0) -> Array:
    """Return midspan deflection over span, u = delta / L.

    Parameters
    ----------
    group : array_like
        Load group P L^2 / EI, dimensionless, any shape.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.
    rim : float
        Height of the shaft's axis above the centre of curvature of its rims, over the span; 0 for knife edges.

    Returns
    -------
    ndarray
        Ratio u, dimensionless, of the shape of `group`.

    Raises
    ------
    ConversionError
        The deflection is more than a tenth of the span, or a group is not a number.

    References
    ----------
    L. D. Landau and E. M. Lifshitz, Theory of Elasticity, section 19, for the differential equation.

    Examples
    --------
    >>> float(deflection_ratio(0.0))
    0.0
    >>> round(float(deflection_ratio(4.0)) / (4.0 / 48), 4)
    1.0869
    """
    return _series(support, rim).value_and_derivative(np.asarray(group, float))[0]


def ratio_and_slope(group: ArrayLike, support: Support = "normal", rim: float = 0.0) -> tuple[Array, Array]:
    """Return midspan deflection over span, u = delta / L, and its derivative by the load group.

    Parameters
    ----------
    group : array_like
        Load group P L^2 / EI, dimensionless, any shape.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.
    rim : float
        Height of the shaft's axis above the centre of curvature of its rims, over the span; 0 for knife edges.

    Returns
    -------
    ratio : ndarray
        Ratio u, dimensionless, of the shape of `group`.
    slope : ndarray
        Derivative du/dw, dimensionless, of the same shape.

    Raises
    ------
    ConversionError
        The deflection is more than a tenth of the span, or a group is not a number.
    """
    return _series(support, rim).value_and_derivative(np.asarray(group, float))


def ratio_over_rims(group: ArrayLike, support: Support, rim: ArrayLike) -> Array:
    """Return u = delta / L over rims of any height for each group; slower than `deflection_ratio` with a fixed rim.

    The share of the span that the axis has left, 1 - 2 rim sin theta, settles in a few rounds: each leaves about a
    thousandth of the error.

    Parameters
    ----------
    group : array_like
        Load group P L^2 / EI, dimensionless, any shape.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.
    rim : array_like
        Height of the shaft's axis above the centre of curvature of its rims, over the span, of a shape that broadcasts.

    Returns
    -------
    ndarray
        Ratio u, dimensionless.

    Raises
    ------
    ConversionError
        The deflection is more than a tenth of the span, or a group is not a number.

    Examples
    --------
    >>> knife, rims = (float(ratio_over_rims(0.857, "normal", rim)) for rim in (0.0, 0.01))
    >>> round(rims / knife - 1, 5)  # 13.5 rim (delta / L) = 0.00242
    -0.00242
    """
    shares = _pure(support)
    whole, rims = np.asarray(group, float), np.asarray(rim, float)
    return sum((share * _over_rims(whole, pure, rims) for share, pure in shares), np.zeros(()))


def _over_rims(group: Array, pure: float, rim: Array) -> Array:
    """Return u over rims for reactions that are all normal (0) or all vertical (1)."""
    share = _share_left(group, pure, rim)
    sine = support_sine(group * share**2, pure)
    result: Array = share * deflection_ratio(group * share**2, pure) + rim * _sunk(sine)
    return result


def _share_left(group: Array, pure: float, rim: Array | float) -> Array:
    """Return the share of the span that is left between the points of the axis above the rims."""
    share: Array = np.ones(np.broadcast(group, rim).shape)
    for _ in range(RIM_ROUNDS):
        share = 1 - 2 * rim * support_sine(group * share**2, pure)
    return share


def _pure(support: Support) -> list[tuple[float, float]]:
    """Return the shares of normal (0) and of vertical (1) reactions in a support, without those that have none."""
    vertical = VERTICAL[support] if isinstance(support, str) else support
    return [(share, pure) for share, pure in ((1 - vertical, 0.0), (vertical, 1.0)) if share]


def _sunk(sine: Array) -> Array:
    """Return 1 - cos of an angle from its sine, without loss of digits near 0."""
    result: Array = sine**2 / (1 + np.sqrt(1 - sine**2))
    return result


def support_sine(group: ArrayLike, support: Support = "normal") -> Array:
    """Return the sine of the shaft's slope at knife edges.

    Parameters
    ----------
    group : array_like
        Load group P L^2 / EI, dimensionless, any shape.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.

    Returns
    -------
    ndarray
        Sine of the slope, of the shape of `group`.

    Examples
    --------
    >>> round(float(support_sine(0.16, "vertical")), 5)
    0.01
    """
    whole, series = np.asarray(group, float), _change_series(support)
    result: Array = whole / 16 * _polynomial(series.sine, series.x_of(whole))
    return result


def ratio_by_rim(group: ArrayLike, support: Support, rim: float) -> Array:
    """Return the derivative of u = delta / L by the rim at a fixed load group.

    Parameters
    ----------
    group : array_like
        Load group P L^2 / EI, dimensionless, any shape.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.
    rim : float
        Height of the shaft's axis above the centre of curvature of its rims, over the span.

    Returns
    -------
    ndarray
        Derivative, dimensionless, of the shape of `group`.

    Examples
    --------
    >>> round(float(ratio_by_rim(0.048, "normal", 0.0)) / -13.5e-6, 2)  # -13.5 (w / 48)^2 to first order
    1.0
    """
    whole, series = np.asarray(group, float), _change_series(support, rim)
    x = series.x_of(whole)
    even, odd = (_polynomial(powers, x) for powers in series.by_rim)
    result: Array = (whole / 48) ** 2 * (even + whole * odd)
    return result


def ratio_by_friction(group: ArrayLike) -> Array:
    """Return the change of u = delta / L per unit of friction at a fixed load group, around normal reactions.

    Friction is the force along the shaft at a support over the force square to it; one that pulls outwards stiffens.

    Parameters
    ----------
    group : array_like
        Load group P L^2 / EI, dimensionless, any shape.

    Returns
    -------
    ndarray
        Derivative, dimensionless, of the shape of `group`.

    Examples
    --------
    >>> round(float(ratio_by_friction(0.048)) / -2.4e-6, 2)  # -2.4 (w / 48)^2 to first order
    1.0
    """
    whole, series = np.asarray(group, float), _change_series(0.0)
    result: Array = (whole / 48) ** 2 * _polynomial(series.by_friction, series.x_of(whole))
    return result


def deflection_mm(
    load_n: ArrayLike, span_mm: ArrayLike, stiffness_n_mm2: ArrayLike, support: Support = "normal"
) -> Array:
    """Return the midspan deflection of a shaft under a load; the shapes of the arguments broadcast.

    Parameters
    ----------
    load_n : array_like
        Midspan load, N.
    span_mm : array_like
        Distance between the supports, mm.
    stiffness_n_mm2 : array_like
        Bending stiffness EI, N mm2.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.

    Returns
    -------
    ndarray
        Deflection, mm.

    Raises
    ------
    ConversionError
        The deflection is more than a tenth of the span, or an argument is not a number.

    Examples
    --------
    >>> load, span, stiffness = 1e-3, 711.2, 5.0e6
    >>> round(float(deflection_mm(load, span, stiffness)) / (load * span**3 / (48 * stiffness)), 6)
    1.0
    """
    span = np.asarray(span_mm, float)
    return span * deflection_ratio(np.asarray(load_n, float) * span**2 / np.asarray(stiffness_n_mm2), support)


def stiffness_between(
    load_n: tuple[ArrayLike, ArrayLike], travel_mm: ArrayLike, span_mm: ArrayLike, support: Support = "normal"
) -> Array:
    """Return the bending stiffness of a shaft from two loads and the travel between them; the shapes broadcast.

    Newton's method solves u(P2 y) - u(P1 y) = travel / L for y = L^2 / EI, starting from the handbook line.

    Parameters
    ----------
    load_n : tuple of array_like
        First and second load, N; a first load of 0 means travel from the unloaded shaft.
    travel_mm : array_like
        Deflection at the second load less deflection at the first, mm.
    span_mm : array_like
        Distance between the supports, mm.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.

    Returns
    -------
    ndarray
        Bending stiffness EI, N mm2.

    Raises
    ------
    ConversionError
        The load does not rise with the travel, or the deflection is more than a tenth of the span.

    Examples
    --------
    >>> ei = stiffness_between((0.0, 8.629852), 12.7, 711.2)
    >>> round(float(deflection_mm(8.629852, 711.2, ei)), 9)
    12.7
    """
    span = np.asarray(span_mm, float)
    return span**2 / flexibility_between(load_n, np.asarray(travel_mm, float) / span, support)


def flexibility_between(
    load_n: tuple[ArrayLike, ArrayLike], travel_ratio: ArrayLike, support: Support = "normal", rim: float = 0.0
) -> Array:
    """Return L^2 / EI from two loads and the travel between them as a ratio to the span; the shapes broadcast.

    Parameters
    ----------
    load_n : tuple of array_like
        First and second load, N; a first load of 0 means travel from the unloaded shaft.
    travel_ratio : array_like
        Deflection at the second load less deflection at the first, over the span.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.
    rim : float
        Height of the shaft's axis above the centre of curvature of its rims, over the span; 0 for knife edges.

    Returns
    -------
    ndarray
        L^2 / EI, 1/N.

    Raises
    ------
    ConversionError
        The load does not rise with the travel, or the deflection is more than a tenth of the span.
    """
    low, high = (np.asarray(load, float) for load in load_n)
    travel = np.asarray(travel_ratio, float)
    finite = np.isfinite(low) & np.isfinite(high) & np.isfinite(travel)
    if not np.all(finite & (high > np.maximum(low, 0.0)) & (travel > 0)):
        raise ConversionError(NOT_RISING)
    line = 48 * travel / (high - low)
    # The exact shaft is softer than the line, so the line lies above the answer and Newton's method descends from it.
    # A first guess beyond the range of the series begins at the end of the range.
    flexibility: Array = np.minimum(
        line / (1 + 12 * travel**2), _series(support, rim).largest_group / high * (1 - 1e-15)
    )
    settled = np.zeros(flexibility.shape, bool)
    for _ in range(NEWTON_STEPS):
        upper, upper_slope = ratio_and_slope(high * flexibility, support, rim)
        lower, lower_slope = ratio_and_slope(low * flexibility, support, rim)
        step = (upper - lower - travel) / (high * upper_slope - low * lower_slope)
        flexibility = flexibility - np.where(settled, 0.0, step)
        # Convergence is quadratic: after a step this small the next would be lost in rounding. Freeze converged
        # elements so that results are bit-identical whatever the batch.
        settled |= np.abs(step) <= 1e-8 * flexibility
        if settled.all():
            return flexibility
    raise ConversionError(NO_STIFFNESS)


def convert_deflection(
    measured_mm: ArrayLike, at: Convention, to: Convention = STANDARD, support: Support = "normal"
) -> Array:
    """Return the deflection that a shaft would show under another span and load.

    Parameters
    ----------
    measured_mm : array_like
        Measured deflection, mm, any shape.
    at : Convention
        Span and load of the measurement.
    to : Convention
        Span and load wanted; the standard convention by default.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.

    Returns
    -------
    ndarray
        Deflection, mm, of the shape of `measured_mm`.

    Raises
    ------
    ConversionError
        A deflection is not above 0, or is more than a tenth of its span.

    Examples
    --------
    >>> from midspan.base.units import OLDER
    >>> round(float(convert_deflection(13.208, OLDER)) / 13.208, 3)
    1.213
    """
    stiffness = stiffness_between((0.0, at.load_n), measured_mm, at.span_mm, support)
    return deflection_mm(to.load_n, to.span_mm, stiffness, support)
