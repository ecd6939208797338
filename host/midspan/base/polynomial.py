"""Least-squares polynomials with covariance, for the calibration of force and travel.

The fit uses a QR decomposition on a centred and scaled abscissa, which keeps all the digits of load-cell data. The
coefficients and their covariance are then carried over to the original abscissa exactly.

>>> fit = fit_polynomial([0.0, 1.0, 2.0, 3.0], [1.0, 3.0, 5.0, 7.0], 1)
>>> [round(float(c), 9) for c in fit.coefficients]
[1.0, 2.0]
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from midspan.base.errors import ConversionError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PolynomialFit:
    """A fitted polynomial; call it with an abscissa of any shape to get the value there.

    Parameters
    ----------
    coefficients : Array
        From the constant to the highest power, shape (order + 1,); unit of y over powers of the unit of x.
    covariance : Array
        Covariance of the coefficients, shape (order + 1, order + 1).
    residual_sd : float
        Standard deviation of the readings about the curve, unit of y.
    degrees_of_freedom : int
        Number of readings less number of fitted coefficients, 1 or more.
    """

    coefficients: Array
    covariance: Array
    residual_sd: float
    degrees_of_freedom: int

    @property
    def u(self) -> Array:
        """Standard uncertainty of each coefficient."""
        return np.sqrt(np.diag(self.covariance))

    def __call__(self, x: ArrayLike) -> Array:
        """Return the value of the polynomial at x, any shape."""
        return np.polynomial.polynomial.polyval(np.asarray(x, float), self.coefficients)


def _unscaled(order: int, centre: float, scale: float) -> Array:
    """Return the matrix from coefficients in (x - centre) / scale to coefficients in x, by the binomial theorem."""
    matrix = np.zeros((order + 1, order + 1))
    for power in range(order + 1):
        for part in range(power + 1):
            matrix[part, power] = math.comb(power, part) * (-centre) ** (power - part) / scale**power
    return matrix


def fit_polynomial(x: ArrayLike, y: ArrayLike, order: int, *, through_zero: bool = False) -> PolynomialFit:
    """Fit y = c0 + c1 x + c2 x^2 + ... by ordinary least squares.

    Parameters
    ----------
    x : ArrayLike
        Abscissas, shape (readings,), any unit.
    y : ArrayLike
        Ordinates, shape (readings,), any unit.
    order : int
        Highest power, 1 or more.
    through_zero : bool
        True to hold c0 at 0.

    Returns
    -------
    PolynomialFit
        Coefficients with their covariance.

    Raises
    ------
    ConversionError
        There are no more readings than coefficients or x and y differ in length (code "too_few"), a reading is not
        finite ("not_finite"), or too few abscissas differ ("too_few_different").

    References
    ----------
    G. H. Golub, C. F. Van Loan, Matrix Computations, 4th ed. 2013, 5.3 (least squares by QR).

    Examples
    --------
    >>> fit = fit_polynomial([1.0, 2.0, 3.0], [2.0, 4.0, 6.0], 1, through_zero=True)
    >>> round(float(fit(10.0)), 9), fit.degrees_of_freedom
    (20.0, 2)
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    free = order + (not through_zero)
    if x.shape != y.shape or x.ndim != 1 or len(x) <= free:
        found = f"found {x.size} and {y.size}"
        raise ConversionError(
            f"order {order} needs more than {free} pairs of readings, {found}; take more", code="too_few"
        )
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ConversionError(
            "a calibration reading is not a finite number: look for an empty or misread cell", code="not_finite"
        )
    different = len(np.unique(x[x != 0] if through_zero else x))  # through zero, a point at zero says nothing
    if different < free:
        raise ConversionError(
            f"order {order} needs at least {free} different points, found {different}; take more",
            code="too_few_different",
        )
    # Through zero the abscissa must not be centred, or the constant would come back.
    centre = 0.0 if through_zero else float(x.mean())
    scale = float(np.abs(x - centre).max())
    powers = np.vander((x - centre) / scale, order + 1, increasing=True)[:, int(through_zero) :]
    q, r = np.linalg.qr(powers)
    scaled = np.linalg.solve(r, q.T @ y)
    # One step of iterative refinement recovers what rounding took from ill-conditioned abscissas.
    scaled += np.linalg.solve(r, q.T @ (y - powers @ scaled))
    residual = y - powers @ scaled
    degrees = len(x) - free
    sd = math.sqrt(float(residual @ residual) / degrees)
    inverse = np.linalg.inv(r)
    back = _unscaled(order, centre, scale)[:, int(through_zero) :]
    return PolynomialFit(back @ scaled, back @ (inverse @ inverse.T * sd**2) @ back.T, sd, degrees)
