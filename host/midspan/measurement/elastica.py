"""Large-deflection bending of a shaft on two supports under a midspan load: the exact elastica, evaluated fast.

A shaft of bending stiffness EI on a fixed span L slides freely over its supports. Everything depends on one
group, w = P L^2 / EI, and gives one ratio, u = delta / L. For small loads u = w / 48 (the handbook line
P L^3 / 48 EI). Two support conditions bound the real ones:

* ``normal``: frictionless supports push at right angles to the shaft, which leans the reactions inward;
* ``vertical``: the reactions stay vertical.

A number from 0 to 1 mixes the deflections of both, normal to vertical; ``between`` is their middle. The bounds are
solved by quadrature of the first integral of the elastica (Bernoulli-Euler bending, inextensible
shaft; L. D. Landau and E. M. Lifshitz, Theory of Elasticity, section 19, for the differential equation; the
reduction below is our own) and stored as Chebyshev series of u/(w/48) in w^2: the ratio is even in the load,
so the series converges fast. The departure from the line starts with 72/7 (normal) or 108/35 (vertical)
times (w/48)^2.

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
DEGREE = 14  # leaves a truncation error of a few 1e-15, checked in the tests
NEWTON_STEPS = 8  # quadratic convergence from the handbook line takes three or four


def _normal_curve(angle_rad: Array) -> tuple[Array, Array]:
    """Group w and ratio u for frictionless supports, by the slope angle at the support.

    With unit reaction and unit EI the turning angle psi from the support tangent obeys psi'^2 = 2 sin psi, so
    the way along that tangent is sqrt(2 sin psi) and the way across it the integral of sqrt(sin psi / 2).
    Substituting psi = angle t^2 takes the root out of the integrand, and Gauss-Legendre converges.
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
    """Group w and ratio u for vertical reactions: the sine of the slope falls as a parabola along the span."""
    node, weight = np.polynomial.legendre.leggauss(40)
    t, dt = (node + 1) / 2, weight / 2
    group = 16 * np.sin(angle_rad)
    sine = np.sin(angle_rad)[:, None] * (1 - t**2)
    return group, (sine / np.sqrt(1 - sine**2)) @ dt / 2


def _angle_of(target: Array, quantity: Callable[[Array], Array], low: float, high: float) -> Array:
    """Support angles at which an increasing quantity takes the target values, by bisection to the last bit."""
    lower, upper = np.full_like(target, low), np.full_like(target, high)
    for _ in range(60):
        middle = (lower + upper) / 2
        below = quantity(middle) < target
        lower, upper = np.where(below, middle, lower), np.where(below, upper, middle)
    return (lower + upper) / 2


@dataclass(frozen=True)
class _ElasticaSeries:
    """u / (w / 48) as a polynomial in x, which is w^2 scaled to -1..1; coefficients from the highest power down.

    The Chebyshev coefficients fall by ten and more from one to the next, so plain powers lose no digits.
    """

    largest_group: float
    powers: tuple[float, ...]

    def value_and_derivative(self, group: Array) -> tuple[Array, Array]:
        """u(w) and du/dw, by Horner's rule for both at once."""
        if not np.all(np.abs(group) <= self.largest_group):
            raise ConversionError(
                f"deflection beyond {LARGEST_RATIO:.2f} of the span, or not a number: "
                "check span, load and stiffness, for this is no arrow shaft"
            )
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
    end = _angle_of(np.array([LARGEST_RATIO]), lambda a: curve(a)[1], 1e-9, 0.9)
    return float(curve(end)[0][0])


def _ratio_at(group: Array, curve: Callable[[Array], tuple[Array, Array]]) -> Array:
    return curve(_angle_of(group, lambda a: curve(a)[0], 0.0, 0.9))[1]


def deflection_ratio(group: ArrayLike, support: Support = "normal") -> Array:
    """Midspan deflection over span, from P L^2 / EI (any shape).

    Raises ConversionError beyond a deflection of a tenth of the span and for NaN.

    >>> float(deflection_ratio(0.0))
    0.0
    """
    return _series(support).value_and_derivative(np.asarray(group, float))[0]


