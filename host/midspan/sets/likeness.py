"""Compare fingerprints: which shafts of a stock are near, how likely a near one is the same shaft, or a stranger.

The likelihood ratio of a pair is the probability of the difference if both are one shaft, over the density of the
stock where the shaft lies. The density is a kernel estimate from the nearest shafts, as wide as these lie apart:
a stock lies in clumps (a lot of one maker), and within a clump strangers are near.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import chdtri, logsumexp

from midspan.sets.fingerprint import BOW, EVENNESS, ORDERS, QUANTITIES, SERIES, Fingerprints, Repeats
from midspan.sets.limits import Array
from midspan.sets.turning_likelihood import Waves, turned_agreement

Index = NDArray[np.int64]
SEARCHED = [0, EVENNESS, BOW]  # quantities that the search for neighbours looks at
MISSED = 1e-4  # share of shafts measured twice whose difference lies beyond what counts as agreement
CHANCE = 4e-4  # odds against two different shafts, for a likely pair: well below the promised 1 in 1,000
NEIGHBOURS = 20  # to measure the density of the stock around a shaft: enough to count, few enough to lie close
ENOUGH = 6  # shafts; fewer say nothing of how shafts differ
COPIES = 5  # most numbers of one shaft that the search allows for
MOSTLY = 0.75  # of the neighbours; if more agree, the gauge cannot tell the shafts of this stock apart
# Spread of arrow shafts at large, which counts as much as PSEUDO shafts of a stock: sizes from 150 to 1500, 1 thou of
# evenness, 0.05 mm of bow and a tenth of either in the other orders at 500. Common practice, no source.
BROAD_LOG_SPINE = np.log(10.0)
BROAD = np.array([2e-4, 2e-3, 2e-4, 1e-4, 1e-5, 1e-5])
PSEUDO = 10.0
# A kernel estimate misses the true density by a factor of some 2 either way, and where it comes out too low a stranger
# looks known: with all waves known the mean of its inverse is twice the true one (batches of tests/rigs/known_rig.py).
TOO_LOW = 2.0
_AT_ONCE = 2000  # queried shafts a block: what they need stays in the cache
TINY = 1e-30  # keeps a share of two zeros defined


@dataclass(frozen=True)
class Likeness:
    """Measurements that are likely of one shaft, and those that cannot be told from others.

    Parameters
    ----------
    pairs : tuple[tuple[int, int], ...]
        Pairs of rows that are likely one shaft, the lower row first.
    unsure : tuple[int, ...]
        Rows with a likely partner, where too many other shafts are as near.
    """

    pairs: tuple[tuple[int, int], ...]
    unsure: tuple[int, ...]


@dataclass(frozen=True)
class Nearby:
    """The nearest shafts of each queried shaft, and how they compare with it.

    Parameters
    ----------
    rows : Index
        Rows of the near shafts in the stock, shape (queries, near).
    log_same : Array
        Logarithm of the probability density of the queried shaft's fingerprint if it is this shaft, same shape.
    agrees : NDArray[np.bool_]
        True where the difference is within what one shaft shows when it is measured again, same shape.
    log_stranger : Array
        Logarithm of the density of the stock at the queried fingerprint, without the shafts that agree, (queries,).
    """

    rows: Index
    log_same: Array
    agrees: NDArray[np.bool_]
    log_stranger: Array


def neighbours(stock: Array, queries: Array, number: int) -> Index:
    """Return the nearest points of a stock.

    Parameters
    ----------
    stock : Array
        Points, shape (shafts, dimensions).
    queries : Array
        Points to look for, shape (queries, dimensions).
    number : int
        How many to return, at most the number of shafts.

    Returns
    -------
    Index
        Rows of the stock, the nearest first, shape (queries, number).
    """
    near = cKDTree(stock).query(queries, k=number)[1]
    result: Index = near.reshape(len(queries), -1)
    return result


def search_points(prints: Fingerprints, sd: Array) -> Array:
    """Return the points by which neighbours are searched, in standard deviations.

    Parameters
    ----------
    prints : Fingerprints
        Fingerprints.
    sd : Array
        Standard deviations of the seven quantities; infinite where unknown.

    Returns
    -------
    Array
        Points, shape (shafts, 3).
    """
    return prints.traits[:, SEARCHED] / sd[SEARCHED]


def compared(queries: Fingerprints, stock: Fingerprints, near: Index, variances: tuple[Array, Array]) -> Nearby:
    """Return how queried shafts compare with their nearest shafts of a stock.

    Parameters
    ----------
    queries : Fingerprints
        Shafts to be looked for.
    stock : Fingerprints
        Shafts to be compared.
    near : Index
        Rows of the nearest shafts of each, shape (queries, near).
    variances : tuple[Array, Array]
        Variances of the queries and of the stock, shape (shafts, 7) each.

    Returns
    -------
    Nearby
        Likelihoods and densities.
    """
    blocks = [
        _compared(queries.of(rows), stock, near[rows], (variances[0][rows], variances[1]))
        for rows in np.array_split(np.arange(len(near)), 1 + len(near) // _AT_ONCE)
    ]
    return Nearby(near, *(np.concatenate(column) for column in zip(*blocks, strict=True)))


def _compared(
    queries: Fingerprints, stock: Fingerprints, near: Index, variances: tuple[Array, Array]
) -> tuple[Array, NDArray[np.bool_], Array]:
    """Return what `compared` says of one block of queried shafts: likelihoods, agreement, density of strangers."""
    found = _with_stock(queries, stock, near, variances)
    return found.log_same, found.agrees, _log_stranger((queries, stock), found, variances)


def _with_stock(queries: Fingerprints, stock: Fingerprints, near: Index, variances: tuple[Array, Array]) -> _Distances:
    """Return the comparison behind `compared`."""
    of_query, of_near = variances[0][:, None], variances[1][near]
    waves = stock.waves[near]
    # Of the lesser waves a stock may show none beyond noise: what a shaft showed of them is expected again only in so
    # far as the shafts near it differ in them (regression to the mean).
    variance, true = of_query + of_near, _true_variance(waves, of_near)
    lesser = np.isin(np.arange(QUANTITIES), (0, EVENNESS, BOW), invert=True) & np.isfinite(variance)
    share = np.where(lesser, true / (true + np.where(lesser, of_near, 1.0)), 1.0)
    variance = np.where(lesser, of_query + share * of_near, variance)
    expected = waves * share[..., 1:].reshape(waves.shape)
    of_waves = variance[..., 1:].reshape(waves.shape)
    spine = (queries.log_spine[:, None] - stock.log_spine[near]) ** 2 / variance[..., 0]
    least = spine + ((np.abs(queries.waves[:, None]) - np.abs(expected)) ** 2 / of_waves).sum(axis=(2, 3))
    row, column = np.nonzero(least <= chdtri(2 * QUANTITIES - 1, MISSED))  # no turning makes others agree
    found = turned_agreement(queries.waves[row], expected[row, column], of_waves[row, column])
    log_same, squares = np.full(near.shape, -np.inf), np.full(near.shape, np.inf)
    log_same[row, column] = _log_scale(variance)[row, column] + found.log_mean - spine[row, column] / 2
    squares[row, column] = spine[row, column] + found.squares
    of_stock = _log_lesser(queries, np.where(lesser, true + of_query, np.inf)[:, 0])
    known = np.isfinite(variance)
    agrees = squares <= chdtri(known[..., 0] + 2 * known[..., 1:].sum(axis=2), MISSED)
    return _Distances(near, log_same, agrees, of_stock)


@dataclass(frozen=True)
class _Distances:
    """Rows of near shafts, densities, which of them agree, and the density of the lesser waves."""

    rows: Index
    log_same: Array
    agrees: NDArray[np.bool_]
    log_lesser: Array


def _true_variance(waves: Waves, variance: Array) -> Array:
    """Return the mean square of each part of the waves of near shafts beyond their noise, shape (queries, 1, 7)."""
    parts = np.abs(waves).reshape(*waves.shape[:2], SERIES * ORDERS) ** 2 / 2
    beyond = np.maximum((parts - np.where(np.isfinite(variance[..., 1:]), variance[..., 1:], parts)).mean(axis=1), 0.0)
    return np.concatenate([np.zeros((len(beyond), 1)), beyond], axis=1)[:, None] + TINY


def _log_scale(variance: Array) -> Array:
    """Return the logarithm of a normal density at its middle: one spine and two parts of each wave."""
    logs = np.where(np.isfinite(variance), np.log(2 * np.pi * np.where(np.isfinite(variance), variance, 1.0)), 0.0)
    return np.asarray(-logs[..., 0] / 2 - logs[..., 1:].sum(axis=-1))


def _log_lesser(queries: Fingerprints, variance: Array) -> Array:
    """Return the logarithm of the density of normal waves about zero at the waves of shafts, (queries,)."""
    squares = np.abs(queries.waves).reshape(len(queries), SERIES * ORDERS) ** 2 / variance[:, 1:]
    return np.asarray(_log_scale(variance) - squares.sum(axis=1) / 2)


def _log_stranger(prints: tuple[Fingerprints, Fingerprints], found: _Distances, spread: tuple[Array, Array]) -> Array:
    """Return the logarithm of the density of a stock, and of shafts at large, at queried shafts, (queries,)."""
    queries, stock = prints
    others = ~found.agrees | (found.agrees.mean(axis=1) > MOSTLY)[:, None]
    number = np.maximum(others.sum(axis=1), 1)
    narrower = number ** (-2 / (len(SEARCHED) + 1 + 4))  # Scott's rule for four quantities
    kernels, around = np.zeros(found.rows.shape), np.zeros(len(queries))
    noise = spread[0][:, None] + spread[1][found.rows]
    for column in SEARCHED:
        known = np.isfinite(noise[..., column])
        away = queries.traits[:, column, None] - stock.traits[found.rows, column]
        width = narrower * (away**2 * (others & known)).sum(axis=1) / number
        kernel = np.where(known, np.maximum(width[:, None], noise[..., column]), np.inf)
        kernels += _log_normal(away, kernel)
        if column:  # an amplitude r is a ring of 2 pi r, and of the kernel's width where r is less
            ring = np.sqrt(queries.traits[:, column] ** 2 + kernel[:, 0])
            around -= np.where(known[:, 0], np.log(2 * np.pi * np.where(known[:, 0], ring, 1.0)), 0.0)
    kernels += _log_between(prints, found.rows, others, spread)
    known_all: NDArray[np.bool_] = np.asarray(np.isfinite(noise).all(axis=1))
    lesser = found.log_lesser + known_all[:, 1:].mean(axis=1) * np.log(TOO_LOW) - np.log(len(stock))
    of_stock = logsumexp(np.where(others, kernels, -np.inf), axis=1) + around + lesser
    weight = len(stock) / (len(stock) + PSEUDO)
    at_large = _log_at_large(queries, np.where(known_all, spread[0], np.inf))
    return np.asarray(np.logaddexp(np.log(weight) + of_stock, np.log(1 - weight) + at_large))


def _log_normal(away: Array, variance: Array) -> Array:
    """Return the logarithm of a normal density, 0 where the variance is infinite."""
    known = np.isfinite(variance)
    usable = np.where(known, variance, 1.0)
    return np.asarray(np.where(known, -np.log(2 * np.pi * usable) / 2 - away**2 / usable / 2, 0.0))


def _log_between(
    prints: tuple[Fingerprints, Fingerprints], near: Index, others: NDArray[np.bool_], variances: tuple[Array, Array]
) -> Array:
    """Return the logarithm of a kernel in the angle between bow and soft side over an even one, (queries, near)."""
    (mine, u_mine), (all_of, u_all) = (_between(*pair) for pair in zip(prints, variances, strict=True))
    theirs, noise = all_of[near], u_mine[:, None] ** 2 + u_all[near] ** 2
    away = np.stack([mine[:, None] - theirs, mine[:, None] + theirs, 2 * np.pi - mine[:, None] - theirs])
    number = np.maximum(others.sum(axis=1), 1)
    width = (away[0] ** 2 * others).sum(axis=1) / number * number ** (-2 / 8)
    kernel = np.maximum(width[:, None], noise)
    folded = np.exp(-(away**2) / kernel / 2).sum(axis=0) / np.sqrt(2 * np.pi * kernel)  # on 0 to pi; even is 1 / pi
    return np.asarray(np.where(kernel < 1.0, np.log(np.pi * np.maximum(folded, 1e-300)), 0.0))


def _between(prints: Fingerprints, variance: Array) -> tuple[Array, Array]:
    """Return the angle between twice the bow's direction and the soft side, 0 to pi, and its u, (shafts,) each.

    End for end a shaft is its mirror image, so the sign of the angle does not count.
    """
    uneven, bow = prints.waves[:, 0, 1], prints.waves[:, 1, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        u = np.sqrt(variance[:, EVENNESS] / np.abs(uneven) ** 2 + 4 * variance[:, BOW] / np.abs(bow) ** 2)
    return np.abs(np.angle(uneven * np.conj(bow) ** 2)), np.where(u < np.pi, u, np.pi)


def _log_at_large(queries: Fingerprints, variance: Array) -> Array:
    """Return the logarithm of the density of arrow shafts at large at fingerprints, (shafts,)."""
    of_waves = np.concatenate([np.full((len(queries), 1), np.inf), BROAD**2 + variance[:, 1:]], axis=1)
    return np.asarray(_log_lesser(queries, of_waves) - np.log(BROAD_LOG_SPINE))


def likely_same(prints: Fingerprints, repeats: Repeats) -> Likeness:
    """Find rows that are likely of one shaft.

    Parameters
    ----------
    prints : Fingerprints
        Fingerprints of all measurements under one calibration.
    repeats : Repeats
        How well they repeat.

    Returns
    -------
    Likeness
        Likely pairs, and rows that cannot be told from others.
    """
    every = tuple(range(len(prints)))
    if len(prints) <= ENOUGH:
        return Likeness((), every)
    variance = prints.within(repeats)
    points = search_points(prints, np.sqrt(2 * repeats.variance))
    reach = np.sqrt(chdtri(len(SEARCHED), MISSED))
    near = _others(points, NEIGHBOURS)
    agree = _near_enough(points, near, reach)
    if agree.mean() > MOSTLY:
        return Likeness((), every)
    copies = 1 + agree.sum() / len(prints)
    if copies >= 1.5:  # a stock measured on many nights: look further, past the copies, to other shafts
        near = _others(points, round(NEIGHBOURS * min(copies, COPIES)))
        agree = _near_enough(points, near, reach)
    rows: Index = np.flatnonzero(agree.any(axis=1))
    if not len(rows):
        return Likeness((), ())
    found = compared(prints.of(rows), prints, near[rows], (variance[rows], variance))
    ratio = found.log_same - found.log_stranger[:, None] - np.log(len(prints))
    cannot = found.agrees.mean(axis=1) > MOSTLY
    return _sorted_out(rows, found, np.where(cannot[:, None], -np.inf, ratio))


def _sorted_out(rows: Index, found: Nearby, log_odds: Array) -> Likeness:
    """Return the pairs whose odds are large seen from both sides, and the rows that agree with others only."""
    which, column = np.nonzero(found.agrees)
    mine, other = rows[which], found.rows[which, column]
    odds = dict(zip(zip(mine.tolist(), other.tolist(), strict=True), log_odds[which, column].tolist(), strict=True))
    told = {pair: min(value, odds.get((pair[1], pair[0]), value)) >= -np.log(CHANCE) for pair, value in odds.items()}
    pairs = {(min(pair), max(pair)) for pair, likely in told.items() if likely}
    return Likeness(tuple(sorted(pairs)), tuple(sorted({pair[0] for pair, likely in told.items() if not likely})))


def _others(points: Array, number: int) -> Index:
    """Return this number of nearest others of each point, shape (shafts, number)."""
    number = min(number, len(points) - 1)
    near = neighbours(points, points, number + 1)
    others = near != np.arange(len(near))[:, None]
    others[others.all(axis=1), -1] = False  # among equal shafts the search may not return the shaft itself
    result: Index = near[others].reshape(-1, number)
    return result


def _near_enough(points: Array, near: Index, reach: float) -> NDArray[np.bool_]:
    """Return which neighbours may agree, by what the search looked at alone."""
    squares = sum((column[near] - column[:, None]) ** 2 for column in points.T)
    return np.asarray(squares <= reach**2)
