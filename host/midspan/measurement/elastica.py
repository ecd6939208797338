"""Large-deflection bending of a shaft on two supports under a midspan load: the exact elastica, evaluated fast.

A shaft of bending stiffness EI on a fixed span L slides freely over its supports. Everything depends on one group, w =
P L^2 / EI, which gives one ratio, u = delta / L. For small loads u = w / 48, the handbook line P L^3 / 48 EI. Two
support conditions bound the real ones:

* ``normal``: frictionless supports push at right angles to the shaft, so the reactions lean inward;
* ``vertical``: the reactions stay vertical.

A number from 0 to 1 mixes the deflections of both, from normal to vertical; ``between`` is the middle. Both bounds are
solved by quadrature of the first integral of the elastica (Bernoulli-Euler bending, inextensible shaft; L. D. Landau
and E. M. Lifshitz, Theory of Elasticity, section 19, for the differential equation; the reduction below is our own).
They are stored as Chebyshev series of u / (w / 48) in w^2: the ratio is even in the load, so the series converges
fast. The departure from the line begins with 72/7 (normal) or 108/35 (vertical) times (w / 48)^2.

>>> round(float(deflection_ratio(0.48)) * 48 / 0.48 - 1, 6)
0.001031
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import ArrayLike, NDArray

from midspan.base.errors import ConversionError
from midspan.base.units import STANDARD, Convention

Array = NDArray[np.float64]
Support = Literal["normal", "vertical", "between"] | float
VERTICAL: dict[str, float] = {"normal": 0.0, "between": 0.5, "vertical": 1.0}

LARGEST_RATIO = 0.10  # delta / L; 2.8 in on the standard span, nearly twice the softest shaft sold
DEGREE = 14  # truncation error of a few 1e-15, checked in the tests
NEWTON_STEPS = 8  # quadratic convergence from the handbook line takes three or four
OUT_OF_RANGE = (
    f"deflection above {LARGEST_RATIO:.2f} of the span, or not a number: no arrow shaft bends so far; check span, "
    "load and stiffness"
)
NOT_RISING = "the force does not rise with the travel: is a shaft in the gauge, and is the sign of the cell right?"
NO_STIFFNESS = "no bending stiffness fits these forces and travels; check calibration and span"


def _normal_curve(angle_rad: Array) -> tuple[Array, Array]:
    """Return group w and ratio u for frictionless supports, from the slope angle at the support.

    With unit reaction and unit EI the turning angle psi from the support tangent obeys psi'^2 = 2 sin psi. So the
    distance along that tangent is sqrt(2 sin psi), and the distance across it is the integral of sqrt(sin psi / 2).
    Substituting psi = angle t^2 removes the root from the integrand, and Gauss-Legendre quadrature converges.
    """
    node, weight = np.polynomial.legendre.leggauss(40)
    t, dt = (node + 1) / 2, weight / 2
    psi = angle_rad[:, None] * t**2
    along = np.sqrt(2 * np.sin(angle_rad))
    across = (np.sqrt(np.sin(psi) / 2) * 2 * angle_rad[:, None] * t) @ dt
    half_span = along * np.cos(angle_rad) + across * np.sin(angle_rad)
    drop = along * np.sin(angle_rad) - across * np.cos(angle_rad)
    return 8 * half_span**2 * np.cos(angle_rad), drop / (2 * half_span)


def _vertical_curve(angle_rad: Array) -> tuple[Array, Array]:
    """Return group w and ratio u for vertical reactions: the sine of the slope falls as a parabola along the span."""
    node, weight = np.polynomial.legendre.leggauss(40)
    t, dt = (node + 1) / 2, weight / 2
    group = 16 * np.sin(angle_rad)
    sine = np.sin(angle_rad)[:, None] * (1 - t**2)
    return group, (sine / np.sqrt(1 - sine**2)) @ dt / 2


def _angle_of(target: Array, quantity: Callable[[Array], Array], low: float, high: float) -> Array:
    """Return the support angles at which an increasing quantity has the target values, by bisection to the last bit."""
    lower, upper = np.full_like(target, low), np.full_like(target, high)
    for _ in range(60):
        middle = (lower + upper) / 2
        below = quantity(middle) < target
        lower, upper = np.where(below, middle, lower), np.where(below, upper, middle)
    return (lower + upper) / 2


@dataclass(frozen=True)
class _ElasticaSeries:
    """Series of u / (w / 48) as a polynomial in x, which is w^2 scaled to -1..1; highest power first.

    Each Chebyshev coefficient is at least ten times smaller than the one before, so plain powers lose no digits.
    """

    largest_group: float
    powers: tuple[float, ...]

    def value_and_derivative(self, group: Array) -> tuple[Array, Array]:
        """Return u(w) and du/dw, by Horner's rule for both at once; ConversionError beyond the range of the series."""
        if not np.all(np.abs(group) <= self.largest_group):
            raise ConversionError(OUT_OF_RANGE)
        square = group * group
        x = square * (2 / self.largest_group**2) - 1
        ratio, slope = np.full_like(x, self.powers[0]), np.zeros_like(x)
        for power in self.powers[1:]:
            slope *= x
            slope += ratio
            ratio *= x
            ratio += power
        return group / 48 * ratio, (ratio + square * slope * (4 / self.largest_group**2)) / 48


