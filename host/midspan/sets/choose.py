"""Choosing sets from a stock: as many as the limits allow, then the tightest, and how far that is from the best.

One quantity alone is solved exactly (`search_one_quantity`). Several are built and polished, a small stock is then
given to the exact programme. What no choice can exceed is known from each quantity on its own, exactly, and from the
programme.

>>> choice = choose(np.array([[500.0], [503.0], [500.4], [503.1], [510.0]]), Limits(number=2, spine_thou=1.0))
>>> [one.tolist() for one in choice.sets], choice.is_best
([[0, 2], [1, 3]], True)
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from midspan.sets.limits import Array, Limits
from midspan.sets.search_bounds import least_for_each, least_of_all
from midspan.sets.search_exact import exact, has_pairs
from midspan.sets.search_exchange import polish
from midspan.sets.search_heuristic import REACH, around_first, build, total_cost
from midspan.sets.search_one_quantity import Index, most_sets, tightest

EXACT_PAIRS = 500  # of shafts that could share a set: up to here the programme takes seconds
THOROUGH_PAIRS = 1500  # and up to here minutes
ALL_PLACES = 24  # of a box, where few shafts can be in it
ROUNDED = 1e-6  # to which HiGHS proves a bound


@dataclass(frozen=True)
class Choice:
    """Sets as indices of shafts, stiffest set first; no choice has more than `most`, none of as many costs less."""

    sets: tuple[Index, ...]
    most: int
    cost: float
    least_cost: float

    @property
    def is_best(self) -> bool:
        """Whether it is proven that no choice has more sets, nor as many and tighter ones."""
        return len(self.sets) == self.most and self.gap == 0.0

    @property
    def gap(self) -> float:
        """The part of the cost that a better choice of as many sets may save at most, from 0 to 1."""
        saved = 1 - self.least_cost / self.cost if self.cost > 0 else 0.0
        return saved if saved > ROUNDED else 0.0


def choose(values: Array, limits: Limits, *, thorough: bool = False) -> Choice:
    """Sets from values [shafts, limited quantities] in the order and units of limits.quantities."""
    points, number = values / limits.windows, limits.number
    kept = _with_company(points, number)
    sets, most, least_cost = _chosen(points[kept], limits.importance, number, thorough)
    named = [kept[one] for one in sets]
    named.sort(key=lambda one: (float(values[one, 0].mean()), one.tolist()))
    cost = total_cost(points, limits.importance, named)
    return Choice(tuple(named), most, cost, min(least_cost, cost))


def _chosen(points: Array, importance: Array, number: int, thorough: bool) -> tuple[list[Index], int, float]:
    if points.shape[1] == 1:
        most = _most(points, number)
        total, sets = tightest(points[:, 0], number, 1.0, most)
        return sets, most, total * float(importance[0]) if sets else 0.0
    each = least_for_each(points, importance, number)
    most = _most(points[np.isfinite(each)], number)
    built = build(points, importance, number)
    promising = [sets for sets in built if len(sets) == max(map(len, built))]
    polished = [polish(points, importance, sets) for sets in promising]
    sets = min(polished, key=lambda one: total_cost(points, importance, one))
    least = max(_least_cost(points, importance, number, len(sets)), least_of_all(each, number, len(sets)))
    if most > 0 and not has_pairs(points, THOROUGH_PAIRS if thorough else EXACT_PAIRS):
        proven = exact(points, importance, number, sets, most, least)
        return proven.sets, proven.most, proven.least_cost
    return sets, most, least


def _with_company(points: Array, number: int) -> Index:
    """Shafts that have enough others within the limits of themselves; the rest can be in no set."""
    kept = np.arange(len(points))
    while len(kept) >= number:
        near = cKDTree(points[kept]).query(points[kept], k=[number], p=np.inf)[0][:, 0]
        if (near <= REACH).all():
            return kept
        kept = kept[near <= REACH]
    return kept[:0]


def _most(points: Array, number: int) -> int:
    """What no choice can exceed: in each stretch of spine that no set reaches across, each quantity on its own."""
    if not len(points):
        return 0
    order = np.argsort(points[:, 0], kind="stable")
    line = points[order]
    cuts = np.flatnonzero(np.diff(line[:, 0]) > REACH) + 1
    return sum(min(most_sets(column, number, 1.0) for column in part.T) for part in np.split(line, cuts))


def _least_cost(points: Array, importance: Array, number: int, sets: int) -> float:
    """What no choice of so many sets can cost less than: the sum over the quantities, each tightest on its own."""
    alone = (tightest(column, number, 1.0, sets)[0] for column in points.T)
    return float(sum(weight * total for weight, total in zip(importance, alone, strict=True)))


def limits_that_block(values: Array, limits: Limits) -> dict[str, float | None]:
    """Without any set: to what each limit alone would have to be widened for one, None where that does not help.

    Between few shafts that is the least; in a large stock somewhat less might do.

    >>> values = np.array([[500.0, 2.0], [500.5, 3.0], [507.0, 2.1]])
    >>> limits_that_block(values, Limits(number=2, spine_thou=1.0, spread_thou=0.5))
    {'spine_thou': 7.0, 'spread_thou': 1.0}
    """
    needed: dict[str, float | None] = {}
    for i, name in enumerate(limits.names):
        order = np.r_[i, np.delete(np.arange(len(limits.names)), i)]
        ratio = _narrowest((values / limits.windows)[:, order], limits.number)
        needed[name] = None if np.isinf(ratio) else float(np.ceil(ratio * limits.windows[i] * 1e4 - 1e-6) / 1e4)
    return needed


def _narrowest(points: Array, number: int) -> float:
    """Least range in the first quantity of a set that keeps within 1 in all others; infinite when there is none."""
    line = points[np.argsort(points[:, 0], kind="stable")]
    least = np.inf
    only_first = np.eye(1, points.shape[1])[0]
    for i in range(len(line) - number + 1):
        near = line[i:][(np.abs(line[i:, 1:] - line[i, 1:]) <= REACH).all(axis=1)]
        near = near[near[:, 0] < near[0, 0] + least]
        members = around_first(near, only_first, number, ALL_PLACES) if len(near) >= number else None
        if members is not None:
            least = min(least, float(np.ptp(near[members, 0])))
    return least
