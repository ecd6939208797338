"""Test a fit by its own readings: the order they support, the misfit that remains, and how to read the curve backwards.

A correlation of 0.99999 says nothing about a load cell. The published case is P. Pontius's load-cell calibration
(NIST/SEMATECH e-Handbook of Statistical Methods, 4.6.1): the straight line fails the lack-of-fit test by a factor of
a hundred, the second order passes.

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

SIGNIFICANT = 0.01  # probability of finding a term or misfit in readings that have none
HIGHEST_ORDER = 2  # the calibration file has no keys for more


@dataclass(frozen=True)
class FTest:
    """Result of an F test.

    Parameters
    ----------
    ratio : float
        Variance ratio F.
    degrees : tuple[int, int]
        Degrees of freedom of numerator and denominator.
    chance : float
        Probability of this ratio or a larger one without any effect.
    """

    ratio: float
    degrees: tuple[int, int]
    chance: float

    @property
    def significant(self) -> bool:
        """True if chance alone would hardly produce the ratio."""
        return self.chance < SIGNIFICANT


@dataclass(frozen=True)
class Evidence:
    """Polynomial order that the readings support.

    Parameters
    ----------
    order : int
        1 for a straight line, 2 for a parabola.
    fit : PolynomialFit
        Fit of that order.
    added_term : FTest | None
        Test of the second-order term, None if there were too few different points.
    lack_of_fit : FTest | None
        Test of the misfit, None without repeated readings.
    """

    order: int
    fit: PolynomialFit
    added_term: FTest | None
    lack_of_fit: FTest | None

    def sentence(self) -> str:
        """Return the choice in plain words.

        Returns
        -------
        str
            Sentence without a full stop.
        """
        if self.added_term is None:
            return "a straight line: too few different points to look for curvature"
        return "a curve fits: curvature found" if self.order == 2 else "a straight line fits; no curvature found"


def _sum_of_squares(fit: PolynomialFit) -> float:
    """Return the residual sum of squares of a fit."""
    return fit.residual_sd**2 * fit.degrees_of_freedom


def f_test(lost: float, degrees: int, remaining: float, remaining_degrees: int) -> FTest:
    """Test a sum of squares explained by some terms against the sum that remains.

    Parameters
    ----------
    lost : float
        Sum of squares explained by the terms.
    degrees : int
        Number of terms.
    remaining : float
        Sum of squares that remains.
    remaining_degrees : int
        Its degrees of freedom.

    Returns
    -------
    FTest
        Ratio and chance; without any remaining squares the ratio is infinite or 0.

    Examples
    --------
    >>> round(f_test(10.0, 1, 10.0, 10).ratio, 6)
    10.0
    """
    if remaining <= 0:
        return FTest(float("inf") if lost > 0 else 0.0, (degrees, remaining_degrees), 0.0 if lost > 0 else 1.0)
    ratio = max(lost, 0.0) / degrees / (remaining / remaining_degrees)
    return FTest(ratio, (degrees, remaining_degrees), float(stats.f.sf(ratio, degrees, remaining_degrees)))


def lack_of_fit(fit: PolynomialFit, x: ArrayLike, y: ArrayLike) -> FTest | None:
    """Test the scatter of means about a curve against the scatter of repeats about their means.

    Parameters
    ----------
    fit : PolynomialFit
        Fitted curve.
    x, y : ArrayLike
        The fitted points, shape (points,).

    Returns
    -------
    FTest | None
        Result, None without repeats at the same x or without degrees of freedom for a misfit.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 4.4.4.6 and 4.6.1.9.
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
    """Fit a straight line, or a parabola if its added term is significant.

    Parameters
    ----------
    x, y : ArrayLike
        Points, shape (points,).
    through_zero : bool
        True for a curve without a constant term.

    Returns
    -------
    Evidence
        Chosen order with its fit and the tests.

    Raises
    ------
    ConversionError
        There are too few points even for a line.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 4.6.1.
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
    """Return the standard uncertainty of a fitted curve.

    Parameters
    ----------
    fit : PolynomialFit
        Fitted curve.
    x : ArrayLike
        Where to evaluate it, shape (points,) or a number.

    Returns
    -------
    Array
        Standard uncertainty in the unit of y, shape (points,).
    """
    powers = np.vander(np.atleast_1d(np.asarray(x, float)), len(fit.coefficients), increasing=True)
    u: Array = np.sqrt(np.einsum("...i,ij,...j", powers, fit.covariance, powers))
    return u


def read_back(
    fit: PolynomialFit, y: float, between: tuple[float, float], level: float = 0.95
) -> tuple[float, float, float]:
    """Return the x that belongs to a new reading y, with its interval.

    The interval ends where y leaves the prediction interval of the curve.

    Parameters
    ----------
    fit : PolynomialFit
        Fitted curve.
    y : float
        New reading.
    between : tuple[float, float]
        Range of x that contains the answer and its interval.
    level : float
        Probability of the interval.

    Returns
    -------
    tuple[float, float, float]
        The x, and lower and upper end of its interval.

    Raises
    ------
    ConversionError
        The curve does not reach y in that range.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 4.5.2.1 and 4.6.1.10.

    Examples
    --------
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
            f"the curve does not reach {y:g} between {between[0]:g} and {between[1]:g}; calibrate over a wider range"
        ) from error
    return float(middle), float(min(low, high)), float(max(low, high))


def combined(*parts: tuple[float, float]) -> tuple[float, float]:
    """Combine standard uncertainties and their degrees of freedom.

    Parameters
    ----------
    *parts : tuple[float, float]
        Standard uncertainty and degrees of freedom of each cause.

    Returns
    -------
    tuple[float, float]
        Combined standard uncertainty and its effective degrees of freedom, at least 1.

    References
    ----------
    JCGM 100:2008, G.4.1 (Welch and Satterthwaite).

    Examples
    --------
    >>> u, degrees = combined((3.0, 4), (4.0, float("inf")))
    >>> u, round(degrees, 3)
    (5.0, 30.864)
    """
    u = [part for part, _ in parts]
    return math.hypot(*u), max(1.0, float(effective_dof(u, [degrees for _, degrees in parts])))
