"""Bounds on the cost of sets by several quantities at once.

For each shaft, the least cost of a set with it is found from boxes on a grid in all quantities but spine. A set lies
wholly in one of the boxes that are a step wider than itself, and within that box no set with the shaft is narrower in
spine than the narrowest run of neighbours that contains the shaft. Every set costs at least the mean of its shafts'
bounds, whatever else is chosen. Values are in multiples of their limits, spine first, as in `search_heuristic`.
"""

from collections.abc import Iterator

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from midspan.sets.limits import Array
from midspan.sets.search_one_quantity import Index

STEPS = {2: 24, 3: 8, 4: 4}  # of a limit, by number of quantities; finer steps give better bounds and take longer


def least_for_each(points: Array, importance: Array, number: int) -> Array:
    """Return a lower bound on the cost of a set with each of the shafts in it.

    Parameters
    ----------
    points : Array
        Values in multiples of their limits, spine first, shape (shafts, quantities).
    importance : Array
        Weight of each quantity, shape (quantities,).
    number : int
        Shafts in a set.

    Returns
    -------
    Array
        Bounds, shape (shafts,); infinite for a shaft that is in no set.

    Examples
    --------
    >>> points = np.array([[0.0, 0.0], [0.2, 0.0], [0.3, 5.0], [0.4, 0.0]])
    >>> least_for_each(points, np.array([1.0, 0.1]), 2).round(6).tolist()
    [0.2, 0.2, inf, 0.2]
    """
    line = np.argsort(points[:, 0], kind="stable")
    least = np.full(len(points), np.inf)
    for box, extra in _boxes(points, importance, number, line, 1):
        spine = points[box, 0]
        run = spine[number - 1 :] - spine[: len(box) - number + 1]
        run = np.where(run <= 1 + 1e-9, run, np.inf)
        padded = np.pad(run, number - 1, constant_values=np.inf)
        with_each = sliding_window_view(padded, number).min(axis=1)
        least[box] = np.minimum(least[box], with_each + extra)
    return least


def _boxes(
    points: Array, importance: Array, number: int, inside: Index, quantity: int
) -> Iterator[tuple[Index, float]]:
    """Yield boxes with enough shafts, in order of spine, each with the cost of fitting in no narrower box."""
    if quantity == points.shape[1]:
        yield inside, 0.0
        return
    steps = STEPS[points.shape[1]]
    column = points[inside, quantity] * steps
    for low in np.unique(np.floor(column)):
        # Only the second quantity weighs enough to make narrow boxes worth telling from wide boxes.
        for width in range(1, steps + 1) if quantity == 1 else (steps,):
            held = inside[(column >= low) & (column <= low + width + 1 + 1e-9)]
            if len(held) >= number:
                extra = (width - 1) / steps * float(importance[quantity]) if quantity == 1 else 0.0
                for box, more in _boxes(points, importance, number, held, quantity + 1):
                    yield box, extra + more


def least_of_all(least: Array, number: int, sets: int) -> float:
    """Return a lower bound on the cost of a number of sets, from the cheapest shafts that could fill them.

    Parameters
    ----------
    least : Array
        Lower bound for each shaft, shape (shafts,).
    number : int
        Shafts in a set.
    sets : int
        Number of sets.

    Returns
    -------
    float
        Lower bound on their cost.

    Examples
    --------
    >>> least_of_all(np.array([0.3, 0.1, 0.1, 0.5]), 2, 1)
    0.1
    """
    return float(np.sort(least)[: sets * number].sum() / number)
