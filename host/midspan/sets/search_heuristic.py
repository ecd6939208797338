"""Build sets by several quantities at once for any stock, from the stiffest shaft on.

Values are in multiples of their limits here, so a set fits when no range exceeds 1. The stiffest shaft that is left
joins a set now or never. By boxes: of the boxes around it that hold enough shafts, the one that fills up first, going
up in spine, is taken; that finds sets where few are possible. Along the line: each next shaft that still fits with
those before it is taken; that leaves more even shafts to later sets. The result is good, not the best;
`search_exchange` tightens it, and `search_bounds` bounds how far from the best it may be.
"""

import numpy as np
from numpy.typing import NDArray

from midspan.sets.limits import ROUNDING, Array
from midspan.sets.search_one_quantity import Index

PLACES = {1: 1, 2: 9, 3: 9, 4: 7}  # positions of a box along each further quantity, by number of quantities
FIRST_LOOK = 256  # nearest shafts in spine to look at first
COMPARED = 16  # boxes whose whole cost is compared
REACH = 1 + ROUNDING


def build(points: Array, importance: Array, number: int) -> list[list[Index]]:
    """Build choices of sets by both methods, from both ends of the spine.

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
    list[list[Index]]
        Four choices, each a list of sets as row numbers.

    Examples
    --------
    >>> points = np.array([[0.0, 0.0], [0.1, 5.0], [0.2, 0.3], [0.3, 5.2], [9.0, 9.0]])
    >>> [[members.tolist() for members in sets] for sets in build(points, np.array([1.0, 0.1]), 2)][0]
    [[0, 2], [1, 3]]
    """
    from_above = points * np.where(np.arange(points.shape[1]) == 0, -1.0, 1.0)
    ends = (points, from_above)
    return [_by_boxes(end, importance, number) for end in ends] + [_along(end, number) for end in ends]


def total_cost(points: Array, importance: Array, sets: list[Index]) -> float:
    """Return the sum over sets of their weighted ranges.

    Parameters
    ----------
    points : Array
        Values in multiples of their limits, shape (shafts, quantities).
    importance : Array
        Weight of each quantity, shape (quantities,).
    sets : list[Index]
        Row numbers of the shafts of each set.

    Returns
    -------
    float
        Cost, dimensionless.

    Examples
    --------
    >>> total_cost(np.array([[0.0], [0.2], [0.9]]), np.array([1.0]), [np.array([0, 1])])
    0.2
    """
    return float(sum(np.ptp(points[members], axis=0) @ importance for members in sets))


def _along(points: Array, number: int) -> list[Index]:
    """Return sets built along the line: each next shaft that still fits joins."""
    order = np.argsort(points[:, 0], kind="stable")
    rows = [tuple(row) for row in points[order].tolist()]  # taken singly, plain numbers are faster than an array's
    free, sets = [True] * len(rows), []
    for i in range(len(rows)):
        members = _filled(rows, free, i, number) if free[i] else []
        if len(members) == number:
            sets.append(np.sort(order[members]))
            for member in members:
                free[member] = False
    return sets


def _filled(rows: list[tuple[float, ...]], free: list[bool], first: int, number: int) -> list[int]:
    """Return the first row and those after it that keep within 1 of all before them, at most `number`."""
    members, low, high = [first], list(rows[first]), list(rows[first])
    for j in range(first + 1, len(rows)):
        row = rows[j]
        if len(members) == number or row[0] - rows[first][0] > REACH:
            break
        if free[j] and all(b - REACH <= x <= a + REACH for x, a, b in zip(row, low, high, strict=True)):
            members.append(j)
            low, high = list(map(min, low, row)), list(map(max, high, row))
    return members


def _by_boxes(points: Array, importance: Array, number: int) -> list[Index]:
    """Return sets built from boxes around the stiffest shaft that is left."""
    order = np.argsort(points[:, 0], kind="stable")
    line = points[order]
    end = np.searchsorted(line[:, 0], line[:, 0] + REACH, side="right")
    free = np.ones(len(line), bool)
    sets: list[Index] = []
    for i in range(len(line)):
        if not free[i]:
            continue
        near = i + np.flatnonzero(free[i : end[i]])
        near = near[(np.abs(line[near, 1:] - line[i, 1:]) <= REACH).all(axis=1)]
        members = around_first(line[near], importance, number) if len(near) >= number else None
        if members is not None:
            free[near[members]] = False
            sets.append(np.sort(order[near[members]]))
    return sets


def around_first(near: Array, importance: Array, number: int, places: int | None = None) -> Index | None:
    """Return the members of the best box that holds the first shaft.

    Parameters
    ----------
    near : Array
        Values in multiples of their limits, sorted by spine, shape (shafts, quantities).
    importance : Array
        Weight of each quantity, shape (quantities,).
    number : int
        Shafts in a set.
    places : int | None
        Positions of a box to try along each further quantity; None for the usual number.

    Returns
    -------
    Index | None
        Row numbers of the members; None if no box holds enough shafts.
    """
    look = min(FIRST_LOOK, len(near))
    while True:
        inside = _boxes(near[:look], places or PLACES[near.shape[1]])
        reached = np.cumsum(inside, axis=1, dtype=np.int32)
        full = np.flatnonzero(reached[:, -1] >= number)
        if len(full):
            return _best(near, importance, number, inside[full], reached[full])
        if look == len(near):
            return None
        look = min(4 * look, len(near))


def _boxes(near: Array, places: int) -> NDArray[np.bool_]:
    """Return the points in each of the boxes to try [boxes, points]; every box holds the first point."""
    inside = np.ones((1, len(near)), bool)
    for column in near[:, 1:].T:
        lows = np.unique(column[column <= column[0]])
        if len(lows) > places:
            lows = lows[np.linspace(0, len(lows) - 1, places).round().astype(int)]
        along = (column >= lows[:, None]) & (column <= lows[:, None] + REACH)
        inside = (inside[:, None] & along).reshape(-1, len(near))
    return inside


def _best(near: Array, importance: Array, number: int, inside: NDArray[np.bool_], reached: NDArray[np.int32]) -> Index:
    """Return the tightest members among the boxes that fill up first."""
    filled = (reached >= number).argmax(axis=1)
    first = np.argsort(near[filled, 0], kind="stable")[:COMPARED]
    choices = [np.flatnonzero(inside[box, : filled[box] + 1]) for box in first]
    return min(choices, key=lambda members: float(np.ptp(near[members], axis=0) @ importance))
