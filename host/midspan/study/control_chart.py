"""Control charts of a check standard: individuals with moving range, and the exponentially weighted mean.

Sources: W. A. Shewhart, Economic Control of Quality of Manufactured Product (1931), for limits at three sigma;
NIST/SEMATECH e-Handbook, 6.3.2.2 for individuals, 6.3.2.4 for the weighted mean (S. W. Roberts, Technometrics 1 (1959)
239-250; J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990) 1-12). Each run rule names its own source.

>>> chart = individuals_chart([50.0, 50.2, 49.9, 50.1, 50.0, 49.8, 50.1, 53.0], baseline=7)
>>> [(signal.rule.name, signal.at) for signal in chart.signals][0]
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
WEIGHT = 0.2  # of the newest reading; 0.2 to 0.3 is usual (e-Handbook, 6.3.2.4)
RESOLVED = 1e-12  # relative to the centre; a smaller sigma is rounding
ENOUGH = 20  # readings from which limits are reliable (common practice, no source)


@dataclass(frozen=True)
class ChartRule:
    """A run rule of a control chart.

    Parameters
    ----------
    name : str
        The pattern it looks for, in words.
    source : str
        Who published it.
    length : int
        Points it looks at.
    shows : Callable[[Array], bool]
        Returns True if that many standardised points, the last one included, show the pattern.
    """

    name: str
    source: str
    length: int
    shows: Callable[[Array], bool]


def _sided(need: int, beyond: float) -> Callable[[Array], bool]:
    """Return a rule: at least `need` points, the last one among them, lie beyond that many sigma on one side."""

    def shows(z: Array) -> bool:
        return any(bool(side[-1] > beyond and (side > beyond).sum() >= need) for side in (z, -z))

    return shows


def _trend(z: Array) -> bool:
    """Return True if all points rise, or all fall."""
    step = np.diff(z)
    return bool((step > 0).all() or (step < 0).all())


def _alternates(z: Array) -> bool:
    """Return True if each step goes against the one before."""
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
    """A rule completed by a point.

    Parameters
    ----------
    rule : ChartRule
        The rule.
    at : int
        The point, counted from 0.
    """

    rule: ChartRule
    at: int


@dataclass(frozen=True)
class ControlChart:
    """Readings of a check standard with centre, sigma and the signals of the run rules.

    Parameters
    ----------
    values : tuple[float, ...]
        Readings in the order of time.
    centre : float
        Centre line, in the unit of the readings.
    sigma : float
        Standard deviation of a reading, in the same unit.
    baseline : int
        How many of the first readings centre and sigma rest on.
    given : bool
        True if centre and sigma were given rather than taken from the readings.
    ranges : tuple[float, ...]
        Moving ranges of two, one fewer than readings.
    signals : tuple[ChartSignal, ...]
        Rules that points complete, in the order of the points.
    """

    values: tuple[float, ...]
    centre: float
    sigma: float
    baseline: int
    given: bool
    ranges: tuple[float, ...]
    signals: tuple[ChartSignal, ...]

    @property
    def limits(self) -> tuple[float, float]:
        """Lower and upper limit: centre less and plus three sigma."""
        return self.centre - LIMIT_SIGMAS * self.sigma, self.centre + LIMIT_SIGMAS * self.sigma

    @property
    def range_limit(self) -> float:
        """Upper limit of the moving range; the lower limit is 0 (D4 = 3.267, e-Handbook, 6.3.2.1)."""
        return (D2 + LIMIT_SIGMAS * D3) * self.sigma

    @property
    def wide_ranges(self) -> tuple[int, ...]:
        """Points that differ from the point before by more than the range limit, counted from 0."""
        return tuple(i + 1 for i, moving_range in enumerate(self.ranges) if moving_range > self.range_limit)


@dataclass(frozen=True)
class WeightedMean:
    """Exponentially weighted mean of the readings of a chart.

    Parameters
    ----------
    means : tuple[float, ...]
        Weighted mean at each reading, in the unit of the readings.
    low : tuple[float, ...]
        Lower limit at each reading.
    high : tuple[float, ...]
        Upper limit at each reading.
    weight : float
        Weight of the newest reading.
    """

    means: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    weight: float

    @property
    def signals(self) -> tuple[int, ...]:
        """Points at which the weighted mean lies outside its limits, counted from 0."""
        rows = zip(self.means, self.low, self.high, strict=True)
        return tuple(i for i, (mean, low, high) in enumerate(rows) if not low <= mean <= high)


def individuals_chart(
    values: Sequence[float], baseline: int | None = None, centre: float | None = None, sigma: float | None = None
) -> ControlChart:
    """Chart single readings; sigma is the mean moving range over d2 = 1.128.

    Parameters
    ----------
    values : Sequence[float]
        Readings in the order of time.
    baseline : int | None
        How many of the first readings give centre and sigma; None for all.
    centre : float | None
        Centre line if known, None to take the mean of the baseline.
    sigma : float | None
        Standard deviation if known, None to take it from the moving ranges of the baseline.

    Returns
    -------
    ControlChart
        The chart, in the unit of the readings.

    Raises
    ------
    ReadingsError
        Too few readings (code `too_few`), or readings without scatter (code `no_scatter`).

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.3.2.2.

    Examples
    --------
    >>> round(individuals_chart([50.0, 50.2, 49.9, 50.1]).sigma, 4)
    0.2068
    """
    data = np.asarray(values, float)
    number = len(data) if baseline is None else baseline
    if (centre is None or sigma is None) and (number < 2 or number > len(data)):
        raise ReadingsError(
            f"{len(data)} readings, {number} of them for the centre line: at least two are needed, better {ENOUGH}",
            code="too_few",
        )
    ranges = np.abs(np.diff(data))
    middle = float(data[:number].mean()) if centre is None else centre
    spread = float(ranges[: number - 1].mean()) / D2 if sigma is None else sigma
    if not spread > RESOLVED * abs(middle):
        raise ReadingsError(
            "the check standard read the same every time: the gauge resolves too little for a chart", code="no_scatter"
        )
    signals = tuple(_signals((data - middle) / spread))
    given = centre is not None and sigma is not None
    return ControlChart(tuple(data.tolist()), middle, spread, number, given, tuple(ranges.tolist()), signals)


def _signals(z: Array) -> Iterator[ChartSignal]:
    """Yield the rules that each point completes."""
    for i in range(len(z)):
        for rule in RULES:
            if i + 1 >= rule.length and rule.shows(z[i + 1 - rule.length : i + 1]):
                yield ChartSignal(rule, i)


def weighted_mean(
    chart: ControlChart, weight: float = WEIGHT, sigmas: float = LIMIT_SIGMAS, *, settled: bool = False
) -> WeightedMean:
    """Return the exponentially weighted mean of a chart's readings, started at its centre.

    It shows a lasting shift of one sigma much sooner than single readings do. z_i = w x_i + (1 - w) z_(i-1), with
    variance sigma^2 w / (2 - w) (1 - (1 - w)^(2 i)).

    Parameters
    ----------
    chart : ControlChart
        The chart.
    weight : float
        Weight of the newest reading, above 0 and at most 1.
    sigmas : float
        Width of the limits in standard deviations.
    settled : bool
        True for the limits of a long series, False for limits that widen from the start.

    Returns
    -------
    WeightedMean
        The weighted mean with its limits.

    Raises
    ------
    ReadingsError
        The weight is not above 0 and at most 1.

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.3.2.4.

    Examples
    --------
    >>> chart = individuals_chart([50.0, 50.2, 49.9, 50.1])
    >>> [round(mean, 3) for mean in weighted_mean(chart).means]
    [50.04, 50.072, 50.038, 50.05]
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
    """Return the average number of single readings until one lies beyond three sigma after a shift.

    Parameters
    ----------
    shift_sigmas : float
        Lasting shift of the mean, in standard deviations.

    Returns
    -------
    float
        Average run length of a Shewhart chart, in readings.

    Examples
    --------
    >>> round(checks_until_seen(0.0)), round(checks_until_seen(1.0))
    (370, 44)
    """
    beyond = ndtr(shift_sigmas - LIMIT_SIGMAS) + ndtr(-shift_sigmas - LIMIT_SIGMAS)
    return float(1 / beyond)
