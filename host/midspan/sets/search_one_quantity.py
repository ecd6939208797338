"""Sets by one quantity alone, exactly: the most that are possible, and the tightest as many.

In a choice of sets that is tightest by one quantity no two sets overlap on its line and none leaves a shaft out inside
itself: of two that overlap, the lower and the upper half of their shafts are no wider together, and a shaft left out
inside may replace one at an end. So every set is a run of neighbours, and the runs are found one by one from below
(dynamic programming).
"""

import numpy as np
from numpy.typing import NDArray

from midspan.sets.limits import ROUNDING, Array

Index = NDArray[np.intp]


def most_sets(values: Array, number: int, window: float) -> int:
    """How many sets of so many shafts one quantity alone allows.

    Taking the lowest run that fits is never a mistake: it leaves the most above it.

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
    """The least sum of ranges of so many sets, and their shafts by index; infinite, and none, when there are too few.

    >>> total, members = tightest(np.array([1.0, 1.2, 1.25, 3.0, 3.5, 3.6]), 2, 1.0, 2)
    >>> round(total, 6), [one.tolist() for one in members]
    (0.15, [[1, 2], [4, 5]])
    """
    order = np.argsort(values, kind="stable")
    line = values[order]
    if sets * number > len(line):
        return np.inf, []
    width = line[number - 1 :] - line[: len(line) - number + 1]
    width[width > window * (1 + ROUNDING)] = np.inf
    least = np.zeros(len(line) + 1)  # of so many sets among the first n shafts, by n
    ends = np.zeros((sets, len(line) + 1), bool)  # whether the last of them is the run that ends there
    for i in range(sets):
        with_run = np.full(len(line) + 1, np.inf)
        with_run[number:] = least[: len(width)] + width
        least = np.minimum.accumulate(with_run)
        ends[i] = with_run == least
    if not np.isfinite(least[-1]):
        return np.inf, []
    return float(least[-1]), [order[run] for run in _runs(ends, number)]


def _runs(ends: NDArray[np.bool_], number: int) -> list[slice]:
    """The runs by way of which the least sum came about, lowest first."""
    found, end = [], ends.shape[1] - 1
    for row in ends[::-1]:
        end = int(np.flatnonzero(row[: end + 1])[-1])
        found.append(slice(end - number, end))
        end -= number
    return found[::-1]
