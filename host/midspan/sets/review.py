"""Review a set: its spread with the uncertainty of that, the shaft that stands out, and the effect at the target.

>>> from midspan.store.stored_result import OlderResult, ResultKind
>>> same = MemberResult(0.1, OlderResult(ResultKind.GAUGE, (), "{}"))
>>> shafts = [StockShaft(i, "", i, None, spine, 0.1, None, None, None) for i, spine in enumerate((500.0, 500.1, 503.0))]
>>> found = review(shafts, [same] * 3)
>>> round(found.range_thou, 3), round(found.u_range_thou, 3), found.spoiler.shaft, found.is_told_apart
(3.0, 0.141, 2, True)
>>> round(found.at_target_mm(70.0), 1)
26.1
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from midspan.measurement.shown_quantities import ShownSpine
from midspan.sets.difference_uncertainty import (
    MemberResult,
    covariance,
    own_u,
    range_by_noise,
    u_difference,
    u_from_mean,
)
from midspan.sets.stock import StockShaft
from midspan.uncertainty.budget import Coverage

# Common practice, no published source: at 70 m about 7 thou of spine move an arrow by one ring of the 122 cm face, 61
# mm wide. Proportion to spine and to distance is our own simplification.
RING_MM, RING_THOU, RING_M = 61.0, 7.0, 70.0
STANDS_OUT = 0.25  # share of a set's range made by the last gap; in a dozen spaced evenly each gap is a tenth


def at_target_mm(range_thou: float, distance_m: float) -> float:
    """Estimate how far a range of spine moves arrows apart at a distance; common practice, no published source.

    Parameters
    ----------
    range_thou : float
        Range of static spine, thou.
    distance_m : float
        Distance to the target, m.

    Returns
    -------
    float
        Distance between the arrows on the face, mm.

    Examples
    --------
    >>> at_target_mm(7.0, 70.0), at_target_mm(3.5, 35.0)
    (61.0, 15.25)
    """
    return RING_MM * range_thou / RING_THOU * distance_m / RING_M


@dataclass(frozen=True)
class Spoiler:
    """The shaft that makes a set wider than it need be.

    Parameters
    ----------
    shaft : int
        Its number.
    name : str
        Its number and label.
    range_without_thou : float
        Range of the set without it, thou.
    """

    shaft: int
    name: str
    range_without_thou: float


@dataclass(frozen=True)
class Review:
    """A reviewed set, in order of spine.

    Parameters
    ----------
    shafts : tuple[StockShaft, ...]
        The shafts, stiffest first.
    mean_thou : float
        Mean spine, thou.
    u_mean_thou : float
        Its standard uncertainty, thou.
    from_mean_thou : tuple[float, ...]
        Spine of each shaft less the mean, thou, in the order of `shafts`.
    u_from_mean_thou : tuple[float, ...]
        Standard uncertainties of those, thou.
    range_thou : float
        Softest less stiffest, thou.
    u_range_thou : float
        Standard uncertainty of that difference, thou.
    own_u_thou : tuple[float, ...]
        Standard uncertainty of each shaft from its own noise alone, thou.
    spoiler : Spoiler | None
        The shaft that stands out, None if there is none.
    asked_k : float | None
        Coverage factor that was asked for, None for 95 % by the degrees of freedom.
    """

    shafts: tuple[StockShaft, ...]
    mean_thou: float
    u_mean_thou: float
    from_mean_thou: tuple[float, ...]
    u_from_mean_thou: tuple[float, ...]
    range_thou: float
    u_range_thou: float
    own_u_thou: tuple[float, ...]
    spoiler: Spoiler | None
    asked_k: float | None = None

    @property
    def k(self) -> float:
        """Coverage factor of the mean and of differences inside the set."""
        return coverage_factor_of(self.shafts, self.asked_k)

    @property
    def mean(self) -> ShownSpine:
        """Mean spine with its uncertainty; the mean of the pounds too if all shafts have them."""
        pounds = [shaft.older_lb for shaft in self.shafts if shaft.older_lb is not None]
        if len(pounds) < len(self.shafts):
            return ShownSpine(self.mean_thou, self.u_mean_thou, least_freedom(self.shafts))
        mean_lb = sum(pounds) / len(pounds)
        u_lb = mean_lb * self.u_mean_thou / self.mean_thou
        return ShownSpine(self.mean_thou, self.u_mean_thou, least_freedom(self.shafts), mean_lb, u_lb)

    @cached_property
    def noise_thou(self) -> float:
        """Range that as many equal shafts would stay below in 95 of 100 cases, from the gauge's noise alone, thou."""
        return range_by_noise(np.array(self.own_u_thou))

    @property
    def is_told_apart(self) -> bool:
        """True if the shafts differ by more than noise would make of equal shafts."""
        return self.range_thou > self.noise_thou

    def at_target_mm(self, distance_m: float) -> float:
        """Estimate how far the range moves arrows apart at a distance.

        Parameters
        ----------
        distance_m : float
            Distance to the target, m.

        Returns
        -------
        float
            Distance between the arrows on the face, mm.
        """
        return at_target_mm(self.range_thou, distance_m)

    def apart(self, i: int) -> bool:
        """Return True if a shaft differs significantly from the mean of its set.

        Parameters
        ----------
        i : int
            Its place in `shafts`.

        Returns
        -------
        bool
            True if the difference exceeds its expanded uncertainty.
        """
        return abs(self.from_mean_thou[i]) > self.k * self.u_from_mean_thou[i]


