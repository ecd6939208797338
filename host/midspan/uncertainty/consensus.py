"""Reference values of things that several instruments measured, and how far each instrument is from them.

Results are combined by generalised least squares, so errors that two results share count once. Results that differ by
more than their uncertainties explain get a scatter between instruments, by Paule and Mandel: as much as makes their
scatter expected. Its square tau2 is added to each variance.

>>> gauges = Results.of_one_thing(np.array([500.1, 500.4, 502.5]), np.diag([0.2, 0.2, 0.2]) ** 2)
>>> found = consensus(gauges)
>>> found.values.round(2), found.u.round(2), round(found.tau, 2), found.is_consistent
(array([501.]), array([0.75]), 1.29, False)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import brentq
from scipy.stats import chi2

from midspan.base.errors import ConversionError

Array = NDArray[np.float64]
SIGNIFICANCE = 0.05  # chance at which sound results are called inconsistent: 5 %, as procedure A of key comparisons
WIDEST = 1e3  # scatter between instruments, in spreads of the results; more cannot be needed


@dataclass(frozen=True, eq=False)
class Results:
    """Results of one or more things.

    Parameters
    ----------
    values : ndarray
        Results, shape (results,), all in one unit.
    covariance : ndarray
        Their covariance, shape (results, results), that unit squared.
    things : ndarray
        Index of the thing that each result is of, shape (results,), from 0 without gaps.
    """

    values: Array
    covariance: Array
    things: NDArray[np.int64]

    @classmethod
    def of_one_thing(cls, values: Array, covariance: Array) -> Results:
        """Return results of a single thing.

        Parameters
        ----------
        values : ndarray
            Results, shape (results,).
        covariance : ndarray
            Their covariance, shape (results, results).

        Returns
        -------
        Results
            The results.
        """
        return cls(values, covariance, np.zeros(len(values), dtype=np.int64))

    @property
    def design(self) -> Array:
        """Matrix that says which result is of which thing, shape (results, things)."""
        return np.eye(int(self.things.max()) + 1)[self.things]


@dataclass(frozen=True, eq=False)
class Consensus:
    """Reference values, and how consistent the results are.

    Parameters
    ----------
    values : ndarray
        Reference value of each thing, shape (things,).
    covariance : ndarray
        Their covariance, shape (things, things).
    weights : ndarray
        Weight of each result in each reference value, shape (things, results).
    chi2 : float
        Sum of squared deviations of the results in their uncertainties, before any scatter between instruments is
        added.
    dof : int
        Degrees of freedom of that sum.
    p : float
        Chance of a larger sum where all uncertainties are right; not a number without degrees of freedom.
    tau : float
        Scatter between instruments that was added, one standard deviation; 0 for consistent results.
    """

    values: Array
    covariance: Array
    weights: Array
    chi2: float
    dof: int
    p: float
    tau: float

    @property
    def u(self) -> Array:
        """Standard uncertainty of each reference value, shape (things,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def is_consistent(self) -> bool:
        """True if the uncertainties of the results explain their differences, or nothing could tell."""
        return not self.p < SIGNIFICANCE


def consensus(results: Results, *, scatter: bool | None = None) -> Consensus:
    """Return the reference values that results agree on.

    Parameters
    ----------
    results : Results
        Results of one or more things.
    scatter : bool or None
        True to estimate a scatter between instruments, False to assume none, None to estimate it if the results are
        inconsistent.

    Returns
    -------
    Consensus
        The reference values.

    Raises
    ------
    ConversionError
        A covariance is not that of real results (code "covariance").

    References
    ----------
    M. G. Cox, Metrologia 39 (2002) 589, procedure A (weighted mean and chi-squared test); R. C. Paule, J. Mandel, J.
    Res. NBS 87 (1982) 377 (scatter between instruments); A. C. Aitken (1935) (generalised least squares).

    Examples
    --------
    >>> pair = Results.of_one_thing(np.array([1.0, 1.5]), np.array([[0.05, 0.06], [0.06, 0.1125]]))
    >>> consensus(pair, scatter=False).values.round(8)
    array([0.88235294])
    """
    plain = _combined(results, 0.0)
    dof = len(results.values) - plain.values.size
    p = float(chi2.sf(plain.chi2, dof)) if dof else float("nan")
    wanted = p < SIGNIFICANCE if scatter is None else scatter
    tau2 = _paule_mandel(results, dof, plain.chi2) if wanted and dof else 0.0
    found = _combined(results, tau2) if tau2 else plain
    return Consensus(found.values, found.covariance, found.weights, plain.chi2, dof, p, float(np.sqrt(tau2)))


@dataclass(frozen=True, eq=False)
class _Combination:
    """Generalised least squares with a given scatter between instruments."""

    values: Array
    covariance: Array
    weights: Array
    chi2: float


def _combined(results: Results, tau2: float) -> _Combination:
    """Return reference values by generalised least squares."""
    total, design = results.covariance + tau2 * np.eye(len(results.values)), results.design
    try:
        factor = cho_factor(total, lower=True)
    except np.linalg.LinAlgError as error:
        raise ConversionError(
            "covariance of the results: not positive definite; a shared part may not be larger than the whole",
            code="covariance",
        ) from error
    weighed = cho_solve(factor, design)
    covariance = np.linalg.inv(design.T @ weighed)
    weights = covariance @ weighed.T
    values = weights @ results.values
    off = results.values - design @ values
    return _Combination(values, covariance, weights, float(off @ cho_solve(factor, off)))


def _paule_mandel(results: Results, dof: int, q_without: float) -> float:
    """Return the variance between instruments at which the sum of squared deviations is its expectation."""
    if q_without <= dof:
        return 0.0
    # Relative to the spread, so that the answer does not depend on the unit.
    widest = WIDEST * float(np.ptp(results.values - results.design @ _combined(results, 0.0).values)) ** 2

    def excess(fraction: float) -> float:
        return _combined(results, fraction * widest).chi2 - dof

    root: float = brentq(excess, 0.0, 1.0, xtol=1e-16, rtol=1e-13)
    return root * widest


@dataclass(frozen=True, eq=False)
class Equivalence:
    """Deviation of each result from the reference value of its thing.

    Parameters
    ----------
    deviations : ndarray
        Result less reference value, shape (results,).
    u : ndarray
        Standard uncertainty of each deviation, shape (results,).
    """

    deviations: Array
    u: Array

    def e_n(self, k: float) -> Array:
        """Return each deviation over its expanded uncertainty.

        Parameters
        ----------
        k : float
            Coverage factor.

        Returns
        -------
        ndarray
            E_n of each result, shape (results,); beyond 1 about one time in twenty for k = 1.96.
        """
        return self.deviations / (k * self.u)


def equivalence(results: Results, found: Consensus) -> Equivalence:
    """Return how far each result is from the reference value of its thing.

    The reference value is partly made of the result itself, which its uncertainty takes into account:
    u(D)^2 = u^2 - 2 cov(x, reference) + u(reference)^2. The scatter between instruments widens the reference value
    only: it is what the deviation is to show.

    Parameters
    ----------
    results : Results
        The results.
    found : Consensus
        Their reference values.

    Returns
    -------
    Equivalence
        Deviations with their uncertainties.

    References
    ----------
    M. G. Cox, Metrologia 39 (2002) 589 (degrees of equivalence); S. Pomme, Metrologia 52 (2015) S200, for the
    uncertainty where a scatter between instruments was added.
    """
    design = results.design
    deviations = results.values - design @ found.values
    with_reference = np.sum(results.covariance * (design @ found.weights), axis=1)
    variance = np.diag(results.covariance) - 2 * with_reference + np.diag(design @ found.covariance @ design.T)
    return Equivalence(deviations, np.sqrt(np.maximum(variance, 0.0)))


def without_each(results: Results) -> Equivalence:
    """Return how far each result is from the reference value that all other results of its thing give.

    A result that is far off cannot pull this reference towards itself.

    Parameters
    ----------
    results : Results
        The results; each thing has two or more.

    Returns
    -------
    Equivalence
        Deviations with their uncertainties; not a number where a thing has no other result.
    """
    number = len(results.values)
    deviations, u = np.full(number, np.nan), np.full(number, np.nan)
    for i in range(number):
        others = np.flatnonzero(np.arange(number) != i)
        thing = results.things[i]
        if thing not in results.things[others]:
            continue
        names, things = np.unique(results.things[others], return_inverse=True)
        rest = Results(results.values[others], results.covariance[np.ix_(others, others)], things)
        found, at = consensus(rest), int(np.flatnonzero(names == thing)[0])
        shared = float(found.weights[at] @ results.covariance[others, i])
        deviations[i] = results.values[i] - found.values[at]
        u[i] = np.sqrt(results.covariance[i, i] - 2 * shared + found.covariance[at, at])
    return Equivalence(deviations, u)
