"""A stock of shafts: the interval that holds nearly all of it, and how well it fits given limits.

A sample gives mean and scatter of a stock only roughly, so the interval that holds, say, 95 % of the whole stock is
wider than the sample's own; the tolerance factor says by how much at a given confidence (NIST/SEMATECH e-Handbook,
7.2.6.3). Capability compares the limits with six standard deviations (6.1.6). Both assume a normal distribution, which
is tested, because two mixed bundles are not normal.

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
MIXED_BELOW = 0.01  # p of the test for normality below which a stock counts as mixed


def two_sided_factor(number: int, share: float, confidence: float) -> float:
    """Return how many standard deviations around the mean hold a share of a population.

    Howe's approximation, within two percent of the exact factor from five readings on.

    Parameters
    ----------
    number : int
        Readings in the sample.
    share : float
        Share of the population to hold, 0 to 1.
    confidence : float
        Confidence, 0 to 1.

    Returns
    -------
    float
        Factor of the sample's standard deviation.

    References
    ----------
    W. G. Howe, J. Am. Stat. Assoc. 64 (1969) 610-620; NIST/SEMATECH e-Handbook, 7.2.6.3.

    Examples
    --------
    >>> round(two_sided_factor(43, 0.9, 0.99), 6)
    2.217316
    """
    dof = number - 1
    chi2 = float(chdtri(dof, confidence))  # exceeded with probability `confidence`
    return float(ndtri((1 + share) / 2)) * math.sqrt(dof * (1 + 1 / number) / chi2)


def one_sided_factor(number: int, share: float, confidence: float) -> float:
    """Return how many standard deviations from the mean the limit lies that a share of a population stays within.

    Exact, by the noncentral t-distribution.

    Parameters
    ----------
    number : int
        Readings in the sample.
    share : float
        Share of the population to hold, 0 to 1.
    confidence : float
        Confidence, 0 to 1.

    Returns
    -------
    float
        Factor of the sample's standard deviation.

    References
    ----------
    NIST/SEMATECH e-Handbook, 7.2.6.3.

    Examples
    --------
    >>> round(one_sided_factor(43, 0.9, 0.99), 6)
    1.873954
    """
    root = math.sqrt(number)
    return float(stats.nct.ppf(confidence, number - 1, float(ndtri(share)) * root)) / root


def capability(mean: float, sd: float, low: float | None, high: float | None) -> tuple[float | None, float | None]:
    """Return Cp and Cpk of a process against its limits.

    Parameters
    ----------
    mean : float
        Mean of the process.
    sd : float
        Its standard deviation.
    low : float | None
        Lower limit, None for no limit.
    high : float | None
        Upper limit, None for no limit.

    Returns
    -------
    tuple[float | None, float | None]
        Cp, None without both limits; Cpk, None without any limit.

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.1.6.

    Examples
    --------
    >>> capability(16.0, 2.0, 8.0, 20.0)
    (1.0, 0.6666666666666666)
    """
    room = [(high - mean) if high is not None else None, (mean - low) if low is not None else None]
    sides = [side / (3 * sd) for side in room if side is not None]
    both = None if low is None or high is None else (high - low) / (6 * sd)
    return both, min(sides, default=None)


@dataclass(frozen=True)
class StockStudy:
    """A sample of a stock, and what it says about the whole stock.

    Parameters
    ----------
    values : tuple[float, ...]
        The sample.
    mean : float
        Mean of the sample.
    sd : float
        Standard deviation of the sample.
    low : float | None
        Lower limit, None for no limit.
    high : float | None
        Upper limit, None for no limit.
    share : float
        Share of the stock that the interval is to hold.
    confidence : float
        Confidence of the interval.
    normal_p : float
        Probability that a normal stock gives so odd a sample by chance.
    """

    values: tuple[float, ...]
    mean: float
    sd: float
    low: float | None
    high: float | None
    share: float
    confidence: float
    normal_p: float

    @property
    def interval(self) -> tuple[float, float]:
        """Ends of the interval that holds the share at the confidence; with one limit the other end is infinite."""
        number = len(self.values)
        if (self.low is None) != (self.high is None):
            reach = one_sided_factor(number, self.share, self.confidence) * self.sd
            return (-math.inf, self.mean + reach) if self.low is None else (self.mean - reach, math.inf)
        reach = two_sided_factor(number, self.share, self.confidence) * self.sd
        return self.mean - reach, self.mean + reach

    @property
    def cp(self) -> float | None:
        """Room between both limits over six standard deviations, None without both limits."""
        return capability(self.mean, self.sd, self.low, self.high)[0]

    @property
    def cpk(self) -> float | None:
        """Room to the nearer limit over three standard deviations, None without any limit."""
        return capability(self.mean, self.sd, self.low, self.high)[1]

    @property
    def outside(self) -> float:
        """Share beyond the limits of a normal stock with this mean and scatter."""
        below = 0.0 if self.low is None else float(ndtr((self.low - self.mean) / self.sd))
        above = 0.0 if self.high is None else float(ndtr((self.mean - self.high) / self.sd))
        return below + above

    @property
    def mixed(self) -> bool:
        """True if the sample is hardly from one normal stock."""
        return self.normal_p < MIXED_BELOW


def stock_study(
    values: Sequence[float],
    low: float | None = None,
    high: float | None = None,
    share: float = 0.95,
    confidence: float = 0.95,
) -> StockStudy:
    """Study a sample of a stock, against limits or without any.

    Parameters
    ----------
    values : Sequence[float]
        The sample.
    low : float | None
        Lower limit, None for no limit.
    high : float | None
        Upper limit, None for no limit.
    share : float
        Share of the stock that the interval is to hold, 0 to 1.
    confidence : float
        Confidence of the interval, 0 to 1.

    Returns
    -------
    StockStudy
        The study, in the unit of the values.

    Raises
    ------
    ReadingsError
        Fewer than five values (code `too_few`), or values without scatter (code `no_scatter`).
    ConfigurationError
        The limits are in the wrong order.

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.1.6 and 7.2.6.3. S. S. Shapiro and M. B. Wilk, Biometrika 52 (1965) 591-611.

    Examples
    --------
    >>> round(stock_study([499.1, 500.3, 501.2, 498.7, 500.9], low=496.0).cpk, 2)
    1.23
    """
    if low is not None and high is not None and low >= high:
        raise ConfigurationError(f"the limits run from {low:g} to {high:g}; give the lower limit first")
    data = np.asarray(values, float)
    if len(data) < FEWEST:
        raise ReadingsError(
            f"{len(data)} shaft(s) are too few for a stock: measure at least {FEWEST}, better thirty", code="too_few"
        )
    if np.ptp(data) == 0:
        raise ReadingsError(
            f"all {len(data)} values are {data[0]:g}: check that they are not copies of one reading", code="no_scatter"
        )
    # S. S. Shapiro and M. B. Wilk, Biometrika 52 (1965) 591-611.
    chance = float(stats.shapiro(data).pvalue)
    return StockStudy(
        tuple(data.tolist()), float(data.mean()), float(data.std(ddof=1)), low, high, share, confidence, chance
    )
