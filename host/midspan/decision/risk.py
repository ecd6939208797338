"""What a decision rule costs: how many bad shafts it lets in and how many good ones it turns away.

For one item the measured value and its uncertainty say how probable it conforms (JCGM 106:2012, clause 7); for a
process, whose true values have a distribution of their own, integration over both says how often the rule errs
(clause 9): the consumer's risk of an accepted item that does not conform, and the producer's risk of a rejected one
that does.

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
STEPS = np.arange(-8.0, 8.5)  # standard deviations around whatever is sharp; beyond lie fewer than one in 10^15


@dataclass(frozen=True)
class Risks:
    """Shares of all items of a process."""

    conforming: float
    accepted: float
    doubtful: float
    consumer: float  # accepted though they do not conform
    producer: float  # rejected though they conform

    @property
    def rejected(self) -> float:
        """Turned away, rightly or not."""
        return 1 - self.accepted - self.doubtful


def conformance_probability(value: float, u: float, low: float = -math.inf, high: float = math.inf) -> float:
    """How probable the true value lies between the limits, from one measured value (JCGM 106, equation 7).

    >>> round(conformance_probability(-5.47, 0.05, high=-5.40), 2)
    0.92
    """
    return float(ndtr((high - value) / u) - ndtr((low - value) / u))


def risks(
    process: Any, u: float, good: Sequence[Interval], accepted: Sequence[Interval], kept: Sequence[Interval]
) -> Risks:
    """Risks for a process, by Gauss-Legendre integration over its true values (JCGM 106, equations 17 and 19).

    `process` is a distribution of true values with pdf() and ppf(), such as those of scipy.stats; `u` the standard
    uncertainty of a measurement, normally distributed. Items conform within `good`; a measured value is accepted
    within `accepted`, not rejected within `kept`, each a list of separate intervals whose ends may be infinite.
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
    """Nodes and weights of an integral over the process, cut wherever something in it is sharp."""
    ends = [end for interval in intervals for end in interval if math.isfinite(end)]
    least, most = (float(process.ppf(share)) for share in (1e-15, 1 - 1e-15))
    cuts = np.concatenate([process.ppf(ndtr(STEPS)), *(end + u * STEPS for end in ends)])
    cuts = np.unique(np.clip(np.append(cuts, ends), least, most))
    half = np.diff(cuts) / 2
    true = ((cuts[:-1] + cuts[1:]) / 2)[:, None] + half[:, None] * NODE
    return true.ravel(), (half[:, None] * WEIGHT * process.pdf(true)).ravel()


def _inside(values: Array, intervals: Sequence[Interval]) -> NDArray[np.bool_]:
    inside = np.zeros(values.shape, bool)
    for low, high in intervals:
        inside |= (values >= low) & (values < high)
    return inside


def _probability(true: Array, u: float, intervals: Sequence[Interval]) -> Array:
    """How probable a measured value falls into one of separate intervals, for each true value."""
    total: Array = sum(
        (ndtr((high - true) / u) - ndtr((low - true) / u) for low, high in intervals), np.zeros_like(true)
    )
    return total


def spine_risks(bands: Bands, rule: DecisionRule, mean_thou: float, sd_thou: float, u_thou: float) -> Risks:
    """Risks of sorting a stock of shafts by spine alone: true spines normal, of this mean and standard deviation.

    A shaft conforms when its spine lies in any bin. Raises ConfigurationError when a number is not positive.
    """
    if not all(number > 0 for number in (mean_thou, sd_thou, u_thou)):
        raise ConfigurationError("mean, standard deviation and u of the spine must be above 0 thou; correct them")
    inside, beyond = (margin * rule.coverage_factor * u_thou for margin in rule.margins)
    good = [(stretch.low_thou, stretch.high_thou) for stretch in bands.stretches]
    accepted, kept = (_moved(good, by) for by in (-inside, beyond))
    return risks(norm(mean_thou, sd_thou), u_thou, good, accepted, kept)


def _moved(intervals: Sequence[Interval], outward: float) -> list[Interval]:
    """Each interval wider by so much at both ends, or narrower; those that meet become one, those used up are gone."""
    moved: list[Interval] = []
    for low, high in ((low - outward, high + outward) for low, high in intervals):
        if moved and low <= moved[-1][1]:
            moved[-1] = (moved[-1][0], high)
        elif low < high:
            moved.append((low, high))
    return moved


def sentence(cost: Risks, rule: DecisionRule) -> str:
    """What the rule costs, in words and in shafts of a thousand.

    >>> sentence(Risks(0.9, 0.85, 0.1, 0.001, 0.0004), DecisionRule())
    'of 1000 shafts 850 are accepted, of which 1 belongs in no bin; 50 are rejected, of which 0.4 are good; 100 lie \
too near a limit and are measured again'
    """
    again = f"; {_of_1000(cost.doubtful)} lie too near a limit and are measured again" if rule.leaves_doubt else ""
    bad, good = _of_1000(cost.consumer), _of_1000(cost.producer)
    return (
        f"of 1000 shafts {_of_1000(cost.accepted)} are accepted, of which {bad} {_verb(bad, 'belongs', 'belong')} in "
        f"no bin; {_of_1000(cost.rejected)} are rejected, of which {good} {_verb(good, 'is', 'are')} good{again}"
    )


def _of_1000(share: float) -> str:
    number = 1000 * max(share, 0.0)
    return f"{number:.0f}" if number >= 9.5 else f"{number:.1g}" if number >= 0.05 else "hardly any"


def _verb(number: str, one: str, many: str) -> str:
    return one if number == "1" else many
