"""Matched sets from invented stocks: time, how far from the best possible, and sets found beside a plain way."""

import time

import numpy as np
from midspan.sets.choose import choose
from midspan.sets.limits import Limits

from bench.figure import at_least, at_most, plainly

SHAFTS = (100, 1000, 10_000)
LIMITS = (
    Limits(number=12, spine_thou=2.0),
    Limits(number=12, spine_thou=2.0, spread_thou=2.0),
    Limits(number=12, spine_thou=2.0, spread_thou=2.0, weight_gr=6.0, runout_thou=4.0),
)


def figures(_):
    """Return for each size of stock our time, sets, bound and gap, and the sets of the plain way."""
    found = []
    for limits in LIMITS:
        for shafts in SHAFTS:
            found += _figures(invented_stock(shafts)[:, : len(limits.names)], limits)
    return found


def invented_stock(shafts, seed=1):
    """Return invented spine, spread, weight and runout of a production, thou and grains."""
    rng = np.random.default_rng(seed)
    columns = rng.normal(500, 4, shafts), rng.gamma(4, 0.7, shafts), rng.normal(310, 4, shafts)
    return np.column_stack([*columns, rng.gamma(3, 1.3, shafts)])


def along_spine(values, limits):
    """Return sets by the plain way, as indices: along sorted spine from the stiffest shaft, take each that fits."""
    order, sets = np.argsort(values[:, 0], kind="stable"), []
    rows, windows = values[order].tolist(), (limits.windows * (1 + 1e-9)).tolist()
    free = [True] * len(rows)
    for i in range(len(rows)):
        members = _filled(rows, windows, free, i, limits.number) if free[i] else []
        if len(members) == limits.number:
            sets.append(order[members])
            for member in members:
                free[member] = False
    return sets


def _filled(rows, windows, free, first, number):
    """Return the first shaft and those further along that fit with all before, until there are enough or none fit."""
    members, low, high = [first], rows[first], rows[first]
    for j in range(first + 1, len(rows)):
        if len(members) == number or rows[j][0] - rows[first][0] > windows[0]:
            break
        lower, higher = list(map(min, low, rows[j])), list(map(max, high, rows[j]))
        if free[j] and all(b - a <= w for a, b, w in zip(lower, higher, windows, strict=True)):
            members.append(j)
            low, high = lower, higher
    return members


def _figures(values, limits):
    begun = time.process_time()
    choice = choose(values, limits)
    ours_s = time.process_time() - begun
    begun = time.process_time()
    plain = along_spine(values, limits)
    plain_s = time.process_time() - begun
    what = f"{len(values)} shafts, limits on {len(limits.names)}"
    rows = [
        at_most(f"sets: processor time for {what}", ours_s, "s", 10)
        if len(values) == max(SHAFTS)
        else plainly(f"sets: processor time for {what}", ours_s, "s"),
        plainly("the plain way along sorted spine", plain_s, "s"),
        at_least("sets found", len(choice.sets), "sets", len(plain)),
        plainly("sets that no choice can exceed", choice.most, "sets"),
        plainly("sets of the plain way", len(plain), "sets"),
        plainly("as many sets may be tighter by, at most", 100 * choice.gap, "%"),
    ]
    if choice.sets:
        rows.append(plainly("mean spread of a set", _mean_range(values, choice.sets), "thou"))
    if plain:
        rows.append(plainly("mean spread of a set of the plain way", _mean_range(values, plain), "thou"))
    return rows


def _mean_range(values, sets):
    return float(np.mean([np.ptp(values[members, 0]) for members in sets]))