@cache
def _series(support: Support) -> _ElasticaSeries:
    """Return the series of a support condition, computed once for each."""
    vertical = VERTICAL[support] if isinstance(support, str) else support
    parts = [(1 - vertical, _normal_curve), (vertical, _vertical_curve)]
    curves = [(share, curve) for share, curve in parts if share]
    largest = min(_largest_group(curve) for _, curve in curves)
    x = chebyshev.chebpts1(DEGREE + 1)
    group = largest * np.sqrt((x + 1) / 2)
    ratio = sum(share * _ratio_at(group, curve) for share, curve in curves)
    fit = chebyshev.chebfit(x, ratio / (group / 48), DEGREE)
    return _ElasticaSeries(largest, tuple(chebyshev.cheb2poly(fit)[::-1].tolist()))


def _largest_group(curve: Callable[[Array], tuple[Array, Array]]) -> float:
    """Return the group w at the largest deflection of a support condition."""
    end = _angle_of(np.array([LARGEST_RATIO]), lambda a: curve(a)[1], 1e-9, 0.9)
    return float(curve(end)[0][0])


def _ratio_at(group: Array, curve: Callable[[Array], tuple[Array, Array]]) -> Array:
    """Return the ratio u of a support condition at groups w."""
    return curve(_angle_of(group, lambda a: curve(a)[0], 0.0, 0.9))[1]


def deflection_ratio(group: ArrayLike, support: Support = "normal") -> Array:
    """Return midspan deflection over span, u = delta / L.

    Parameters
    ----------
    group : array_like
        Load group P L^2 / EI, dimensionless, any shape.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.

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
    return _series(support).value_and_derivative(np.asarray(group, float))[0]


def ratio_and_slope(group: ArrayLike, support: Support = "normal") -> tuple[Array, Array]:
    """Return midspan deflection over span, u = delta / L, and its derivative by the load group.

    Parameters
    ----------
    group : array_like
        Load group P L^2 / EI, dimensionless, any shape.
    support : {"normal", "vertical", "between"} or float
        Support condition, or the share of vertical reactions from 0 to 1.

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
    return _series(support).value_and_derivative(np.asarray(group, float))


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
    load_n: tuple[ArrayLike, ArrayLike], travel_ratio: ArrayLike, support: Support = "normal"
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
    flexibility: Array = np.minimum(line / (1 + 12 * travel**2), _series(support).largest_group / high * (1 - 1e-15))
    settled = np.zeros(flexibility.shape, bool)
    for _ in range(NEWTON_STEPS):
        upper, upper_slope = ratio_and_slope(high * flexibility, support)
        lower, lower_slope = ratio_and_slope(low * flexibility, support)
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