def ratio_and_slope(group: ArrayLike, support: Support = "normal") -> tuple[Array, Array]:
    """The same ratio u with its derivative du/dw, both of the shape of the group."""
    return _series(support).value_and_derivative(np.asarray(group, float))


def deflection_mm(
    load_n: ArrayLike, span_mm: ArrayLike, stiffness_n_mm2: ArrayLike, support: Support = "normal"
) -> Array:
    """Midspan deflection in mm under load_n on span_mm of a shaft with EI stiffness_n_mm2 (broadcast shapes).

    >>> load, span, stiffness = 1e-3, 711.2, 5.0e6
    >>> round(float(deflection_mm(load, span, stiffness)) / (load * span**3 / (48 * stiffness)), 6)
    1.0
    """
    span = np.asarray(span_mm, float)
    return span * deflection_ratio(np.asarray(load_n, float) * span**2 / np.asarray(stiffness_n_mm2), support)


def stiffness_between(
    load_n: tuple[ArrayLike, ArrayLike], travel_mm: ArrayLike, span_mm: ArrayLike, support: Support = "normal"
) -> Array:
    """EI in N mm2 of a shaft that deflects by travel_mm while its load goes from the first to the second load.

    Pass (0, P) for a deflection counted from the unloaded shaft. Shapes broadcast. Newton's method on
    u(P2 y) - u(P1 y) = travel / L in y = L^2 / EI, started from the handbook line.

    Raises ConversionError when the load does not rise with the travel or the deflection is out of range.

    >>> ei = stiffness_between((0.0, 8.629852), 12.7, 711.2)
    >>> round(float(deflection_mm(8.629852, 711.2, ei)), 9)
    12.7
    """
    span = np.asarray(span_mm, float)
    return span**2 / flexibility_between(load_n, np.asarray(travel_mm, float) / span, support)


def flexibility_between(
    load_n: tuple[ArrayLike, ArrayLike], travel_ratio: ArrayLike, support: Support = "normal"
) -> Array:
    """L^2 / EI in 1/N from two loads and the travel between them as a ratio to the span: the core of the above.

    Raises what `stiffness_between` raises.
    """
    low, high = (np.asarray(load, float) for load in load_n)
    travel = np.asarray(travel_ratio, float)
    finite = np.isfinite(low) & np.isfinite(high) & np.isfinite(travel)
    if not np.all(finite & (high > np.maximum(low, 0.0)) & (travel > 0)):
        raise ConversionError("force does not rise with travel: is a shaft in the gauge, and the cell's sign right?")
    line = 48 * travel / (high - low)
    # The exact shaft is softer than the line, so the line lies above the answer and Newton comes down from it; a
    # first guess beyond the range of the series starts at the range's end.
    flexibility: Array = np.minimum(line / (1 + 12 * travel**2), _series(support).largest_group / high * (1 - 1e-15))
    settled = np.zeros(flexibility.shape, bool)
    for _ in range(NEWTON_STEPS):
        upper, upper_slope = ratio_and_slope(high * flexibility, support)
        lower, lower_slope = ratio_and_slope(low * flexibility, support)
        step = (upper - lower - travel) / (high * upper_slope - low * lower_slope)
        flexibility = flexibility - np.where(settled, 0.0, step)
        # Convergence is quadratic: after a step this small the next would be lost in rounding. Who has come to
        # rest stays there, so that no shaft's last bit depends on its neighbours.
        settled |= np.abs(step) <= 1e-8 * flexibility
        if settled.all():
            return flexibility
    raise ConversionError("no bending stiffness fits these forces and travels: check calibration and span")


def convert_deflection(
    measured_mm: ArrayLike, at: Convention, to: Convention = STANDARD, support: Support = "normal"
) -> Array:
    """Deflection in mm that a shaft would show under another span and load.

    >>> from midspan.base.units import OLDER
    >>> round(float(convert_deflection(13.208, OLDER)) / 13.208, 3)
    1.213
    """
    stiffness = stiffness_between((0.0, at.load_n), measured_mm, at.span_mm, support)
    return deflection_mm(to.load_n, to.span_mm, stiffness, support)
