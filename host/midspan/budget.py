"""Named contributions to a standard uncertainty and their combination.

Follows JCGM 100:2008 (GUM) 5.1: the combined standard uncertainty of independent causes is the root of the
sum of squares of sensitivity times standard uncertainty; the expanded one is k times that.

>>> budget = Budget((Contribution("span", 0.06, 2.1, "mm"), Contribution("force scale", 0.00025, 500.0, "1")))
>>> round(budget.u, 3), round(budget.expanded(2.0), 3)
(0.177, 0.355)
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Contribution:
    """One cause: its standard uncertainty in its own unit, and what a unit of it does to the result."""

    name: str
    u_input: float
    sensitivity: float
    unit: str

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
        """Combined standard uncertainty."""
        return math.sqrt(math.fsum(part.u**2 for part in self.contributions))

    def expanded(self, k: float) -> float:
        """Expanded uncertainty U = k u."""
        return k * self.u

    def of(self, name: str) -> float:
        """Share of one named cause; 0 when the budget does not have it."""
        return math.sqrt(math.fsum(part.u**2 for part in self.contributions if part.name == name))
