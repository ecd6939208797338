"""Find sets by several quantities at once for a small stock, exactly: a mixed-integer programme solved by HiGHS.

Each set is named after its stiffest shaft, so that no two solutions are the same sets in another order: x[i, j] says
that shaft j is in the set whose stiffest is i, and the ends of that set in each quantity are counted from shaft i.
Values are in multiples of their limits, as in `search_heuristic`. The search stops after a number of nodes, not a time,
so that the same stock gives the same sets on any machine; what was not proven by then remains a bound.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from midspan.sets.limits import Array
from midspan.sets.search_heuristic import REACH, total_cost
from midspan.sets.search_one_quantity import Index

NODES = 2000


def has_pairs(points: Array, more_than: int) -> bool:
    """Return True if many pairs of shafts could share a set: their number is the size of the programme.

    Parameters
    ----------
    points : Array
        Values in multiples of their limits, shape (shafts, quantities).
    more_than : int
        Number of pairs to exceed.

    Returns
    -------
    bool
        True if there are more pairs than that.

    Examples
    --------
    >>> has_pairs(np.array([[0.0], [0.5], [1.4]]), 1), has_pairs(np.array([[0.0], [0.5], [1.4]]), 2)
    (True, False)
    """
    pairs = 0
    for i, point in enumerate(points):
        pairs += int((np.abs(points[i + 1 :] - point) <= REACH).all(axis=1).sum())
        if pairs > more_than:
            return True
    return False


@dataclass(frozen=True)
class Proven:
    """Sets with what the programme has proven.

    Parameters
    ----------
    sets : list[Index]
        Row numbers of the shafts of each set.
    most : int
        Upper bound on the number of sets.
    least_cost : float
        Lower bound on the cost of as many sets.
    """

    sets: list[Index]
    most: int
    least_cost: float


def exact(points: Array, importance: Array, number: int, known: list[Index], most: int, least_cost: float) -> Proven:
    """Find the most sets, and of these choices the tightest.

    Parameters
    ----------
    points : Array
        Values in multiples of their limits, spine first, shape (shafts, quantities).
    importance : Array
        Weight of each quantity, shape (quantities,).
    number : int
        Shafts in a set.
    known : list[Index]
        Sets found otherwise; the answer is never worse.
    most : int
        Upper bound on the number of sets.
    least_cost : float
        Lower bound on the cost of as many sets as known.

    Returns
    -------
    Proven
        The sets with both bounds.

    Examples
    --------
    >>> points = np.array([[0.0, 0.0], [0.1, 0.9], [0.2, 1.2], [0.3, 0.9]])
    >>> found = exact(points, np.array([1.0, 0.1]), 2, [np.array([0, 1])], 2, 0.0)
    >>> [members.tolist() for members in found.sets], found.most
    ([[0, 1], [2, 3]], 2)
    """
    programme = _Programme(points, importance, number)
    sets = known
    if len(known) < most:
        found, bound = programme.solve(-programme.opens, at_least=len(known) + 1)
        most = len(known) if bound is None else int(min(most, 1e-6 - bound))
        if found:
            sets, least_cost = found, 0.0
    if not sets:
        return Proven([], most, 0.0)
    found, bound = programme.solve(programme.costs, exactly=len(sets), at_most=total_cost(points, importance, sets))
    better = found and total_cost(points, importance, found) < total_cost(points, importance, sets)
    sets = found if better else sets
    reached = total_cost(points, importance, sets)
    least_cost = reached if bound is None else min(reached, max(least_cost, bound))
    return Proven(sets, most, least_cost)


class _Programme:
    """The columns and rows of the programme.

    Columns are x[i, j] for each pair that may share a set, where x[i, i] means that set i exists, then the ranges of
    set i: one column for spine, in which i is the lowest itself, and two for each further quantity, down and up.
    """

    def __init__(self, points: Array, importance: Array, number: int) -> None:
        self.order = np.argsort(points[:, 0], kind="stable")
        self.points, self.number = points[self.order], number
        count, quantities = points.shape
        first, second = np.triu_indices(count)
        fits = (np.abs(self.points[first] - self.points[second]) <= REACH).all(axis=1)
        self.first, self.second = first[fits], second[fits]
        self.pairs, ways = len(self.first), 2 * quantities - 1
        self.columns = self.pairs + ways * count
        self.opens = np.zeros(self.columns)
        self.opens[: self.pairs] = self.first == self.second
        self.costs = np.zeros(self.columns)
        for way in range(ways):
            at = self.pairs + way * count
            self.costs[at : at + count] = importance[(way + 1) // 2]
        self._rows: list[LinearConstraint] = []
        self.own = self._share_out(count)
        for way in range(ways):
            self._reach(way, (way + 1) // 2, count)
        self._within(quantities, count)

    def _share_out(self, count: int) -> Index:
        """Add the rows: a set has its full number or does not exist; a shaft is in at most one set, which exists.

        Returns the columns that say whether each set exists.
        """
        pair, ones = np.arange(self.pairs), np.ones(self.pairs)
        diagonal = pair[self.first == self.second]
        own = np.zeros(count, int)
        own[self.first[diagonal]] = diagonal
        self._add(np.r_[ones, -self.number * ones[:count]], np.r_[self.first, np.arange(count)], np.r_[pair, own], 0, 0)
        self._add(ones, self.second, pair, 0, 1)
        other = np.flatnonzero(self.first != self.second)
        row = np.arange(len(other))
        there = own[self.first[other]]
        self._add(np.r_[ones[other], -ones[other]], np.r_[row, row], np.r_[other, there], -np.inf, 0)
        return own

    def _reach(self, way: int, quantity: int, count: int) -> None:
        """Add the rows: the range of set i reaches as far as each shaft in it."""
        sign = 1.0 if way == 0 or way % 2 else -1.0
        away = sign * (self.points[self.second, quantity] - self.points[self.first, quantity])
        pair = np.flatnonzero(away > 0)
        row, column = np.arange(len(pair)), self.pairs + way * count + self.first[pair]
        self._add(np.r_[away[pair], -np.ones(len(pair))], np.r_[row, row], np.r_[pair, column], -np.inf, 0)

    def _within(self, quantities: int, count: int) -> None:
        """Add the rows: down and up together keep the limit, and are 0 for a set that does not exist."""
        row, ones = np.arange(count), np.ones(count)
        for quantity in range(1, quantities):
            down, up = (self.pairs + way * count + row for way in (2 * quantity - 1, 2 * quantity))
            self._add(np.r_[ones, ones, -REACH * ones], np.r_[row, row, row], np.r_[down, up, self.own], -np.inf, 0)

    def _add(self, values: Array, rows: Index, columns: Index, low: float, high: float) -> None:
        """Add rows to the programme, if there are any, between two bounds."""
        shape = (int(rows.max(initial=-1)) + 1, self.columns)
        if shape[0]:
            matrix = csr_array((values, (rows, columns)), shape)
            self._rows.append(LinearConstraint(matrix, low, high))

    def solve(
        self, objective: Array, *, at_least: int = 0, exactly: int | None = None, at_most: float = np.inf
    ) -> tuple[list[Index], float | None]:
        """Return the sets of least objective and the bound that is left; no sets and None if no choice is possible."""
        low, high = (at_least, np.inf) if exactly is None else (exactly, exactly)
        also = [LinearConstraint(self.opens, low, high)]
        if np.isfinite(at_most):
            also.append(LinearConstraint(self.costs, -np.inf, at_most + 1e-9))
        integral = np.zeros(self.columns)
        integral[: self.pairs] = 1
        done = milp(
            objective, integrality=integral, bounds=Bounds(0, 1), constraints=[*self._rows, *also],
            options={"node_limit": NODES, "mip_rel_gap": 1e-9},
        )  # fmt: skip
        if done.status == 2:
            return [], None
        bound = -np.inf if done.mip_dual_bound is None else float(done.mip_dual_bound)
        return ([] if done.x is None else self._sets(done.x)), bound

    def _sets(self, solution: Array) -> list[Index]:
        """Return the sets of a solution as row numbers."""
        taken = solution[: self.pairs] > 0.5
        first, second = self.first[taken], self.second[taken]
        return [np.sort(self.order[second[first == i]]) for i in np.unique(first)]
