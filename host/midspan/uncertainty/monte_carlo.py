"""Propagation of distributions by Monte Carlo, as JCGM 101:2008 (GUM Supplement 1) asks for beside the budget.

Every input is drawn from its distribution, every draw goes through the whole model, and the values that come out are
the distribution of the result. That assumes neither a linear model nor a normal distribution.

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
    """Random deviations of inputs from their estimates.

    Parameters
    ----------
    rng : np.random.Generator
        Source of randomness.
    number : int
        Number of trials.
    """

    rng: np.random.Generator
    number: int

    def normal(self, u: float, dof: float = math.inf) -> Array:
        """Return deviations of an input that is known by its estimate and standard uncertainty.

        Parameters
        ----------
        u : float
            Standard uncertainty, in the unit of the input.
        dof : float
            Degrees of freedom of `u`.

        Returns
        -------
        Array
            Normal deviates of standard deviation `u`, or scaled t deviates if the degrees of freedom are finite, shape
            (trials,).

        References
        ----------
        JCGM 101:2008, 6.4.7 and 6.4.9.
        """
        if math.isinf(dof):
            return u * self.rng.standard_normal(self.number)
        return u * self.rng.standard_t(dof, self.number)

    def rectangular(self, half_width: float) -> Array:
        """Return deviations of an input of which only bounds are known.

        Parameters
        ----------
        half_width : float
            Distance of either bound from the middle, in the unit of the input.

        Returns
        -------
        Array
            Uniform deviates between minus and plus the half width, shape (trials,).

        References
        ----------
        JCGM 101:2008, 6.4.2.
        """
        return half_width * self.rng.uniform(-1.0, 1.0, self.number)


@dataclass(frozen=True)
class Summary:
    """The distribution of a result over all trials (JCGM 101:2008, 7.6 and 7.7).

    Parameters
    ----------
    trials : int
        Number of trials.
    probability : float
        Coverage probability of both intervals.
    mean : float
        Mean of the values, in the unit of the result.
    u : float
        Standard deviation of the values, in the unit of the result.
    symmetric : tuple[float, float]
        Interval with as many values below it as above.
    shortest : tuple[float, float]
        Shortest interval of the same probability.
    """

    trials: int
    probability: float
    mean: float
    u: float
    symmetric: Interval
    shortest: Interval


def summary(values: Array, probability: float = PROBABILITY) -> Summary:
    """Return mean, standard uncertainty and coverage intervals of the values of all trials.

    Parameters
    ----------
    values : Array
        Value of the result in each trial, any unit, shape (trials,).
    probability : float
        Coverage probability of the intervals, between 0 and 1.

    Returns
    -------
    Summary
        The distribution in numbers.

    References
    ----------
    JCGM 101:2008, 7.6 and 7.7.

    Examples
    --------
    >>> summary(np.arange(1.0, 101.0)).symmetric
    (3.0, 98.0)
    """
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
    """Return half a unit of the last digit of a standard uncertainty that is written with few significant digits.

    Parameters
    ----------
    u : float
        Standard uncertainty, above 0, in any unit.
    digits : int
        Number of significant digits, 1 or more.

    Returns
    -------
    float
        The tolerance, in the same unit.

    References
    ----------
    JCGM 101:2008, 7.9.2.

    Examples
    --------
    >>> numerical_tolerance(0.22, 1), numerical_tolerance(0.0754, 2), numerical_tolerance(2.0)
    (0.05, 0.0005, 0.5)
    """
    return 0.5 * 10.0 ** (math.floor(math.log10(float(f"{u:.{digits - 1}e}"))) - digits + 1)


@dataclass(frozen=True)
class Agreement:
    """Comparison of the interval y +- U of a budget with that of the trials (JCGM 101:2008, 8.1).

    Parameters
    ----------
    low_apart : float
        Distance between the lower ends, in the unit of the result, 0 or more.
    high_apart : float
        Distance between the upper ends, likewise.
    tolerance : float
        Largest distance at which the budget counts as validated.
    """

    low_apart: float
    high_apart: float
    tolerance: float

    @property
    def holds(self) -> bool:
        """True if the budget is validated: both ends agree within the numerical tolerance."""
        return max(self.low_apart, self.high_apart) <= self.tolerance


def agreement(value: float, expanded: float, found: Summary, digits: int = 1) -> Agreement:
    """Compare the interval of a budget with that of the trials.

    Parameters
    ----------
    value : float
        Result of the budget.
    expanded : float
        Its expanded uncertainty, in the same unit.
    found : Summary
        The trials, of the same coverage probability.
    digits : int
        Significant digits of the standard uncertainty that are meaningful; they set the tolerance.

    Returns
    -------
    Agreement
        Distances of the ends and the tolerance, in the unit of the result.

    References
    ----------
    JCGM 101:2008, 8.1.

    Examples
    --------
    >>> found = Summary(1000, 0.95, 0.0, 2.0, (-3.92, 3.92), (-3.88, 3.88))
    >>> agreement(0.0, 3.95, found).holds, agreement(0.0, 4.95, found).holds
    (True, False)
    """
    low, high = found.symmetric
    return Agreement(abs(value - expanded - low), abs(value + expanded - high), numerical_tolerance(found.u, digits))
