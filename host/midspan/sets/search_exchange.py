"""Make sets tighter by exchanging a shaft at the end of a set for a spare, or for a shaft of another set.

Each exchange lowers the sum of weighted ranges and keeps every set within its limits; the search ends when no exchange
near by lowers it further. Values are in multiples of their limits, as in `search_heuristic`.
"""

import numpy as np

from midspan.sets.limits import Array
from midspan.sets.search_heuristic import REACH
from midspan.sets.search_one_quantity import Index

NEIGHBOURS = 200  # nearest shafts in spine to try an exchange with
TRIES = 5_000  # shafts to try; it bounds the time, and is the same on any machine
WORTH = 1e-9  # a smaller gain is rounding
SPARE = -1


def polish(points: Array, importance: Array, sets: list[Index]) -> list[Index]:
    """Make sets tighter by exchanging shafts.

    Parameters
    ----------
    points : Array
        Values in multiples of their limits, spine first, shape (shafts, quantities).
    importance : Array
        Weight of each quantity, shape (quantities,).
    sets : list[Index]
        Row numbers of the shafts of each set.

    Returns
    -------
    list[Index]
        As many sets, with no larger sum of ranges than before.

    Examples
    --------
    >>> points = np.array([[0.0], [0.9], [0.1], [5.0], [5.8], [5.2], [5.3]])
    >>> [members.tolist() for members in polish(points, np.array([1.0]), [np.array([0, 1]), np.array([3, 4])])]
    [[0, 2], [5, 6]]
    """
    work = _Work(points, importance, sets)
    moved = 1
    while moved and work.tries < TRIES:
        moved = sum(work.improve(i) for i in range(len(sets)))
    return [np.sort(members) for members in work.sets]


class _Work:
    """The sets as they are now; `others` [shafts, low and high, quantities]: the ends of a shaft's set without it."""

    def __init__(self, points: Array, importance: Array, sets: list[Index]) -> None:
        self.points, self.importance = points, importance
        self.sets = [members.copy() for members in sets]
        self.owner = np.full(len(points), SPARE)
        self.others = np.empty((len(points), 2, points.shape[1]))
        self.order = np.argsort(points[:, 0], kind="stable")
        self.line = points[self.order, 0]
        self.tries = 0
        for i in range(len(sets)):
            self._note(i)

    def _note(self, i: int) -> None:
        """Note the members of set i, and the ends of the set without each of them."""
        members = self.sets[i]
        self.owner[members] = i
        ranked = np.sort(self.points[members], axis=0)
        values = self.points[members]
        # Without its lowest shaft a set begins at the second lowest; the same at the other end.
        self.others[members, 0] = np.where(values == ranked[0], ranked[1], ranked[0])
        self.others[members, 1] = np.where(values == ranked[-1], ranked[-2], ranked[-1])

    def improve(self, i: int) -> int:
        """Try to exchange each shaft at an end of a set; return how many were exchanged."""
        values = self.points[self.sets[i]]
        ends = np.unique(np.r_[values.argmin(axis=0), values.argmax(axis=0)])
        self.tries += len(ends)
        return sum(int(self._exchange(i, member)) for member in self.sets[i][ends].tolist())

    def _exchange(self, i: int, member: int) -> bool:
        """Make the best exchange of one shaft that lowers the cost; return False if there is none."""
        low, high = self.others[member]
        middle = np.searchsorted(self.line, (low[0] + high[0]) / 2)
        near = self.order[max(0, middle - NEIGHBOURS // 2) : middle + NEIGHBOURS // 2]
        near = near[self.owner[near] != i]
        ours = self._width(low, high, near)
        gain = (np.maximum(high, self.points[member]) - np.minimum(low, self.points[member])) @ self.importance
        change = ours @ self.importance - gain
        fits = np.asarray((ours <= REACH).all(axis=1))
        taken = near[self.owner[near] != SPARE]
        their_low, their_high = self.others[taken, 0], self.others[taken, 1]
        theirs = self._width(their_low, their_high, np.array([member]))
        before = self._width(their_low, their_high, taken)
        of_sets = self.owner[near] != SPARE
        change[of_sets] += (theirs - before) @ self.importance
        fits[of_sets] &= (theirs <= REACH).all(axis=1)
        change[~fits] = np.inf
        if not len(near) or change.min() > -WORTH:
            return False
        self._swap(i, member, int(near[change.argmin()]))
        return True

    def _width(self, low: Array, high: Array, more: Index) -> Array:
        """Return the ranges of sets that end at `low` and `high` once a shaft has joined."""
        width: Array = np.maximum(high, self.points[more]) - np.minimum(low, self.points[more])
        return width

    def _swap(self, i: int, ours: int, theirs: int) -> None:
        """Exchange a shaft of set i for a spare or a shaft of another set."""
        j = int(self.owner[theirs])
        self.sets[i][self.sets[i] == ours] = theirs
        self.owner[ours] = SPARE
        if j != SPARE:
            self.sets[j][self.sets[j] == theirs] = ours
            self._note(j)
        self._note(i)
