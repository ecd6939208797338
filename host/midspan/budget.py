"""Named contributions to a standard uncertainty and their combination.

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

from midspan.coverage_factor import Coverage, effective_dof


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
