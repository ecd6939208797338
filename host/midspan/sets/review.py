"""A set looked at: its spread with its own uncertainty, who stands out, and what that costs at the target.

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

from midspan.sets.difference_uncertainty import (
    MemberResult,
    covariance,
    own_u,
    range_by_noise,
    u_difference,
    u_from_mean,
)
from midspan.sets.stock import StockShaft

# Common practice, no published source: at 70 m about 7 thou of spine move an arrow by one ring of the 122 cm face, 61
# mm wide. That it grows in proportion with spine and distance is a further simplification, ours.
RING_MM, RING_THOU, RING_M = 61.0, 7.0, 70.0
STANDS_OUT = 0.25  # of a set's range that one shaft at its end makes alone; eleven even gaps would make a tenth each
K = 2.0


def at_target_mm(range_thou: float, distance_m: float) -> float:
    """About how far a range of spine moves arrows apart at a distance: an estimate without a published source.

    >>> at_target_mm(7.0, 70.0), at_target_mm(3.5, 35.0)
    (61.0, 15.25)
    """
    return RING_MM * range_thou / RING_THOU * distance_m / RING_M


@dataclass(frozen=True)
class Spoiler:
    """The shaft that makes a set wider than it need be, and the range of the set without it."""

    shaft: int
    name: str
    range_without_thou: float


@dataclass(frozen=True)
class Review:
    """A set in order of spine. `from_mean_thou` and its standard uncertainties belong to `shafts`, one each.

    `range_thou` is the softest less the stiffest, `u_range_thou` the standard uncertainty of that difference,
    `own_u_thou` what each shaft has of its own.
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

    @cached_property
    def noise_thou(self) -> float:
        """The range that as many equal shafts would stay below in 95 of 100 cases, by the gauge's noise alone."""
        return range_by_noise(np.array(self.own_u_thou))

    @property
    def is_told_apart(self) -> bool:
        """Whether the shafts differ by more than noise would make of equal ones."""
        return self.range_thou > self.noise_thou

    def at_target_mm(self, distance_m: float) -> float:
        """What the range costs at a distance, as `at_target_mm` estimates it."""
        return at_target_mm(self.range_thou, distance_m)

    def apart(self, i: int, k: float = K) -> bool:
        """Whether a shaft may be called stiffer or softer than the mean of its set."""
        return abs(self.from_mean_thou[i]) > k * self.u_from_mean_thou[i]


def review(shafts: Sequence[StockShaft], results: Sequence[MemberResult], k: float = K) -> Review:
    """Look at a set of two shafts or more; `results` are theirs, whole as the store keeps them, in the same order."""
    order = sorted(range(len(shafts)), key=lambda i: (shafts[i].spine_thou, shafts[i].shaft))
    ranked = tuple(shafts[i] for i in order)
    spines = np.array([one.spine_thou for one in ranked])
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
        spoiler=_spoiler(ranked, known, k),
    )


def _spoiler(ranked: Sequence[StockShaft], known: np.ndarray, k: float) -> Spoiler | None:
    """The shaft at the end that lies further from its neighbour, when that is clear of U and much of the range."""
    if len(ranked) < 3:
        return None
    gaps = [(abs(ranked[i].spine_thou - ranked[j].spine_thou), i, j) for i, j in ((0, 1), (-1, -2))]
    gap, i, j = max(gaps)
    whole = ranked[-1].spine_thou - ranked[0].spine_thou
    if gap <= k * u_difference(known, i, j) or gap < STANDS_OUT * whole:
        return None
    return Spoiler(ranked[i].shaft, ranked[i].name, whole - gap)


def alike(one: StockShaft, other: StockShaft, results: Sequence[MemberResult], k: float = K) -> bool:
    """Whether two shafts are closer in spine than the uncertainty of their difference: then neither is the better."""
    return abs(one.spine_thou - other.spine_thou) <= k * u_difference(covariance(results), 0, 1)
