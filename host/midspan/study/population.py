"""A stock of shafts: the interval that holds nearly all of it, and how well it fits given limits.

A sample gives mean and scatter of a stock only roughly, so the interval that holds, say, 95 % of the whole stock is
wider than the sample's own; the tolerance factor says by how much at a given confidence (NIST/SEMATECH e-Handbook,
7.2.6.3). Capability compares the limits with six standard deviations (6.1.6), and a sample shows it just as roughly:
eight shafts of a stock with Cpk 1.0 show 1.33 or more in one sample of seven. So a stock is judged by the bound of
its Cpk, not by the figure. Both assume a normal distribution, which is tested, because two mixed bundles are not
normal.

>>> stock = stock_study([499.1, 500.3, 501.2, 498.7, 500.9, 499.8, 500.1, 500.6], low=496.0, high=504.0)
>>> round(stock.cp, 2), round(stock.cpk, 2), [round(end, 1) for end in stock.interval]
(1.55, 1.51, [496.9, 503.3])
>>> [round(bound, 2) for bound in stock.cpk_bounds], stock.suits
([0.81, 2.32], None)
"""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.optimize import brentq
from scipy.special import chdtri, ndtr, ndtri

from midspan.base.errors import ConfigurationError, ReadingsError

FEWEST = 5
CAPABLE = 1.33  # least Cpk of a stock that suits its limits (common practice, no source)
MOST_SHAFTS = 10_000  # a sample that is never reached
NODE, WEIGHT = np.polynomial.legendre.leggauss(300)  # of the integral over the spread of a sample
LARGEST_INDEX = 10.0  # to which 300 nodes resolve it
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


def capability_bound(found: float, number: int, confidence: float) -> float:
    """Return the bound below which the true index of one limit lies with a confidence.

    Exact: the index of one limit, times three roots of the number, has a noncentral t-distribution. Used for the nearer
    of two limits, a lower bound is on the safe side.

    Parameters
    ----------
    found : float
        Index of the sample: room to the limit over three standard deviations.
    number : int
        Values in the sample.
    confidence : float
        Confidence, 0 to 1: near 1 for an upper bound, near 0 for a lower one.

    Returns
    -------
    float
        The bound, dimensionless.

    References
    ----------
    NIST/SEMATECH e-Handbook, 7.2.6.3, whose factor k1 for a share p is the inverse: it finds k1 / 3 from bound z_p / 3.

    Examples
    --------
    >>> round(capability_bound(1.33, 20, 0.05), 6)
    0.948685
    """
    # Beyond the largest index only the spread of the sample matters, in proportion.
    larger = max(1.0, abs(found) / LARGEST_INDEX)
    dof, t = number - 1, 3 * math.sqrt(number) * found / larger
    # Spread of the sample over that of the stock at the nodes, with its probability. scipy's noncentral t gives no
    # number for the large indices of a narrow stock.
    low, high = np.sqrt(chdtri(dof, [1 - 1e-15, 1e-15]) / dof)
    spread = (low + high) / 2 + (high - low) / 2 * NODE
    share = WEIGHT * (high - low) * dof * spread * stats.chi2.pdf(dof * spread**2, dof)
    reach = high * abs(t) + 10

    def missed(shift: float) -> float:
        return float(share @ ndtr(t * spread - shift)) - (1 - confidence)

    return larger * float(brentq(missed, -reach, reach, xtol=1e-12)) / (3 * math.sqrt(number))


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
    def cpk_bounds(self) -> tuple[float, float] | None:
        """Lower and upper bound of the true Cpk, each one-sided at the confidence; None without any limit."""
        if self.cpk is None:
            return None
        number, beyond = len(self.values), 1 - self.confidence
        # The nearer of two limits is the lesser of two indices, which chance lowers: that makes the lower bound safe,
        # and the upper bound needs half the share for each limit.
        above = beyond if self.cp is None else beyond / 2
        return capability_bound(self.cpk, number, beyond), capability_bound(self.cpk, number, 1 - above)

    @property
    def suits(self) -> bool | None:
        """True if the stock suits its limits with the confidence, False if not; None if the sample leaves it open."""
        if self.cpk_bounds is None or self.cpk_bounds[0] >= CAPABLE:
            return None if self.cpk_bounds is None else True
        return False if self.cpk_bounds[1] < CAPABLE else None

    @property
    def shafts_wanted(self) -> int | None:
        """Size of a sample that would settle it if its Cpk stayed; None if settled, or too near for any sample."""
        if self.cpk is None or self.suits is not None or self.cpk == CAPABLE:
            return None
        cpk, above = self.cpk, self.cpk > CAPABLE
        part = 1.0 if self.cp is None or above else 0.5
        share = 1 - self.confidence if above else 1 - part * (1 - self.confidence)
        sizes = range(len(self.values), MOST_SHAFTS)
        settled = bisect_left(sizes, True, key=lambda size: (capability_bound(cpk, size, share) >= CAPABLE) == above)
        return sizes[settled] if settled < len(sizes) else None

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
