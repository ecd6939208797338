"""A stock of shafts: where nearly all of its like lie, and how well they suit given limits.

From a sample the mean and scatter of a stock are known only roughly, so the interval that holds, say, 95 % of all such
shafts is wider than the sample's own; how much wider, for a given confidence, a tolerance factor says (NIST/SEMATECH
e-Handbook, 7.2.6.3). Capability compares the limits with six standard deviations (6.1.6). Both take the stock to be
normally distributed, which is tested, for two bundles mixed are not.

>>> stock = stock_study([499.1, 500.3, 501.2, 498.7, 500.9, 499.8, 500.1, 500.6], low=496.0, high=504.0)
>>> round(stock.cp, 2), round(stock.cpk, 2), [round(end, 1) for end in stock.interval]
(1.55, 1.51, [496.9, 503.3])
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.special import chdtri, ndtr, ndtri

from midspan.base.errors import ConfigurationError, ReadingsError

FEWEST = 5
MIXED_BELOW = 0.01  # a normal stock looks so odd once in a hundred times


def two_sided_factor(number: int, share: float, confidence: float) -> float:
    """How many standard deviations around the mean hold this share of all, at this confidence.

    Approximation of W. G. Howe (J. Am. Stat. Assoc. 64 (1969) 610-620) as in NIST/SEMATECH e-Handbook, 7.2.6.3;
    within two percent of the exact factor from five readings on.

    >>> round(two_sided_factor(43, 0.9, 0.99), 6)
    2.217316
    """
    dof = number - 1
    chi2 = float(chdtri(dof, confidence))  # exceeded with probability `confidence`
    return float(ndtri((1 + share) / 2)) * math.sqrt(dof * (1 + 1 / number) / chi2)


def one_sided_factor(number: int, share: float, confidence: float) -> float:
    """How many standard deviations from the mean to the end that this share of all does not pass, at this confidence.

    Exact, by the noncentral t-distribution (NIST/SEMATECH e-Handbook, 7.2.6.3).

    >>> round(one_sided_factor(43, 0.9, 0.99), 6)
    1.873954
    """
    root = math.sqrt(number)
    return float(stats.nct.ppf(confidence, number - 1, float(ndtri(share)) * root)) / root


def capability(mean: float, sd: float, low: float | None, high: float | None) -> tuple[float | None, float | None]:
    """Cp and Cpk of a process against its limits; None where there is no limit to go by (e-Handbook, 6.1.6).

    >>> capability(16.0, 2.0, 8.0, 20.0)
    (1.0, 0.6666666666666666)
    """
    room = [(high - mean) if high is not None else None, (mean - low) if low is not None else None]
    sides = [one / (3 * sd) for one in room if one is not None]
    both = None if low is None or high is None else (high - low) / (6 * sd)
    return both, min(sides, default=None)


@dataclass(frozen=True)
class StockStudy:
    """What a sample says of the stock that it comes from; limits are None where there is none."""

    values: tuple[float, ...]
    mean: float
    sd: float
    low: float | None
    high: float | None
    share: float
    confidence: float
    normal_p: float  # how often chance makes a normal stock look so odd

    @property
    def interval(self) -> tuple[float, float]:
        """Ends between which the share lies, at the confidence; infinite on the side that has no limit."""
        number = len(self.values)
        if (self.low is None) != (self.high is None):
            reach = one_sided_factor(number, self.share, self.confidence) * self.sd
            return (-math.inf, self.mean + reach) if self.low is None else (self.mean - reach, math.inf)
        reach = two_sided_factor(number, self.share, self.confidence) * self.sd
        return self.mean - reach, self.mean + reach

    @property
    def cp(self) -> float | None:
        """Room between both limits over six standard deviations."""
        return capability(self.mean, self.sd, self.low, self.high)[0]

    @property
    def cpk(self) -> float | None:
        """Room to the nearer limit over three standard deviations."""
        return capability(self.mean, self.sd, self.low, self.high)[1]

    @property
    def outside(self) -> float:
        """Share of a normal stock of this mean and scatter that lies beyond its limits."""
        below = 0.0 if self.low is None else float(ndtr((self.low - self.mean) / self.sd))
        above = 0.0 if self.high is None else float(ndtr((self.mean - self.high) / self.sd))
        return below + above

    @property
    def mixed(self) -> bool:
        """Whether it is hardly one normal stock."""
        return self.normal_p < MIXED_BELOW


def stock_study(
    values: Sequence[float],
    low: float | None = None,
    high: float | None = None,
    share: float = 0.95,
    confidence: float = 0.95,
) -> StockStudy:
    """Study a sample against limits, or without any.

    Raises ReadingsError for fewer than five values or when all are the same, ConfigurationError for limits in the
    wrong order.
    """
    if low is not None and high is not None and low >= high:
        raise ConfigurationError(f"the limits run from {low:g} to {high:g} and hold nothing; exchange them")
    data = np.asarray(values, float)
    if len(data) < FEWEST:
        raise ReadingsError(f"{len(data)} shaft(s) are no sample of a stock: measure {FEWEST} at least, better thirty")
    if np.ptp(data) == 0:
        raise ReadingsError(f"all {len(data)} values are {data[0]:g}: are they copies of one?")
    # S. S. Shapiro and M. B. Wilk, Biometrika 52 (1965) 591-611.
    chance = float(stats.shapiro(data).pvalue)
    return StockStudy(
        tuple(data.tolist()), float(data.mean()), float(data.std(ddof=1)), low, high, share, confidence, chance
    )
