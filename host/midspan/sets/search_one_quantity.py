"""Find sets by one quantity alone, exactly: the most that are possible, and the tightest choice of as many.

In the tightest choice by one quantity, no two sets overlap on its line and no set skips a shaft inside itself: of two
that overlap, the lower and the upper half of their shafts are no wider together, and a skipped shaft may replace one at
an end. So every set is a run of neighbours, and the runs are found from below by dynamic programming.
"""

import numpy as np
from numpy.typing import NDArray

from midspan.sets.limits import ROUNDING, Array

Index = NDArray[np.intp]


def most_sets(values: Array, number: int, window: float) -> int:
    """Return how many sets one quantity alone allows.

    Taking the lowest run that fits is never a mistake: it leaves the most above it.

    Parameters
    ----------
    values : Array
        The quantity, shape (shafts,).
    number : int
        Shafts in a set.
    window : float
        Widest range of a set, in the unit of the values.

    Returns
    -------
    int
        Number of sets.

    Examples
    --------
    >>> most_sets(np.array([1.0, 1.1, 1.2, 5.0, 7.0, 7.1, 7.3]), 3, 0.3)
    2
    """
    line, found, i = np.sort(values), 0, 0
    fits = line[number - 1 :] - line[: len(line) - number + 1] <= window * (1 + ROUNDING)
    while i < len(fits):
        if fits[i]:
            found, i = found + 1, i + number
        else:
            i += 1
    return found


def tightest(values: Array, number: int, window: float, sets: int) -> tuple[float, list[Index]]:
    """Return the sets with the least sum of ranges.

    Parameters
    ----------
    values : Array
        The quantity, shape (shafts,).
    number : int
        Shafts in a set.
    window : float
        Widest range of a set, in the unit of the values.
    sets : int
        Number of sets.

    Returns
    -------
    tuple[float, list[Index]]
        Least sum of ranges, infinite if so many sets are impossible; row numbers of the shafts of each set.

    Examples
    --------
    >>> total, members = tightest(np.array([1.0, 1.2, 1.25, 3.0, 3.5, 3.6]), 2, 1.0, 2)
    >>> round(total, 6), [run.tolist() for run in members]
    (0.15, [[1, 2], [4, 5]])
    """
    order = np.argsort(values, kind="stable")
    line = values[order]
    if sets * number > len(line):
        return np.inf, []
    width = line[number - 1 :] - line[: len(line) - number + 1]
    width[width > window * (1 + ROUNDING)] = np.inf
    least = np.zeros(len(line) + 1)  # least sum of ranges of i sets among the first n shafts, by n
    ends = np.zeros((sets, len(line) + 1), bool)  # True where the last of those sets ends at shaft n
    for i in range(sets):
        with_run = np.full(len(line) + 1, np.inf)
        with_run[number:] = least[: len(width)] + width
        least = np.minimum.accumulate(with_run)
        ends[i] = with_run == least
    if not np.isfinite(least[-1]):
        return np.inf, []
    return float(least[-1]), [order[run] for run in _runs(ends, number)]


def _runs(ends: NDArray[np.bool_], number: int) -> list[slice]:
    """Return the runs that make up the least sum, lowest first."""
    found, end = [], ends.shape[1] - 1
    for row in ends[::-1]:
        end = int(np.flatnonzero(row[: end + 1])[-1])
        found.append(slice(end - number, end))
        end -= number
    return found[::-1]
