"""Control charts of a check standard: individuals with moving range, and the exponentially weighted mean.

Sources: W. A. Shewhart, Economic Control of Quality of Manufactured Product (1931), for limits at three sigma;
NIST/SEMATECH e-Handbook, 6.3.2.2 for individuals, 6.3.2.4 for the weighted mean (S. W. Roberts, Technometrics 1
(1959) 239-250; J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990) 1-12). Each run rule names its own source.

>>> chart = individuals_chart([50.0, 50.2, 49.9, 50.1, 50.0, 49.8, 50.1, 53.0], baseline=7)
>>> [(one.rule.name, one.at) for one in chart.signals][0]
('beyond the limits', 7)
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from midspan.base.errors import ReadingsError

Array = NDArray[np.float64]
# Mean and standard deviation of the range of two normal readings, 2 / sqrt(pi) and sqrt(2 - 4 / pi).
D2, D3 = 2 / math.sqrt(math.pi), math.sqrt(2 - 4 / math.pi)
LIMIT_SIGMAS = 3.0
WEIGHT = 0.2  # of the newest reading: e-Handbook, 6.3.2.4, calls 0.2 to 0.3 usual
RESOLVED = 1e-12  # of the centre: a smaller sigma is rounding
ENOUGH = 20  # readings after which limits are worth their name (common practice, no source)


@dataclass(frozen=True)
class ChartRule:
    """A run rule: what it looks for, who published it, and whether the last point of standardized ones shows it."""

    name: str
    source: str
    length: int
    shows: Callable[[Array], bool]


def _sided(need: int, beyond: float) -> Callable[[Array], bool]:
    """Whether so many of the points, the last one among them, lie beyond that many sigma on one side."""

    def shows(z: Array) -> bool:
        return any(bool(side[-1] > beyond and (side > beyond).sum() >= need) for side in (z, -z))

    return shows


def _trend(z: Array) -> bool:
    step = np.diff(z)
    return bool((step > 0).all() or (step < 0).all())


def _alternates(z: Array) -> bool:
    step = np.diff(z)
    return bool((step[1:] * step[:-1] < 0).all())


WESTERN_ELECTRIC = "Western Electric Co., Statistical Quality Control Handbook (1956); e-Handbook, 6.3.2"
NELSON = "L. S. Nelson, J. Quality Technology 16 (1984) 237-239"
RULES = (
    ChartRule(
        "beyond the limits", f"Shewhart (1931); {WESTERN_ELECTRIC}", 1, lambda z: bool(abs(z[-1]) > LIMIT_SIGMAS)
    ),
    ChartRule("2 of 3 beyond two sigma on one side", WESTERN_ELECTRIC, 3, _sided(2, 2.0)),
    ChartRule("4 of 5 beyond one sigma on one side", WESTERN_ELECTRIC, 5, _sided(4, 1.0)),
    ChartRule("8 in a row on one side", WESTERN_ELECTRIC, 8, _sided(8, 0.0)),
    ChartRule("6 in a row rising or falling", NELSON, 6, _trend),
    ChartRule("14 in a row alternating", NELSON, 14, _alternates),
    ChartRule("15 in a row within one sigma", NELSON, 15, lambda z: bool((abs(z) < 1).all())),
    ChartRule("8 in a row beyond one sigma on both sides", NELSON, 8, lambda z: bool((abs(z) > 1).all())),
)


@dataclass(frozen=True)
class ChartSignal:
    """A rule that a point, counted from 0, completes."""

    rule: ChartRule
    at: int


@dataclass(frozen=True)
class ControlChart:
    """Readings of a check standard with centre, sigma and the signals of the run rules.

    The first `baseline` points gave centre and sigma, unless these were given. `ranges` are moving ranges of two.
    """

    values: tuple[float, ...]
    centre: float
    sigma: float
    baseline: int
    given: bool  # centre and sigma were given, not taken from the readings
    ranges: tuple[float, ...]
    signals: tuple[ChartSignal, ...]

    @property
    def limits(self) -> tuple[float, float]:
        """Centre less and plus three sigma."""
        return self.centre - LIMIT_SIGMAS * self.sigma, self.centre + LIMIT_SIGMAS * self.sigma

    @property
    def range_limit(self) -> float:
        """Upper limit of the moving range; the lower one is nothing (D4 = 3.267, e-Handbook, 6.3.2.1)."""
        return (D2 + LIMIT_SIGMAS * D3) * self.sigma

    @property
    def wide_ranges(self) -> tuple[int, ...]:
        """Points that jumped from the one before by more than the range limit."""
        return tuple(i + 1 for i, one in enumerate(self.ranges) if one > self.range_limit)


@dataclass(frozen=True)
class WeightedMean:
    """Exponentially weighted mean of the same readings, with its limits at each point."""

    means: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    weight: float

    @property
    def signals(self) -> tuple[int, ...]:
        """Points at which the mean lies outside."""
        rows = zip(self.means, self.low, self.high, strict=True)
        return tuple(i for i, (mean, low, high) in enumerate(rows) if not low <= mean <= high)


def individuals_chart(
    values: Sequence[float], baseline: int | None = None, centre: float | None = None, sigma: float | None = None
) -> ControlChart:
    """Chart of single readings in the order of time; sigma is the mean moving range over 1.128 (d2).

    Centre and sigma come from the first `baseline` readings, by default all, unless given. Raises ReadingsError
    for too few readings or a sigma of nothing.
    """
    data = np.asarray(values, float)
    number = len(data) if baseline is None else baseline
    if (centre is None or sigma is None) and (number < 2 or number > len(data)):
        raise ReadingsError(
            f"{len(data)} readings, {number} of them for the centre line: two at the least, better {ENOUGH}"
        )
    ranges = np.abs(np.diff(data))
    middle = float(data[:number].mean()) if centre is None else centre
    spread = float(ranges[: number - 1].mean()) / D2 if sigma is None else sigma
    if not spread > RESOLVED * abs(middle):
        raise ReadingsError("the check standard read the same every time: the gauge resolves too little for a chart")
    signals = tuple(_signals((data - middle) / spread))
    given = centre is not None and sigma is not None
    return ControlChart(tuple(data.tolist()), middle, spread, number, given, tuple(ranges.tolist()), signals)


def _signals(z: Array) -> Iterator[ChartSignal]:
    for i in range(len(z)):
        for rule in RULES:
            if i + 1 >= rule.length and rule.shows(z[i + 1 - rule.length : i + 1]):
                yield ChartSignal(rule, i)


def weighted_mean(
    chart: ControlChart, weight: float = WEIGHT, sigmas: float = LIMIT_SIGMAS, *, settled: bool = False
) -> WeightedMean:
    """The chart's readings weighted, started at its centre; limits widen from the start unless `settled`.

    z_i = w x_i + (1 - w) z_(i-1); variance sigma^2 w / (2 - w) (1 - (1 - w)^(2 i)). Sees a lasting shift of a sigma
    much sooner than single readings do.
    Raises ReadingsError for a weight that is none.
    """
    if not 0 < weight <= 1:
        raise ReadingsError(f"weight {weight:g} of the newest reading is not between 0 and 1")
    means, mean = [], chart.centre
    for value in chart.values:
        mean = weight * value + (1 - weight) * mean
        means.append(mean)
    age = np.arange(1, len(means) + 1)
    growth = np.ones(len(means)) if settled else 1 - (1 - weight) ** (2 * age)
    half = sigmas * chart.sigma * np.sqrt(weight / (2 - weight) * growth)
    return WeightedMean(
        tuple(means), tuple((chart.centre - half).tolist()), tuple((chart.centre + half).tolist()), weight
    )


def checks_until_seen(shift_sigmas: float) -> float:
    """Average number of single readings until one lies beyond three sigma after a shift (Shewhart chart).

    >>> round(checks_until_seen(0.0)), round(checks_until_seen(1.0))
    (370, 44)
    """
    beyond = ndtr(shift_sigmas - LIMIT_SIGMAS) + ndtr(-shift_sigmas - LIMIT_SIGMAS)
    return float(1 / beyond)
