"""Two samples of values: do their means, their scatter or their distributions differ by more than chance explains?

Chance is the scatter of the values. What both samples do not share of a calibration comes on top: it shifts all values
of a sample alike, so no number of values averages it out.

>>> found = welch([500.1, 500.9, 499.6, 500.4], [501.9, 502.3, 501.2, 502.6], u_shared=0.1)
>>> round(found.difference, 2), round(found.u, 2), round(found.dof, 1), found.is_beyond(found.expanded())
(1.75, 0.42, 6.7, True)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats
from scipy.special import stdtr

from midspan.base.errors import ReadingsError
from midspan.uncertainty.budget import Coverage, effective_dof

Array = NDArray[np.float64]
FEWEST = 2  # values for a scatter
CHANCE = 0.05  # probability below which chance alone is no explanation; goes with ranges of 95 %


@dataclass(frozen=True, slots=True)
class SampleSummary:
    """What a sample of values looks like, all in the unit of the values.

    Parameters
    ----------
    number : int
        Values.
    mean : float
        Their mean.
    sd : float
        Their standard deviation.
    low : float
        The lowest.
    high : float
        The highest.
    """

    number: int
    mean: float
    sd: float
    low: float
    high: float

    @classmethod
    def of(cls, values: ArrayLike) -> "SampleSummary":
        """Return the summary of a sample.

        Parameters
        ----------
        values : ArrayLike
            At least two values, shape (values,).

        Returns
        -------
        SampleSummary
            The summary.

        Raises
        ------
        ReadingsError
            Fewer than two values (code "too_few").

        Examples
        --------
        >>> SampleSummary.of([1.0, 2.0, 3.0])
        SampleSummary(number=3, mean=2.0, sd=1.0, low=1.0, high=3.0)
        """
        data = np.asarray(values, float)
        if len(data) < FEWEST:
            raise ReadingsError(f"{len(data)} value(s) have no scatter; {FEWEST} are needed", code="too_few")
        return cls(len(data), float(data.mean()), float(data.std(ddof=1)), float(data.min()), float(data.max()))

    @property
    def u_mean(self) -> float:
        """Standard uncertainty of the mean by scatter ala."""
        return self.sd / math.sqrt(self.number)


@dataclass(frozen=True, slots=True)
class MeanDifference:
    """Difference of two means, second less first.

    Parameters
    ----------
    difference : float
        Second mean less first.
    u_scatter : float
        Standard uncertainty by the scatter of the values.
    u_shared : float
        Standard uncertainty by errors that are common to a sample and not to both, such as those of a calibration.
    dof : float
        Effective degrees of freedom of `u`, possibly infinite.
    """

    difference: float
    u_scatter: float
    u_shared: float
    dof: float

    @property
    def u(self) -> float:
        """Standard uncertainty of the difference."""
        return math.hypot(self.u_scatter, self.u_shared)

    def expanded(self, k: float | None = None) -> float:
        """Return the half width of the range of the difference.

        Parameters
        ----------
        k : float or None
            Coverage factor, None for 95 % by the degrees of freedom.

        Returns
        -------
        float
            Half width, in the unit of the values.
        """
        return Coverage(factor=k).k(self.dof) * self.u

    def is_beyond(self, expanded: float) -> bool:
        """Return True if the difference is larger than its range, so that chance does not explain it.

        Parameters
        ----------
        expanded : float
            Half width of the range, from `expanded`.

        Returns
        -------
        bool
            True if zero lies outside of the range.
        """
        return abs(self.difference) > expanded

    @property
    def p(self) -> float:
        """Probability of so large a difference by chance, if there is na."""
        if self.u == 0:
            return 0.0 if self.difference else 1.0
        return float(2 * stdtr(self.dof if math.isfinite(self.dof) else 1e9, -abs(self.difference) / self.u))


def welch(first: ArrayLike, second: ArrayLike, u_shared: float = 0.0) -> MeanDifference:
    """Return the difference of the means of two samples whose scatters may differ.

    Parameters
    ----------
    first : ArrayLike
        Values, shape (values,).
    second : ArrayLike
        Values, shape (values,).
    u_shared : float
        Standard uncertainty of the difference by errors common to a sample; known well, so with infinite degrees of
        freedom.

    Returns
    -------
    MeanDifference
        Second mean less first.

    Raises
    ------
    ReadingsError
        A sample has fewer than two values (code "too_few").

    References
    ----------
    B. L. Welch, Biometrika 34 (1947) 28-35; NIST/SEMATECH e-Handbook, 7.3.1.
    """
    a, b = SampleSummary.of(first), SampleSummary.of(second)
    parts, dofs = (a.u_mean, b.u_mean, u_shared), (a.number - 1, b.number - 1, math.inf)
    dof = float(effective_dof(parts, dofs))
    return MeanDifference(b.mean - a.mean, math.hypot(a.u_mean, b.u_mean), u_shared, dof)


def paired(first: ArrayLike, second: ArrayLike, u_shared: float = 0.0) -> MeanDifference:
    """Return the mean change of things that were measured twice; what differs between things cancels.

    Parameters
    ----------
    first : ArrayLike
        Values at first, shape (things,).
    second : ArrayLike
        Values of the same things later, same shape and order.
    u_shared : float
        Standard uncertainty of the difference by errors common to a sample.

    Returns
    -------
    MeanDifference
        Mean of second less first.

    Raises
    ------
    ReadingsError
        Fewer than two pairs (code "too_few").

    References
    ----------
    NIST/SEMATECH e-Handbook, 7.3.1.1.
    """
    change = SampleSummary.of(np.asarray(second, float) - np.asarray(first, float))
    dof = float(effective_dof((change.u_mean, u_shared), (change.number - 1, math.inf)))
    return MeanDifference(change.mean, change.u_mean, u_shared, dof)


@dataclass(frozen=True, slots=True)
class VarianceRatio:
    """Variance of the second sample over that of the first, with its range of 95 %.

    Parameters
    ----------
    ratio : float
        The ratio.
    low : float
        Lower end of the range.
    high : float
        Upper end of the range.
    p : float
        Probability of such a ratio by chance if both scatter alike, for bell-shaped distributions.
    p_any_shape : float
        Probability of such a difference of scatter by chance, without assuming a shape.
    """

    ratio: float
    low: float
    high: float
    p: float
    p_any_shape: float

    @property
    def is_told(self) -> bool:
        """True if the samples scatter differently by both tests; the first alone is misled by long tails."""
        return self.p < CHANCE and self.p_any_shape < CHANCE


def variance_ratio(first: ArrayLike, second: ArrayLike) -> VarianceRatio | None:
    """Return how the scatter of two samples compares.

    Parameters
    ----------
    first : ArrayLike
        Values, shape (values,).
    second : ArrayLike
        Values, shape (values,).

    Returns
    -------
    VarianceRatio or None
        The ratio; None if a sample does not scatter at all.

    Raises
    ------
    ReadingsError
        A sample has fewer than two values (code "too_few").

    References
    ----------
    F-test: NIST/SEMATECH e-Handbook, 1.3.5.9. Distances from the medians: M. B. Brown and A. B. Forsythe, J. Am. Stat.
    Assoc. 69 (1974) 364-367; the e-Handbook, 1.3.5.10.
    """
    a, b = SampleSummary.of(first), SampleSummary.of(second)
    if a.sd == 0 or b.sd == 0:
        return None
    ratio = (b.sd / a.sd) ** 2
    by_chance = stats.f(b.number - 1, a.number - 1)
    low, high = ratio / by_chance.ppf([1 - CHANCE / 2, CHANCE / 2])
    p = 2 * min(by_chance.cdf(ratio), by_chance.sf(ratio))
    with np.errstate(divide="ignore", invalid="ignore"):
        any_shape = stats.levene(np.asarray(first, float), np.asarray(second, float), center="median").pvalue
    # Two values lie at equal distances from their median: of pairs the test can say nothing.
    return VarianceRatio(ratio, float(low), float(high), float(p), float(any_shape) if any_shape >= 0 else 1.0)


@dataclass(frozen=True, slots=True)
class DistributionGap:
    """Largest difference of the shares of two samples that lie below the same value.

    Parameters
    ----------
    gap : float
        The difference of the shares, 0 to 1.
    p : float
        Probability of such a gap by chance if both have one distribution.
    """

    gap: float
    p: float

    @property
    def is_told(self) -> bool:
        """True if chance does not explain the gap."""
        return self.p < CHANCE


def distribution_gap(first: ArrayLike, second: ArrayLike, allowed_shift: float = 0.0) -> DistributionGap:
    """Return how far the distributions of two samples lie apart.

    Parameters
    ----------
    first : ArrayLike
        Values, shape (values,).
    second : ArrayLike
        Values, shape (values,).
    allowed_shift : float
        Shift of the second sample that errors common to it explain; as much of the difference of the means is taken off
        first, so that two calibrations are not taken for two kinds of shafts.

    Returns
    -------
    DistributionGap
        The gap.

    References
    ----------
    Two-sample test of Kolmogorov and Smirnov: N. V. Smirnov, Ann. Math. Stat. 19 (1948) 279-281.

    Examples
    --------
    >>> distribution_gap([1.0, 2.0, 3.0], [11.0, 12.0, 13.0]).gap
    1.0
    """
    a, b = np.asarray(first, float), np.asarray(second, float)
    shift = float(np.clip(b.mean() - a.mean(), -allowed_shift, allowed_shift))
    found = stats.ks_2samp(a, b - shift)
    return DistributionGap(float(found.statistic), float(found.pvalue))


def shares_below(values: Sequence[float] | Array, at: Array) -> Array:
    """Return which share of a sample lies at or below each of some values.

    Parameters
    ----------
    values : Sequence[float] or Array
        The sample, shape (values,).
    at : Array
        Values, shape (points,).

    Returns
    -------
    Array
        Shares, 0 to 1, shape (points,).

    Examples
    --------
    >>> shares_below([1.0, 2.0], np.array([0.5, 1.0, 3.0])).tolist()
    [0.0, 0.5, 1.0]
    """
    ordered = np.sort(np.asarray(values, float))
    return np.searchsorted(ordered, at, side="right") / len(ordered)
