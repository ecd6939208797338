"""The risks of a decision rule: bad shafts accepted and good shafts rejected.

For a single item, the measured value and its uncertainty give the probability that it conforms (JCGM 106:2012, clause
7). For a process, whose true values have their own distribution, an integral over both gives how often the rule is
wrong (clause 9). The consumer's risk is that of an accepted item that does not conform, the producer's risk that of a
rejected item that does.

>>> from scipy.stats import norm
>>> cost = risks(norm(0, 1), 0.25, good=[(-2, 2)], accepted=[(-2, 2)], kept=[(-2, 2)])
>>> round(cost.consumer, 4), round(cost.producer, 4)
(0.008, 0.0149)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr
from scipy.stats import norm

from midspan.base.errors import ConfigurationError
from midspan.decision.bands import Bands, DecisionRule

Array = NDArray[np.float64]
Interval = tuple[float, float]
NODE, WEIGHT = np.polynomial.legendre.leggauss(24)
STEPS = np.arange(-8.0, 8.5)  # standard deviations around each edge; fewer than one in 10^15 lie beyond


@dataclass(frozen=True)
class Risks:
    """Shares of all items of a process, each from 0 to 1.

    Parameters
    ----------
    conforming : float
        Items that conform.
    accepted : float
        Items accepted.
    doubtful : float
        Items neither accepted nor rejected.
    consumer : float
        Items accepted that do not conform.
    producer : float
        Items rejected that conform.
    """

    conforming: float
    accepted: float
    doubtful: float
    consumer: float
    producer: float

    @property
    def rejected(self) -> float:
        """Share of items rejected, rightly or not."""
        return 1 - self.accepted - self.doubtful


@dataclass(frozen=True)
class SpineProcess:
    """Normal distribution of the true spines of a stock.

    Parameters
    ----------
    mean_thou : float
        Mean, thou.
    sd_thou : float
        Standard deviation, thou.
    """

    mean_thou: float
    sd_thou: float


def conformance_probability(value: float, u: float, low: float = -math.inf, high: float = math.inf) -> float:
    """Return the probability that the true value lies between the limits, from one measured value.

    Parameters
    ----------
    value : float
        Measured value.
    u : float
        Its standard uncertainty, normally distributed; above 0.
    low, high : float
        Limits; infinite where there is none.

    Returns
    -------
    float
        Probability, 0 to 1.

    References
    ----------
    JCGM 106:2012, equation 7.

    Examples
    --------
    >>> round(conformance_probability(-5.47, 0.05, high=-5.40), 2)
    0.92
    """
    return float(ndtr((high - value) / u) - ndtr((low - value) / u))


def risks(
    process: Any, u: float, good: Sequence[Interval], accepted: Sequence[Interval], kept: Sequence[Interval]
) -> Risks:
    """Return the risks for a process, by Gauss-Legendre integration over its true values.

    Parameters
    ----------
    process : object
        Distribution of true values with pdf() and ppf(), as in scipy.stats.
    u : float
        Standard uncertainty of a measurement, normally distributed; above 0.
    good : sequence of tuple
        Intervals of true values that conform. In each sequence they do not overlap, and ends may be infinite.
    accepted : sequence of tuple
        Intervals of measured values that are accepted.
    kept : sequence of tuple
        Intervals of measured values that are not rejected.

    Returns
    -------
    Risks
        Shares of all items.

    References
    ----------
    JCGM 106:2012, equations 17 and 19.
    """
    true, weight = _nodes(process, u, [*good, *accepted, *kept])
    conforms = _inside(true, good)
    taken, held = (_probability(true, u, intervals) for intervals in (accepted, kept))
    return Risks(
        float(weight @ conforms),
        float(weight @ taken),
        float(weight @ (held - taken)),
        float(weight @ (taken * ~conforms)),
        float(weight @ ((1 - held) * conforms)),
    )


def _nodes(process: Any, u: float, intervals: Sequence[Interval]) -> tuple[Array, Array]:
    """Return nodes and weights of an integral over the process, divided wherever the integrand has an edge."""
    ends = [end for interval in intervals for end in interval if math.isfinite(end)]
    least, most = (float(process.ppf(share)) for share in (1e-15, 1 - 1e-15))
    cuts = np.concatenate([process.ppf(ndtr(STEPS)), *(end + u * STEPS for end in ends)])
    cuts = np.unique(np.clip(np.append(cuts, ends), least, most))
    half = np.diff(cuts) / 2
    true = ((cuts[:-1] + cuts[1:]) / 2)[:, None] + half[:, None] * NODE
    return true.ravel(), (half[:, None] * WEIGHT * process.pdf(true)).ravel()


def _inside(values: Array, intervals: Sequence[Interval]) -> NDArray[np.bool_]:
    """Return True where a value lies in any of the intervals."""
    inside = np.zeros(values.shape, bool)
    for low, high in intervals:
        inside |= (values >= low) & (values < high)
    return inside


def _probability(true: Array, u: float, intervals: Sequence[Interval]) -> Array:
    """Return the probability that a measured value falls into any of the intervals, for each true value."""
    total: Array = sum(
        (ndtr((high - true) / u) - ndtr((low - true) / u) for low, high in intervals), np.zeros_like(true)
    )
    return total


def spine_risks(bands: Bands, rule: DecisionRule, mean_thou: float, sd_thou: float, u_thou: float) -> Risks:
    """Return the risks of sorting a stock of shafts by spine alone; true spines are normally distributed.

    A shaft conforms if its spine lies in any bin.

    Parameters
    ----------
    bands : Bands
        Bins.
    rule : DecisionRule
        Decision rule.
    mean_thou, sd_thou : float
        Mean and standard deviation of the true spines, thou.
    u_thou : float
        Standard uncertainty of a measured spine, thou.

    Returns
    -------
    Risks
        Shares of all shafts.

    Raises
    ------
    ConfigurationError
        A number is not above 0.

    References
    ----------
    JCGM 106:2012, clause 9.
    """
    if not all(number > 0 for number in (mean_thou, sd_thou, u_thou)):
        raise ConfigurationError("mean, standard deviation and u of the spine must be above 0 thou; correct them")
    inside, beyond = (margin * rule.coverage_factor * u_thou for margin in rule.margins)
    good = [(stretch.low_thou, stretch.high_thou) for stretch in bands.stretches]
    accepted, kept = (_moved(good, by) for by in (-inside, beyond))
    return risks(norm(mean_thou, sd_thou), u_thou, good, accepted, kept)


def settled_by_repeat(
    bands: Bands, rule: DecisionRule, stock: SpineProcess, u_thou: float, u_renewed_thou: float
) -> float:
    """Return the share of doubtful shafts that a second measurement decides.

    A repeat renews one part of the uncertainty and keeps the rest, that of the calibration: measured again, a shaft
    that lay near a limit for the kept part lies there still.

    Parameters
    ----------
    bands : Bands
        Bins.
    rule : DecisionRule
        Decision rule.
    stock : SpineProcess
        Distribution of the true spines.
    u_thou : float
        Standard uncertainty of a measured spine, thou.
    u_renewed_thou : float
        Part of it that a repeat renews, thou; at most `u_thou`.

    Returns
    -------
    float
        Share of the doubtful shafts, 0 to 1; 0 if there are none.

    Raises
    ------
    ConfigurationError
        The renewed part is not from 0 to the whole.
    """
    if not 0 <= u_renewed_thou <= u_thou:
        raise ConfigurationError(
            f"a repeat renews {u_renewed_thou:g} thou of {u_thou:g}; give a part from 0 to the whole", code="renewed"
        )
    inside, beyond = (margin * rule.coverage_factor * u_thou for margin in rule.margins)
    good = [(stretch.low_thou, stretch.high_thou) for stretch in bands.stretches]
    accepted, kept = (_moved(good, by) for by in (-inside, beyond))
    # True spine and kept error only matter as their sum.
    process = norm(stock.mean_thou, math.hypot(stock.sd_thou, math.sqrt(u_thou**2 - u_renewed_thou**2)))
    u = max(u_renewed_thou, 1e-6 * u_thou)
    middle, weight = _nodes(process, u, [*accepted, *kept])
    doubtful = _probability(middle, u, kept) - _probability(middle, u, accepted)
    once = float(weight @ doubtful)
    return 1 - float(weight @ doubtful**2) / once if once > 1e-12 else 0.0


def _moved(intervals: Sequence[Interval], outward: float) -> list[Interval]:
    """Return intervals widened at both ends, narrowed if `outward` is below 0; touching intervals become one.

    Intervals narrowed to nothing are dropped.
    """
    moved: list[Interval] = []
    for low, high in ((low - outward, high + outward) for low, high in intervals):
        if moved and low <= moved[-1][1]:
            moved[-1] = (moved[-1][0], high)
        elif low < high:
            moved.append((low, high))
    return moved


def sentence(cost: Risks, rule: DecisionRule) -> str:
    r"""Return the risks of a rule as a sentence, in shafts of a thousand.

    Parameters
    ----------
    cost : Risks
        Risks of the rule.
    rule : DecisionRule
        The rule.

    Returns
    -------
    str
        A sentence without a full stop.

    Examples
    --------
    >>> print(*sentence(Risks(0.9, 0.85, 0.1, 0.001, 0.0004), DecisionRule()).split("; "), sep="\n")
    of 1000 shafts 850 are accepted, of which 1 belongs in no bin
    50 are rejected, of which 0.4 are good
    100 lie too near a limit to decide
    """
    again = f"; {_of_1000(cost.doubtful)} lie too near a limit to decide" if rule.leaves_doubt else ""
    bad, good = _of_1000(cost.consumer), _of_1000(cost.producer)
    return (
        f"of 1000 shafts {_of_1000(cost.accepted)} are accepted, of which {bad} {_verb(bad, 'belongs', 'belong')} in "
        f"no bin; {_of_1000(cost.rejected)} are rejected, of which {good} {_verb(good, 'is', 'are')} good{again}"
    )


def _of_1000(share: float) -> str:
    """Return a share as a number of a thousand shafts, or words for a number too small to state."""
    number = 1000 * share
    return f"{number:.0f}" if number >= 9.5 else f"{number:.1g}" if number >= 0.05 else "hardly any"


def _verb(number: str, singular: str, plural: str) -> str:
    """Return the verb in the singular for exactly 1, else in the plural."""
    return singular if number == "1" else plural