def least_freedom(shafts: Sequence[StockShaft]) -> float | None:
    """Return the fewest degrees of freedom among shafts: on the safe side for what they have together.

    Parameters
    ----------
    shafts : Sequence[StockShaft]
        The shafts.

    Returns
    -------
    float | None
        Degrees of freedom, None where all are infinite or unknown.
    """
    return min((shaft.dof_spine for shaft in shafts if shaft.dof_spine is not None), default=None)


def coverage_factor_of(shafts: Sequence[StockShaft], asked_k: float | None) -> float:
    """Return the coverage factor of what shafts have together: of their mean and of differences between them.

    Parameters
    ----------
    shafts : Sequence[StockShaft]
        The shafts.
    asked_k : float | None
        Coverage factor that was asked for, None for 95 %.

    Returns
    -------
    float
        The factor asked for, or that of the shaft with the fewest degrees of freedom.
    """
    return Coverage(factor=asked_k).k(least_freedom(shafts))


def review(shafts: Sequence[StockShaft], results: Sequence[MemberResult], asked_k: float | None = None) -> Review:
    """Review a set of two shafts or more.

    Parameters
    ----------
    shafts : Sequence[StockShaft]
        The shafts, in any order.
    results : Sequence[MemberResult]
        Their results, in the same order.
    asked_k : float | None
        Coverage factor, None for 95 % by the degrees of freedom.

    Returns
    -------
    Review
        The reviewed set.
    """
    order = sorted(range(len(shafts)), key=lambda i: (shafts[i].spine_thou, shafts[i].shaft))
    ranked = tuple(shafts[i] for i in order)
    spines = np.array([shaft.spine_thou for shaft in ranked])
    known = covariance([results[i] for i in order])
    return Review(
        shafts=ranked,
        mean_thou=float(spines.mean()),
        u_mean_thou=math.sqrt(float(known.mean())),
        from_mean_thou=tuple((spines - spines.mean()).tolist()),
        u_from_mean_thou=tuple(u_from_mean(known).tolist()),
        range_thou=float(np.ptp(spines)),
        u_range_thou=u_difference(known, 0, -1),
        own_u_thou=tuple(own_u(known).tolist()),
        spoiler=_spoiler(ranked, known, coverage_factor_of(ranked, asked_k)),
        asked_k=asked_k,
    )


def _spoiler(ranked: Sequence[StockShaft], known: np.ndarray, k: float) -> Spoiler | None:
    """Return the end shaft with the wider gap to its neighbour if that gap is significant and large, else None."""
    if len(ranked) < 3:
        return None
    gaps = [(abs(ranked[i].spine_thou - ranked[j].spine_thou), i, j) for i, j in ((0, 1), (-1, -2))]
    gap, i, j = max(gaps)
    whole = ranked[-1].spine_thou - ranked[0].spine_thou
    if gap <= k * u_difference(known, i, j) or gap < STANDS_OUT * whole:
        return None
    return Spoiler(ranked[i].shaft, ranked[i].name, whole - gap)


def alike(shaft: StockShaft, other: StockShaft, results: Sequence[MemberResult], asked_k: float | None = None) -> bool:
    """Return True if two shafts differ by no more than the expanded uncertainty of their difference.

    Parameters
    ----------
    shaft : StockShaft
        First shaft.
    other : StockShaft
        Second shaft.
    results : Sequence[MemberResult]
        Their two results, in that order.
    asked_k : float | None
        Coverage factor, None for 95 % by the degrees of freedom.

    Returns
    -------
    bool
        True if neither can be called the better match.
    """
    k = coverage_factor_of((shaft, other), asked_k)
    return abs(shaft.spine_thou - other.spine_thou) <= k * u_difference(covariance(results), 0, 1)
