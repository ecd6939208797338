"""Likely twins in invented stocks: time, different shafts that are questioned, and shafts that are found again."""

import time

import numpy as np
from midspan.sets.fingerprint import fingerprints, repeats_of, together
from midspan.sets.likeness import likely_same
from twins_rig import bound, coefficients, even, lots, matched, mixed

from bench.figure import at_least, at_most, plainly

SHAFTS = (1000, 10_000, 100_000)
STOCKS = (matched, mixed, lots, bound, even)
LARGE = 20_000  # shafts: of smaller stocks several are drawn, that a share of 1 in 1,000 shows
AGAIN = 5  # of so many shafts one is measured again
REPEATS = 30


def figures(_):
    """Return for each stock and size the share questioned wrongly, the share of repeats found, and the time."""
    found = []
    for stock in STOCKS:
        for shafts in SHAFTS:
            found += _figures(stock, shafts)
    return found


def _figures(stock, n):
    drawn = [_drawn(stock, n, seed) for seed in range(max(1, LARGE // n))]
    wrongly, share, passed_s = np.mean(drawn, axis=0)
    what = f"{n} shafts, {stock.__name__}"
    return [
        at_most(f"twins: different shafts questioned, {what}", 1000 * wrongly, "in 1,000", 1),
        at_least("found again", 100 * share, "%", 90)
        if (stock, n) in ((matched, 1000), (matched, 10_000), (mixed, 100_000))
        else plainly("found again", 100 * share, "%"),
        at_most("processor time", passed_s, "s", 10) if n == max(SHAFTS) else plainly("processor time", passed_s, "s"),
    ]


def _drawn(stock, n, seed):
    """Return for a stock the share of different shafts questioned, the share of repeats found, and the time."""
    rng = np.random.default_rng(seed)
    bar = tuple(np.full(REPEATS, value) for value in (500.0, 0.3, 0.0, 0.0))
    repeats = repeats_of([fingerprints(*coefficients(bar, rng)).traits])
    shafts = stock(rng, n)
    some = [part[: n // AGAIN] for part in shafts]
    there, again = (fingerprints(*coefficients(those, rng)) for those in (shafts, some))
    begun = time.process_time()
    alone = likely_same(there, repeats)
    passed_s = time.process_time() - begun
    both = likely_same(together([there, again]), repeats)
    found = {(i, n + i) for i in range(n // AGAIN)} & set(both.pairs)
    return len({shaft for pair in alone.pairs for shaft in pair}) / n, len(found) / (n // AGAIN), passed_s
