"""What the readings themselves say about a fit: which order they call for, what it leaves over, how to read it back.

A correlation of 0.99999 says nothing about a load cell. The published case is P. Pontius's load-cell calibration
(NIST/SEMATECH e-Handbook of Statistical Methods, 4.6.1): the straight line fails the lack-of-fit test by a factor
of a hundred, the second order passes.

>>> load = [0.0, 1.0, 2.0, 3.0, 4.0] * 2
>>> bent = [0.0, 1.01, 2.04, 3.09, 4.16, 0.0, 1.011, 2.039, 3.091, 4.159]
>>> choose_order(load, bent, through_zero=True).order
2
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

from midspan.base.errors import ConversionError
from midspan.base.polynomial import Array, PolynomialFit, fit_polynomial
from midspan.uncertainty.budget import effective_dof

SIGNIFICANT = 0.01  # chance at which a term or a misfit would show up in readings that have none
HIGHEST_ORDER = 2  # what a calibration file has room for


@dataclass(frozen=True)
class FTest:
    """An F test: the ratio, its degrees of freedom, and the chance of such a ratio without any effect."""

    ratio: float
    degrees: tuple[int, int]
    chance: float

    @property
    def significant(self) -> bool:
        """Whether chance alone would hardly do it."""
        return self.chance < SIGNIFICANT


@dataclass(frozen=True)
class Evidence:
    """The order called for, the fit of it, the test of the added term, and the misfit where readings repeat."""

    order: int
    fit: PolynomialFit
    added_term: FTest | None
    lack_of_fit: FTest | None

    def sentence(self) -> str:
        """The choice in plain words."""
        if self.added_term is None:
            return "a straight line: there are too few different points to try a second order"
        kind = "a second order" if self.order == 2 else "a straight line"
        says = "helps beyond chance" if self.order == 2 else "does not earn its place"
        return f"{kind}: the added term {says} (F = {self.added_term.ratio:.1f}, p = {self.added_term.chance:.2g})"


def _sum_of_squares(fit: PolynomialFit) -> float:
    return fit.residual_sd**2 * fit.degrees_of_freedom


def f_test(lost: float, degrees: int, remaining: float, remaining_degrees: int) -> FTest:
    """F test of a sum of squares that `degrees` terms explain against what remains.

    >>> round(f_test(10.0, 1, 10.0, 10).ratio, 6)
    10.0
    """
    if remaining <= 0:
        return FTest(float("inf") if lost > 0 else 0.0, (degrees, remaining_degrees), 0.0 if lost > 0 else 1.0)
    ratio = max(lost, 0.0) / degrees / (remaining / remaining_degrees)
    return FTest(ratio, (degrees, remaining_degrees), float(stats.f.sf(ratio, degrees, remaining_degrees)))


def lack_of_fit(fit: PolynomialFit, x: ArrayLike, y: ArrayLike) -> FTest | None:
    """Scatter of the means about the curve against scatter of repeats about their means; None without repeats.

    NIST/SEMATECH e-Handbook, 4.4.4.6 and 4.6.1.9.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    places, which = np.unique(x, return_inverse=True)
    means = np.bincount(which, y) / np.bincount(which)
    free = len(x) - fit.degrees_of_freedom
    pure_degrees, misfit_degrees = len(x) - len(places), len(places) - free
    if pure_degrees < 1 or misfit_degrees < 1:
        return None
    pure = float(((y - means[which]) ** 2).sum())
    return f_test(_sum_of_squares(fit) - pure, misfit_degrees, pure, pure_degrees)


def choose_order(x: ArrayLike, y: ArrayLike, *, through_zero: bool = False) -> Evidence:
    """First or second order: the second only where its term helps beyond chance (F test of the added term).

    Raises ConversionError where not even a line can be fitted.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    line = fit_polynomial(x, y, 1, through_zero=through_zero)
    different = len(np.unique(x[x != 0] if through_zero else x))
    if different < 4 - through_zero or line.degrees_of_freedom < 3:
        return Evidence(1, line, None, lack_of_fit(line, x, y))
    curve = fit_polynomial(x, y, HIGHEST_ORDER, through_zero=through_zero)
    remaining = _sum_of_squares(curve)
    added = f_test(_sum_of_squares(line) - remaining, 1, remaining, curve.degrees_of_freedom)
    # Rounding alone leaves a residual of a few parts in 1e15 on exact data, in which any term looks significant.
    real = line.residual_sd > 1e-12 * float(np.abs(y).max())
    order, fit = (HIGHEST_ORDER, curve) if added.significant and real else (1, line)
    return Evidence(order, fit, added, lack_of_fit(fit, x, y))


def u_of_curve(fit: PolynomialFit, x: ArrayLike) -> Array:
    """Standard uncertainty of the fitted curve at x (any shape)."""
    powers = np.vander(np.atleast_1d(np.asarray(x, float)), len(fit.coefficients), increasing=True)
    u: Array = np.sqrt(np.einsum("...i,ij,...j", powers, fit.covariance, powers))
    return u


def read_back(
    fit: PolynomialFit, y: float, between: tuple[float, float], level: float = 0.95
) -> tuple[float, float, float]:
    """The x of one new reading y, and both ends of its interval: where y leaves the curve's prediction interval.

    NIST/SEMATECH e-Handbook, 4.5.2.1 and 4.6.1.10. `between` brackets the answer and its interval. Raises
    ConversionError when y is not reached there.

    >>> fit = fit_polynomial([0.0, 1.0, 2.0, 3.0], [0.1, 0.9, 2.1, 2.9], 1)
    >>> [round(value, 2) for value in read_back(fit, 1.5, (-5.0, 8.0))]
    [1.5, 0.84, 2.16]
    """
    quantile = float(stats.t.ppf((1 + level) / 2, fit.degrees_of_freedom))

    def away(x: float, side: float) -> float:
        u = float(u_of_curve(fit, x)[0])
        return float(fit(x)) - y + side * quantile * float(np.hypot(fit.residual_sd, u))

    try:
        middle, low, high = (optimize.brentq(away, *between, args=(side,), xtol=1e-12) for side in (0.0, 1.0, -1.0))
    except ValueError as error:
        raise ConversionError(
            f"a reading of {y:g} is not reached between {between[0]:g} and {between[1]:g}: put on more points"
        ) from error
    return float(middle), float(min(low, high)), float(max(low, high))


def combined(*parts: tuple[float, float]) -> tuple[float, float]:
    """Standard uncertainty of (u, degrees of freedom) together, with effective degrees of freedom (1 or more).

    >>> u, degrees = combined((3.0, 4), (4.0, float("inf")))
    >>> u, round(degrees, 3)
    (5.0, 30.864)
    """
    u = [part for part, _ in parts]
    return math.hypot(*u), max(1.0, float(effective_dof(u, [degrees for _, degrees in parts])))
