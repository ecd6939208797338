"""From a standard uncertainty to an expanded one: effective degrees of freedom and the coverage factor k.

A cause that was itself estimated from few readings makes the tails of the result longer than a normal
distribution's; the t-distribution with the effective degrees of freedom allows for that (JCGM 100:2008,
annex G). A cause without degrees of freedom counts as perfectly known (G.4.3): they are infinite.

>>> Coverage().k(math.inf), Coverage().k(16.7), Coverage(factor=2.0).k(16.7)
(1.96, 2.12, 2.0)

Named contributions to a standard uncertainty and their combination.

Follows JCGM 100:2008 (GUM) 5.1 and annex G: the combined standard uncertainty of independent causes is the
root of the sum of squares of sensitivity times standard uncertainty; the expanded one is k times that, with k
from the effective degrees of freedom.

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
PLACES = 3  # of a k: a tenth of a percent of U, far below what any budget knows


def effective_dof(u: ArrayLike, dof: ArrayLike) -> Array:
    """Effective degrees of freedom of combined shares u [..., causes]: u_c^4 / sum(u_i^4 / dof_i).

    Formula of Welch and Satterthwaite, JCGM 100:2008, equation G.2b. Infinite where nothing limits them.

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
    """k for which y +- k u covers the measurand with this probability.

    From the t-distribution with the degrees of freedom cut to the integer below (JCGM 100:2008, G.4.1), from the
    normal distribution when they are infinite.

    >>> round(coverage_factor(42.9), 3), round(coverage_factor(math.inf, 0.99), 3)
    (2.018, 2.576)
    """
    point = (1 + probability) / 2
    if math.isinf(dof):
        return float(ndtri(point))
    return float(stdtrit(math.floor(dof * (1 + 1e-12)), point))


def plain_dof(dof: float) -> float | None:
    """Degrees of freedom as JSON has a word for them: None for infinitely many."""
    return dof if math.isfinite(dof) else None


@dataclass(frozen=True, slots=True)
class Coverage:
    """How expanded uncertainties are stated: for a coverage probability, or with one fixed factor."""

    probability: float = PROBABILITY
    factor: float | None = None

    def k(self, dof: float | None) -> float:
        """Coverage factor for these degrees of freedom; None counts as infinite."""
        if self.factor is not None:
            return self.factor
        return round(coverage_factor(math.inf if dof is None else dof, self.probability), PLACES)

    @property
    def words(self) -> str:
        """How U is stated, for the legend of a table.

        >>> Coverage().words, Coverage(factor=2.0).words
        ('U covers 95 %', 'U with k = 2')
        """
        return f"U covers {100 * self.probability:g} %" if self.factor is None else f"U with k = {self.factor:g}"


@dataclass(frozen=True)
class Contribution:
    """One cause: its standard uncertainty in its own unit, and what a unit of it does to the result."""

    name: str
    u_input: float
    sensitivity: float
    unit: str
    dof: float = math.inf

    @property
    def u(self) -> float:
        """Share of the result's standard uncertainty, in the result's unit."""
        return abs(self.sensitivity) * self.u_input


@dataclass(frozen=True)
class Budget:
    """Contributions to one result, in its unit."""

    contributions: tuple[Contribution, ...]

    @property
    def u(self) -> float:
        """Combined standard uncertainty (JCGM 100:2008, equation 10)."""
        return math.sqrt(math.fsum(part.u**2 for part in self.contributions))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (equation G.2b), infinite when no cause limits them."""
        parts = self.contributions
        return float(effective_dof([part.u for part in parts], [part.dof for part in parts]))

    def k(self, coverage: Coverage | None = None) -> float:
        """Coverage factor, by default for 95 %."""
        return (coverage or Coverage()).k(self.dof)

    def expanded(self, k: float | None = None) -> float:
        """Expanded uncertainty U = k u, by default with k for 95 %."""
        return (self.k() if k is None else k) * self.u

    def of(self, name: str) -> float:
        """Share of one named cause; 0 when the budget does not have it."""
        return math.sqrt(math.fsum(part.u**2 for part in self.contributions if part.name == name))

    def portion(self, part: Contribution) -> float:
        """How much of u^2 one contribution makes, from 0 to 1: the portions of a budget add up to 1."""
        return part.u**2 / self.u**2 if self.u > 0 else 0.0
