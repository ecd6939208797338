"""Propagation of distributions by Monte Carlo: what JCGM 101:2008 (GUM Supplement 1) asks for beside the budget.

The inputs are drawn from their distributions, every draw goes through the whole model, and the values that come
out are the distribution of the result: no linear model and no normal distribution is assumed.

>>> draws = Draws(np.random.default_rng(101), 100_000)
>>> found = summary(sum(draws.rectangular(3**0.5) for _ in range(4)))
>>> round(found.u, 2), [round(end, 1) for end in found.symmetric]
(2.0, [-3.9, 3.9])
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from midspan.uncertainty.budget import PROBABILITY

Array = NDArray[np.float64]
Interval = tuple[float, float]


@dataclass(frozen=True)
class Draws:
    """Deviations of inputs from their estimates, so many at a time."""

    rng: np.random.Generator
    number: int

    def normal(self, u: float, dof: float = math.inf) -> Array:
        """Normal, or scaled and shifted t when u was estimated with few degrees of freedom (6.4.7, 6.4.9)."""
        if math.isinf(dof):
            return u * self.rng.standard_normal(self.number)
        return u * self.rng.standard_t(dof, self.number)

    def rectangular(self, half_width: float) -> Array:
        """Anything between minus and plus the half width (6.4.2)."""
        return half_width * self.rng.uniform(-1.0, 1.0, self.number)


@dataclass(frozen=True)
class Summary:
    """What the values of all trials say of the result (7.6 and 7.7)."""

    trials: int
    probability: float
    mean: float
    u: float
    symmetric: Interval  # as many values below it as above
    shortest: Interval


def summary(values: Array, probability: float = PROBABILITY) -> Summary:
    """Mean, standard uncertainty and both coverage intervals of the values of all trials."""
    ordered = np.sort(values)
    inside = int(probability * len(ordered) + 0.5)
    below = (len(ordered) - inside + 1) // 2
    widths = ordered[inside:] - ordered[: len(ordered) - inside]
    first = int(widths.argmin())
    return Summary(
        len(ordered),
        probability,
        float(ordered.mean()),
        float(ordered.std(ddof=1)),
        (float(ordered[below - 1]), float(ordered[min(below + inside, len(ordered)) - 1])),
        (float(ordered[first]), float(ordered[first + inside])),
    )


def numerical_tolerance(u: float, digits: int = 1) -> float:
    """Half a unit of the last digit of u when it is written with so many digits (7.9.2).

    >>> numerical_tolerance(0.22, 1), numerical_tolerance(0.0754, 2), numerical_tolerance(2.0)
    (0.05, 0.0005, 0.5)
    """
    return 0.5 * 10.0 ** (math.floor(math.log10(float(f"{u:.{digits - 1}e}"))) - digits + 1)


@dataclass(frozen=True)
class Agreement:
    """How far the ends of y +- U lie from those of the trials' interval, and how far they may (8.1)."""

    low_apart: float
    high_apart: float
    tolerance: float

    @property
    def holds(self) -> bool:
        """Whether the budget is validated: both ends agree within the numerical tolerance."""
        return max(self.low_apart, self.high_apart) <= self.tolerance


def agreement(value: float, expanded: float, found: Summary, digits: int = 1) -> Agreement:
    """The interval of a budget against that of the trials, by 8.1 of JCGM 101.

    >>> found = Summary(1000, 0.95, 0.0, 2.0, (-3.92, 3.92), (-3.88, 3.88))
    >>> agreement(0.0, 3.95, found).holds, agreement(0.0, 4.95, found).holds
    (True, False)
    """
    low, high = found.symmetric
    return Agreement(abs(value - expanded - low), abs(value + expanded - high), numerical_tolerance(found.u, digits))
