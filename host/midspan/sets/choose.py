"""Choose sets from a stock: as many as the limits allow, then the tightest, with a bound on how good they could be.

One quantity alone is solved exactly (`search_one_quantity`). With several, sets are built and polished, and a small
stock is then handed to the exact programme. The bounds come from each quantity on its own, solved exactly, and from the
programme.

>>> choice = choose(np.array([[500.0], [503.0], [500.4], [503.1], [510.0]]), Limits(number=2, spine_thou=1.0))
>>> [members.tolist() for members in choice.sets], choice.is_best
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

EXACT_PAIRS = 500  # pairs of shafts that could share a set; up to here the exact programme takes seconds
THOROUGH_PAIRS = 1500  # and up to here minutes
ALL_PLACES = 24  # positions of a box to try where few shafts can be in it
ROUNDED = 1e-6  # relative accuracy to which HiGHS proves a bound


@dataclass(frozen=True)
class Choice:
    """Chosen sets, with bounds on what any other choice could reach.

    Parameters
    ----------
    sets : tuple[Index, ...]
        Row numbers of the shafts of each set, stiffest set first.
    most : int
        Upper bound on the number of sets that any choice can have.
    cost : float
        Cost of these sets (`Limits.cost`, summed over the sets).
    least_cost : float
        Lower bound on the cost of any choice with as many sets.
    """

    sets: tuple[Index, ...]
    most: int
    cost: float
    least_cost: float

    @property
    def is_best(self) -> bool:
        """True if it is proven that no choice has more sets, nor as many and tighter ones."""
        return len(self.sets) == self.most and self.gap == 0.0

    @property
    def gap(self) -> float:
        """Largest share of the cost, 0 to 1, that a better choice of as many sets could still save."""
        saved = 1 - self.least_cost / self.cost if self.cost > 0 else 0.0
        return saved if saved > ROUNDED else 0.0


def choose(values: Array, limits: Limits, *, thorough: bool = False) -> Choice:
    """Choose as many sets as the limits allow, and of those choices the tightest that is found.

    Parameters
    ----------
    values : Array
        Measured values, shape (shafts, quantities), in the order and units of `limits.quantities`.
    limits : Limits
        Size of a set, and the widest range it may have in each quantity.
    thorough : bool
        True to give larger stocks to the exact programme as well, which may take minutes.

    Returns
    -------
    Choice
        The sets and the bounds on what any choice could reach.

    Examples
    --------
    >>> choose(np.array([[500.0], [507.0], [500.4]]), Limits(number=2, spine_thou=1.0)).most
    1
    """
    points, number = values / limits.windows, limits.number
    kept = _with_company(points, number)
    sets, most, least_cost = _chosen(points[kept], limits.importance, number, thorough)
    named = [kept[members] for members in sets]
    named.sort(key=lambda members: (float(values[members, 0].mean()), members.tolist()))
    cost = total_cost(points, limits.importance, named)
    return Choice(tuple(named), most, cost, min(least_cost, cost))


def _chosen(points: Array, importance: Array, number: int, thorough: bool) -> tuple[list[Index], int, float]:
    """Return the sets, the most sets that are possible, and the least cost that as many could have."""
    if points.shape[1] == 1:
        most = _most(points, number)
        total, sets = tightest(points[:, 0], number, 1.0, most)
        return sets, most, total * float(importance[0]) if sets else 0.0
    each = least_for_each(points, importance, number)
    most = _most(points[np.isfinite(each)], number)
    built = build(points, importance, number)
    promising = [sets for sets in built if len(sets) == max(map(len, built))]
    polished = [polish(points, importance, sets) for sets in promising]
    sets = min(polished, key=lambda choice: total_cost(points, importance, choice))
    least = max(_least_cost(points, importance, number, len(sets)), least_of_all(each, number, len(sets)))
    if most > 0 and not has_pairs(points, THOROUGH_PAIRS if thorough else EXACT_PAIRS):
        proven = exact(points, importance, number, sets, most, least)
        return proven.sets, proven.most, proven.least_cost
    return sets, most, least


def _with_company(points: Array, number: int) -> Index:
    """Return the shafts that have enough others within the limits around them; the rest can be in no set."""
    kept = np.arange(len(points))
    while len(kept) >= number:
        near = cKDTree(points[kept]).query(points[kept], k=[number], p=np.inf)[0][:, 0]
        if (near <= REACH).all():
            return kept
        kept = kept[near <= REACH]
    return kept[:0]


def _most(points: Array, number: int) -> int:
    """Return an upper bound on the number of sets.

    The stock is cut where no set reaches across; in each piece every quantity alone gives a bound, and the least of
    them holds.
    """
    if not len(points):
        return 0
    order = np.argsort(points[:, 0], kind="stable")
    line = points[order]
    cuts = np.flatnonzero(np.diff(line[:, 0]) > REACH) + 1
    return sum(min(most_sets(column, number, 1.0) for column in part.T) for part in np.split(line, cuts))


def _least_cost(points: Array, importance: Array, number: int, sets: int) -> float:
    """Return a lower bound on the cost of this number of sets: the sum of what each quantity costs alone."""
    alone = (tightest(column, number, 1.0, sets)[0] for column in points.T)
    return float(sum(weight * total for weight, total in zip(importance, alone, strict=True)))


def limits_that_block(values: Array, limits: Limits) -> dict[str, float | None]:
    """Return how far each limit would have to be widened, on its own, before one set is possible.

    Exact for a small stock; in a large one slightly less might do.

    Parameters
    ----------
    values : Array
        Measured values, shape (shafts, quantities), in the order and units of `limits.quantities`.
    limits : Limits
        Limits under which no set was found.

    Returns
    -------
    dict[str, float | None]
        The limit that is needed, in its own unit, by the name of the quantity; None where widening that limit does not
        help.

    Examples
    --------
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
    """Return the least range in the first quantity of a set that fits all others; infinite if there is none."""
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
