"""Complete a set: find shafts for those that were lost, or a second dozen like the first.

The shafts of the set stay. From the stock those are chosen with which old and new together are tightest, by the cost of
`limits`; of choices equally wide, those nearest to the mean spine of the set.
"""

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from midspan.sets.limits import Array, Limits
from midspan.sets.search_heuristic import REACH
from midspan.sets.search_one_quantity import Index

NEARNESS = 1e-4  # weight of the distance from the mean spine, relative to the same width of a set: it breaks ties only
NODES = 2000


def joining(there: Array, stock: Array, number: int, limits: Limits) -> Index:
    """Choose shafts of the stock that join a set.

    Parameters
    ----------
    there : Array
        Values of the shafts in the set, shape (shafts, quantities), in the order and units of `limits.quantities`.
    stock : Array
        Values of the shafts to choose from, in the same columns.
    number : int
        Shafts that are wanted.
    limits : Limits
        Limits that old and new shafts together have to keep.

    Returns
    -------
    Index
        Rows of `stock` that were chosen, ascending; empty if no choice of that many keeps the limits.

    Examples
    --------
    >>> dozen, stock = np.array([[500.0], [501.0]]), np.array([[498.9], [500.4], [501.8], [503.0]])
    >>> joining(dozen, stock, 2, Limits(number=4, spine_thou=2.0)).tolist()
    [1, 2]
    """
    there, stock = there / limits.windows, stock / limits.windows
    down = np.maximum(there.min(axis=0) - stock, 0.0)
    up = np.maximum(stock - there.max(axis=0), 0.0)
    possible = np.flatnonzero((np.ptp(there, axis=0) + np.maximum(down, up) <= REACH).all(axis=1))
    if len(possible) < number:
        return possible[:0]
    down, up = down[possible], up[possible]
    away = NEARNESS * limits.importance[0] * np.abs(stock[possible, 0] - there[:, 0].mean())
    inside = np.flatnonzero(~(down.any(axis=1) | up.any(axis=1)))
    if len(inside) >= number:
        return np.sort(possible[inside[np.argsort(away[inside], kind="stable")[:number]]])
    room = REACH - np.ptp(there, axis=0)
    if number == 1:
        return possible[[int(((down + up) @ limits.importance + away).argmin())]]
    return possible[_several(down, up, away, room, limits.importance, number)]


def _several(down: Array, up: Array, away: Array, room: Array, importance: Array, number: int) -> Index:
    """Choose shafts by a mixed-integer programme, empty when it has no solution.

    Its columns are the shafts, then how far down and how far up all of them reach in each quantity.
    """
    shafts, quantities = down.shape
    columns = shafts + 2 * quantities
    reach = np.zeros((2 * quantities * shafts, columns))
    for way, beyond in enumerate((*down.T, *up.T)):
        rows = np.arange(shafts) + way * shafts
        reach[rows, np.arange(shafts)] = beyond
        reach[rows, shafts + way] = -1.0
    reach = reach[(reach[:, :shafts] > 0).any(axis=1)]
    both, count = np.zeros((quantities, columns)), np.zeros(columns)
    for quantity in range(quantities):
        both[quantity, [shafts + quantity, shafts + quantities + quantity]] = 1.0
    count[:shafts] = 1.0
    constraints = [LinearConstraint(both, -np.inf, room), LinearConstraint(count, number, number)]
    constraints += [LinearConstraint(reach, -np.inf, 0.0)] if len(reach) else []
    integral = (np.arange(columns) < shafts).astype(int)
    upper = np.where(integral, 1.0, np.inf)
    done = milp(
        np.r_[away, importance, importance], integrality=integral, bounds=Bounds(0, upper), constraints=constraints,
        options={"node_limit": NODES, "mip_rel_gap": 1e-9},  # the solver's default gap would hide the tie-break
    )  # fmt: skip
    return np.flatnonzero(done.x[:shafts] > 0.5) if done.x is not None else np.zeros(0, int)


def why_none(there: Array, stock: Array, limits: Limits) -> str:
    """Return the limit that keeps the nearest single shaft of the stock out, and by how much, as words for a message.

    Parameters
    ----------
    there : Array
        Values of the shafts in the set, shape (shafts, quantities), in the order and units of `limits.quantities`.
    stock : Array
        Values of the shafts to choose from, in the same columns.
    limits : Limits
        Limits under which no shaft was found.

    Returns
    -------
    str
        Half a sentence with the quantity, the span it would have, the limit and the excess.

    Examples
    --------
    >>> why_none(np.array([[500.0]]), np.array([[503.2], [507.0]]), Limits(number=2, spine_thou=2.0))
    'with the nearest shaft the spine would span 3.200 thou, the limit is 2: 1.200 too much'
    """
    own = np.ptp(there, axis=0) > limits.windows * REACH
    if own.any():
        quantity = limits.quantities[int(own.argmax())]
        span = np.ptp(there, axis=0)[own][0]
        return f"the shafts that are left span {span:.3f} {quantity.unit} in {quantity.words} already"
    low, high = np.minimum(stock, there.min(axis=0)), np.maximum(stock, there.max(axis=0))
    beyond = (high - low) / limits.windows
    nearest = int(beyond.max(axis=1).argmin())
    if beyond[nearest].max() <= REACH:
        return "one or more shafts fit, but not so many together"
    worst = int(beyond[nearest].argmax())
    quantity, span, limit = limits.quantities[worst], (high - low)[nearest, worst], limits.windows[worst]
    return (
        f"with the nearest shaft the {quantity.words} would span {span:.3f} {quantity.unit}, the limit is {limit:g}: "
        f"{span - limit:.3f} too much"
    )
