"""Uncertainty budgets: contributions, their combination, effective degrees of freedom and the coverage factor k.

Follows JCGM 100:2008 (GUM) 5.1 and annex G. The combined standard uncertainty of independent causes is the root of the
sum of squares of sensitivity times standard uncertainty; the expanded uncertainty is k times that. A cause that was
estimated from few readings gives the result longer tails than a normal distribution has, so k comes from Student's
distribution with the effective degrees of freedom. A cause without degrees of freedom counts as perfectly known
(G.4.3): they are infinite.

>>> Coverage().k(math.inf), Coverage().k(16.7), Coverage(factor=2.0).k(16.7)
(1.96, 2.12, 2.0)
>>> budget = Budget((Contribution("span", 0.06, 2.1, "mm"), Contribution("force scale", 0.00025, 500.0, "1", 9)))
>>> round(budget.u, 3), round(budget.dof, 1), round(budget.expanded(2.0), 3)
(0.177, 36.6, 0.355)
>>> budget.k(), round(budget.expanded(), 3)
(2.028, 0.36)
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

Array = NDArray[np.float64]
PROBABILITY = 0.95
PLACES = 3  # of k: a tenth of a percent of U, finer than any budget is known


def effective_dof(u: ArrayLike, dof: ArrayLike) -> Array:
    """Return the effective degrees of freedom of a combined uncertainty: u_c^4 / sum(u_i^4 / dof_i).

    Parameters
    ----------
    u : ArrayLike
        Share of each cause in the result's standard uncertainty, unit of the result, shape (..., causes).
    dof : ArrayLike
        Degrees of freedom of each cause, shape (causes,) or (..., causes).

    Returns
    -------
    Array
        Effective degrees of freedom, shape (...); infinite if no cause limits them.

    References
    ----------
    Formula of Welch and Satterthwaite, JCGM 100:2008, equation G.2b.

    Examples
    --------
    >>> float(effective_dof([3.0, 4.0], [9.0, math.inf])) == 5.0**4 / (3.0**4 / 9)
    True
    """
    share = np.abs(np.asarray(u, float))
    largest = np.maximum(share.max(axis=-1, keepdims=True), np.finfo(float).tiny)
    square = (share / largest) ** 2
    limit = (square**2 / np.asarray(dof, float)).sum(axis=-1)
    total = square.sum(axis=-1) ** 2
    result: Array = np.divide(total, limit, out=np.full(np.shape(total), np.inf), where=limit > 0)
    return result


def coverage_factor(dof: float, probability: float = PROBABILITY) -> float:
    """Return the k for which y +- k u covers the measurand with a given probability.

    It is a quantile of Student's distribution with the degrees of freedom cut to the integer below, of the normal
    distribution if they are infinite.

    Parameters
    ----------
    dof : float
        Effective degrees of freedom, 1 or more, possibly infinite.
    probability : float
        Coverage probability, between 0 and 1.

    Returns
    -------
    float
        The coverage factor, not rounded.

    References
    ----------
    JCGM 100:2008, G.3.4 and G.4.1.

    Examples
    --------
    >>> round(coverage_factor(42.9), 3), round(coverage_factor(math.inf, 0.99), 3)
    (2.018, 2.576)
    """
    point = (1 + probability) / 2
    if math.isinf(dof):
        return float(ndtri(point))
    return float(stdtrit(math.floor(dof * (1 + 1e-12)), point))


def plain_dof(dof: float) -> float | None:
    """Return degrees of freedom in a form that JSON can hold.

    Parameters
    ----------
    dof : float
        Degrees of freedom, possibly infinite.

    Returns
    -------
    float or None
        The same number, None if it is infinite.

    Examples
    --------
    >>> plain_dof(9.0), plain_dof(math.inf)
    (9.0, None)
    """
    return dof if math.isfinite(dof) else None


@dataclass(frozen=True, slots=True)
class Coverage:
    """Choice of the coverage factor: from a probability and the degrees of freedom, or fixed.

    Parameters
    ----------
    probability : float
        Coverage probability, between 0 and 1.
    factor : float or None
        The fixed factor, above 0; None to compute it from the probability.
    """

    probability: float = PROBABILITY
    factor: float | None = None

    def k(self, dof: float | None) -> float:
        """Return the coverage factor.

        Parameters
        ----------
        dof : float or None
            Effective degrees of freedom; None counts as infinite.

        Returns
        -------
        float
            The fixed factor if there is one, else k rounded to three decimal places.
        """
        if self.factor is not None:
            return self.factor
        return round(coverage_factor(math.inf if dof is None else dof, self.probability), PLACES)

    @property
    def words(self) -> str:
        """Statement of how U is formed, for the legend of a table.

        >>> Coverage().words, Coverage(factor=2.0).words
        ('U covers 95 %', 'U with k = 2')
        """
        return f"U covers {100 * self.probability:g} %" if self.factor is None else f"U with k = {self.factor:g}"


@dataclass(frozen=True)
class Contribution:
    """One cause of uncertainty and its effect on a result.

    Parameters
    ----------
    name : str
        Name of the cause.
    u_input : float
        Standard uncertainty of the cause, in its own unit.
    sensitivity : float
        Change of the result for a change of the cause by one unit; either sign.
    unit : str
        Unit of the cause, "1" for a relative uncertainty.
    dof : float
        Degrees of freedom of `u_input`; infinite if it is perfectly known.
    """

    name: str
    u_input: float
    sensitivity: float
    unit: str
    dof: float = math.inf

    @property
    def u(self) -> float:
        """Share in the result's standard uncertainty, in the result's unit."""
        return abs(self.sensitivity) * self.u_input


@dataclass(frozen=True)
class Budget:
    """All contributions to the uncertainty of one result.

    Parameters
    ----------
    contributions : tuple[Contribution, ...]
        Independent causes; their shares are in the unit of the result.
    """

    contributions: tuple[Contribution, ...]

    @property
    def u(self) -> float:
        """Combined standard uncertainty (JCGM 100:2008, equation 10), in the result's unit."""
        return math.sqrt(math.fsum(part.u**2 for part in self.contributions))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (JCGM 100:2008, equation G.2b), infinite if no cause limits them."""
        parts = self.contributions
        return float(effective_dof([part.u for part in parts], [part.dof for part in parts]))

    def k(self, coverage: Coverage | None = None) -> float:
        """Return the coverage factor for the effective degrees of freedom.

        Parameters
        ----------
        coverage : Coverage or None
            How k is chosen; None for 95 %.

        Returns
        -------
        float
            The factor, above 0.
        """
        return (coverage or Coverage()).k(self.dof)

    def expanded(self, k: float | None = None) -> float:
        """Return the expanded uncertainty U = k u.

        Parameters
        ----------
        k : float or None
            Coverage factor; None for that of 95 %.

        Returns
        -------
        float
            Expanded uncertainty, in the result's unit.
        """
        return (self.k() if k is None else k) * self.u

    def of(self, name: str) -> float:
        """Return the share of one named cause in the result's standard uncertainty.

        Parameters
        ----------
        name : str
            Name of the cause; several contributions may have it.

        Returns
        -------
        float
            Their combined standard uncertainty in the result's unit, 0 if the budget has no such cause.
        """
        return math.sqrt(math.fsum(part.u**2 for part in self.contributions if part.name == name))

    def portion(self, part: Contribution) -> float:
        """Return the portion of the combined variance u^2 that one contribution makes.

        Parameters
        ----------
        part : Contribution
            A contribution to this budget.

        Returns
        -------
        float
            From 0 to 1; the portions of a budget add up to 1. 0 if the combined uncertainty is 0.
        """
        return part.u**2 / self.u**2 if self.u > 0 else 0.0
