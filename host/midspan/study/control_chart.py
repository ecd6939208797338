"""Control charts of a check standard: individuals with moving range, and the exponentially weighted mean.

Sources: W. A. Shewhart, Economic Control of Quality of Manufactured Product (1931), for limits at three sigma;
NIST/SEMATECH e-Handbook, 6.3.2.2 for individuals, 6.3.2.4 for the weighted mean (S. W. Roberts, Technometrics 1 (1959)
239-250; J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990) 1-12). Each run rule names its own source.

Single readings and their weighted mean decide together if a gauge is in control: the limits see a jump, the mean a
small shift that lasts. A centre and a sigma from a few readings are themselves uncertain, so both limits are as much
wider as Student's t and the u of the centre ask for: a reading of a good gauge is then beyond them as seldom as with
known ones. Run rules are hints; all of them together would stop a good gauge about every ninety readings.

>>> chart = individuals_chart([50.0, 50.2, 49.9, 50.1, 50.0, 49.8, 50.1, 53.0], basis=ChartBasis(7))
>>> [(signal.rule.name, signal.at) for signal in chart.signals][0]
('beyond the limits', 7)
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from midspan.base.errors import ReadingsError
from midspan.study.run_length import EIGHT_IN_A_ROW, FOUR_OF_FIVE, TWO_OF_THREE
from midspan.study.scatter import D2, D3, Scatter, ScatterSource, scatter_of

Array = NDArray[np.float64]
LIMIT_SIGMAS = 3.0
WEIGHT = 0.2  # of the newest reading; 0.2 to 0.3 is usual (e-Handbook, 6.3.2.4)
RESOLVED = 1e-12  # relative to the centre; a smaller sigma is rounding
ENOUGH = 20  # readings from which limits are reliable (common practice, no source)
BEYOND = "beyond the limits"
POSSIBLE = 5.0  # less in log likelihood: a begin as early as this is still possible


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
    ChartRule(BEYOND, f"Shewhart (1931); {WESTERN_ELECTRIC}", 1, lambda z: bool(abs(z[-1]) > LIMIT_SIGMAS)),
    ChartRule(TWO_OF_THREE, WESTERN_ELECTRIC, 3, _sided(2, 2.0)),
    ChartRule(FOUR_OF_FIVE, WESTERN_ELECTRIC, 5, _sided(4, 1.0)),
    ChartRule(EIGHT_IN_A_ROW, WESTERN_ELECTRIC, 8, _sided(8, 0.0)),
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
class ShiftBegin:
    """Reading from which a gauge reads wrong.

    Parameters
    ----------
    likeliest : int
        Likeliest first reading of the shift, counted from 0.
    earliest : int
        Earliest first reading that is still possible; every shaft since the reading before it is suspect.
    sigmas : float
        Size of the shift from its likeliest begin on, in its own standard deviations.
    """

    likeliest: int
    earliest: int
    sigmas: float = 0.0


@dataclass(frozen=True)
class ControlChart:
    """Readings of a check standard with centre, scatter and the signals of the run rules.

    Parameters
    ----------
    values : tuple[float, ...]
        Readings in the order of time.
    sessions : tuple[int, ...]
        Session of each reading.
    centre : float
        Centre line, in the unit of the readings.
    scatter : Scatter
        Variances of a reading.
    baseline : int
        How many of the first readings centre and scatter rest on; 0 if both were given.
    ranges : tuple[float, ...]
        Moving ranges of two, one fewer than readings.
    signals : tuple[ChartSignal, ...]
        Rules that points complete, in the order of the points.
    """

    values: tuple[float, ...]
    sessions: tuple[int, ...]
    centre: float
    scatter: Scatter
    baseline: int
    ranges: tuple[float, ...]
    signals: tuple[ChartSignal, ...] = ()

    @property
    def sigma(self) -> float:
        """Standard deviation of a reading, in the unit of the readings."""
        return self.scatter.sigma

    @property
    def provisional(self) -> bool:
        """True if fewer readings made the limits than are reliable."""
        return self.scatter.source is not ScatterSource.GIVEN and self.baseline < ENOUGH

    @property
    def limits(self) -> tuple[float, float]:
        """Centre less and plus three sigma, as for a known centre and sigma."""
        return self.centre - LIMIT_SIGMAS * self.sigma, self.centre + LIMIT_SIGMAS * self.sigma

    @property
    def half_widths(self) -> Array:
        """Distance of the limits from the centre at each reading, widened for the short baseline."""
        return self.reach(np.eye(len(self.values)))

    @property
    def action_limits(self) -> tuple[float, float]:
        """Lower and upper limit of the newest reading, widened for the short baseline."""
        half = float(self.reach(np.eye(len(self.values))[-1:])[0])
        return self.centre - half, self.centre + half

    @property
    def range_limit(self) -> float:
        """Upper limit of the moving range; the lower limit is 0 (D4 = 3.267, e-Handbook, 6.3.2.1)."""
        return (D2 + LIMIT_SIGMAS * D3) * self.sigma

    @property
    def wide_ranges(self) -> tuple[int, ...]:
        """Points that differ from the point before by more than the range limit, counted from 0."""
        return tuple(i + 1 for i, moving_range in enumerate(self.ranges) if moving_range > self.range_limit)

    def reach(self, weights: Array, sigmas: float = LIMIT_SIGMAS) -> Array:
        """Return how far weighted means of the readings stray from the centre by chance.

        Parameters
        ----------
        weights : Array
            Weight of each reading in each mean, shape (means, readings).
        sigmas : float
            How seldom, as for so many known standard deviations.

        Returns
        -------
        Array
            Largest distance, shape (means,).
        """
        from_centre = weights - weights.sum(axis=1)[:, None] * self._in_baseline
        return self.scatter.reach(from_centre, self.sessions, sigmas)

    @property
    def _in_baseline(self) -> Array:
        """Share of each reading in the centre, shape (readings,)."""
        return (np.arange(len(self.values)) < self.baseline) / max(self.baseline, 1)

    def shift_begin(self, at: int) -> ShiftBegin:
        """Return when a shift that a reading signals began.

        Parameters
        ----------
        at : int
            The newest reading that belongs to the shift, counted from 0.

        Returns
        -------
        ShiftBegin
            The likeliest first reading of the shift, and the earliest that the readings allow.

        References
        ----------
        T. R. Samuel, J. J. Pignatiello and J. A. Calvin, Quality Engineering 10 (1998) 521-527; J. J. Pignatiello and
        T. R. Samuel, J. Quality Technology 33 (2001) 357-365, for the set of possible times.
        """
        # Limits from a full baseline are those of a good gauge; a shift may have begun within a shorter one.
        first = min(2 if self.provisional else self.baseline, at)
        begins = np.arange(first, at + 1)
        place = np.arange(len(self.values))
        after = (place >= begins[:, None]) & (place <= at)
        before = (place < np.minimum(begins, self.baseline)[:, None]).astype(float)
        before /= np.maximum(before.sum(axis=1, keepdims=True), 1)
        weights = after / after.sum(axis=1, keepdims=True) - before
        given = 0.0 if self.baseline else self.centre
        score = (weights @ np.array(self.values) - given) / self.scatter.u(weights, self.sessions)
        likelihood = score * abs(score) / 2 * np.sign(score[-1] or 1.0)
        best = int(np.argmax(likelihood))
        possible = np.flatnonzero(likelihood >= likelihood[best] - POSSIBLE)
        return ShiftBegin(int(begins[best]), int(begins[possible[0]]), abs(float(score[best])))


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


@dataclass(frozen=True)
class ChartBasis:
    """Basis of centre and sigma of a chart.

    Parameters
    ----------
    baseline : int | None
        How many of the first readings give centre and sigma; None for all.
    centre : float | None
        Centre line if known, None to take the mean of the baseline.
    sigma : float | None
        Standard deviation of a reading if known, None to take it from the baseline.
    """

    baseline: int | None = None
    centre: float | None = None
    sigma: float | None = None


ALL_READINGS = ChartBasis()


def individuals_chart(
    values: Sequence[float], sessions: Sequence[int] | None = None, basis: ChartBasis = ALL_READINGS
) -> ControlChart:
    """Chart single readings.

    Sigma comes from the variances within and between sessions. Where each reading is a session of its own, it is the
    standard deviation of the baseline, or the mean moving range over d2 = 1.128 if that holds all readings.

    Parameters
    ----------
    values : Sequence[float]
        Readings in the order of time.
    sessions : Sequence[int] | None
        Session of each reading, None if each is one of its own.
    basis : ChartBasis
        Basis of centre and sigma.

    Returns
    -------
    ControlChart
        The chart, in the unit of the readings.

    Raises
    ------
    ReadingsError
        Too few readings (code `too_few`), readings without scatter (code `no_scatter`), or a centre without a sigma or
        the other way round (code `half_given`).

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.3.2.2 and 2.6.2.

    Examples
    --------
    >>> round(individuals_chart([50.0, 50.2, 49.9, 50.1]).sigma, 4)
    0.2068
    """
    data = np.asarray(values, float)
    which = tuple(range(len(data))) if sessions is None else tuple(sessions)
    number = len(data) if basis.baseline is None else basis.baseline
    if (basis.centre is None) != (basis.sigma is None):
        raise ReadingsError(
            "a chart needs both centre and sigma, or neither: give the other one too", code="half_given"
        )
    if basis.centre is None and (number < 2 or number > len(data)):
        raise ReadingsError(
            f"{len(data)} readings, {number} of them for the centre line: at least two are needed, better {ENOUGH}",
            code="too_few",
        )
    if basis.centre is None or basis.sigma is None:
        first = data[:number]
        centre, scatter = float(first.mean()), scatter_of(first.tolist(), which[:number], good=number < len(data))
    else:
        number, centre = 0, basis.centre
        scatter = Scatter(basis.sigma**2, 0.0, ScatterSource.GIVEN)
    if not scatter.sigma > RESOLVED * abs(centre):
        raise ReadingsError(
            "the check standard read the same every time: the gauge resolves too little for a chart", code="no_scatter"
        )
    chart = ControlChart(tuple(data.tolist()), which, centre, scatter, number, tuple(np.abs(np.diff(data)).tolist()))
    return replace(chart, signals=tuple(_signals(LIMIT_SIGMAS * (data - centre) / chart.half_widths)))


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
    variance sigma^2 w / (2 - w) (1 - (1 - w)^(2 i)). A reading beyond its limits counts as one at its limit: it signals
    by itself, and one that was read wrong once does not stay in the mean.

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
    place = np.arange(len(chart.values))
    age = place[:, None] - place
    weights = np.where(age >= 0, weight * (1 - weight) ** np.maximum(age, 0), 0.0)
    off, edge = np.array(chart.values) - chart.centre, chart.half_widths
    means = chart.centre + weights @ np.clip(off, -edge, edge)
    half = chart.reach(weights, sigmas)
    if settled:
        half = np.full(len(half), sigmas * chart.sigma * math.sqrt(weight / (2 - weight)))
    return WeightedMean(
        tuple(means.tolist()), tuple((chart.centre - half).tolist()), tuple((chart.centre + half).tolist()), weight
    )


def out_of_control(chart: ControlChart, mean: WeightedMean) -> ShiftBegin | None:
    """Return since when the gauge has been out of control, None if it is in control now.

    A signal of the limits or of the weighted mean stands until the mean has come back to the centre line.

    Parameters
    ----------
    chart : ControlChart
        The chart.
    mean : WeightedMean
        Weighted mean of its readings.

    Returns
    -------
    ShiftBegin | None
        Begin of the shift; None in control.

    Examples
    --------
    >>> found = individuals_chart([50.0, 50.2, 49.9, 50.1, 50.0, 50.4, 50.4, 50.4], basis=ChartBasis(5))
    >>> out_of_control(found, weighted_mean(found)) is None
    True
    """
    alarms = {signal.at for signal in chart.signals if signal.rule.name == BEYOND} | {*mean.signals}
    if not alarms:
        return None
    side = np.sign(np.array(mean.means) - chart.centre)
    last = max(alarms)
    if (side[last:] != side[last]).any():
        return None
    begin = chart.shift_begin(len(chart.values) - 1)
    back = np.flatnonzero(side[:last] != side[last])  # alarms since then belong to this shift
    first = min(alarm for alarm in alarms if not len(back) or alarm > back[-1])
    return ShiftBegin(min(begin.likeliest, first), min(begin.earliest, first))
