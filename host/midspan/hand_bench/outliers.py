"""Values that the others of a fit contradict, and what so few of them could never tell.

Each value is held against what a fit to the others makes of it. Several outliers are found at once, so that two do not
hide each other (generalized extreme studentized deviate: B. Rosner, Technometrics 25, 165-172, 1983; in regression
S. R. Paul and K. Y. Fung, Technometrics 33, 339-348, 1991).

>>> [found] = outliers(np.ones((6, 1)), np.array([3.01, 3.00, 3.02, 4.01, 3.00, 3.01]), 0.02)
>>> found.place, round(found.expected, 3), found.within < 0.15
(3, 3.008, True)
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from midspan.hand_bench.clock_fit import RANK_TOLERANCE, Array

STRAY = 0.001  # the share of clean series in which chance alone may accuse a value
USUAL_DOF = 2  # the usual scatter counts as much as this many values: a few alone tell theirs badly
MOST = 0.25  # share of the values that may be outliers; were they more, nobody could say which are the others


@dataclass(frozen=True)
class Outlier:
    """A value too far from what the others make of it: `expected`, to which chance may add or take `within`.

    Its rivals are other values of which each, were it wrong, would explain the same; without any it is wrong itself.
    """

    place: int
    expected: float
    within: float
    rivals: tuple["Outlier", ...] = ()


@dataclass(frozen=True)
class _Deviations:
    """How far each value lies from what the others make of it, and how far chance may take it; both [n]."""

    off: Array
    allowed: Array

    @property
    def ratio(self) -> Array:
        ratio: Array = np.abs(self.off) / self.allowed
        return ratio

    @property
    def far(self) -> NDArray[np.bool_]:
        return self.ratio > 1

    def predicted(self, values: Array, k: int) -> tuple[float, float]:
        """What the others make of value k, and how far chance may take it from there."""
        return float(values[k] - self.off[k]), float(self.allowed[k])


def outliers(columns: Array, values: Array, usual: float) -> tuple[Outlier, ...]:
    """The outliers among values [n] that are linear in columns [n, p], furthest first.

    `usual` is the standard deviation that such values are known to have. The scatter of the values is pooled with it.
    """
    kept, out, found = np.arange(len(values)), [], 0
    for number in range(1, int(MOST * len(values)) + 1):
        deviations = _deviations(columns[kept], values[kept], usual)
        worst = int(deviations.ratio.argmax())
        if deviations.off[worst] == 0:
            break
        found = number if deviations.ratio[worst] > 1 else found
        out.append(int(kept[worst]))
        kept = np.delete(kept, worst)
    seen = (_confirmed_outlier(i, out[:found], columns, values, usual) for i in out[:found])
    return tuple(outlier for outlier in seen if outlier is not None)


def _confirmed_outlier(i: int, out: list[int], columns: Array, values: Array, usual: float) -> Outlier | None:
    """A value that was left out, held against those that were kept; None when it goes with them after all."""
    members = np.array([j for j in range(len(values)) if j == i or j not in out])
    deviations = _deviations(columns[members], values[members], usual)
    far = {
        int(members[k]): Outlier(int(members[k]), *deviations.predicted(values[members], k))
        for k in np.flatnonzero(deviations.far).tolist()
    }
    if i not in far:
        return None
    rivals = []
    for j in far.keys() - {i}:  # only what is far off itself can explain it
        others = members[members != j]
        if not _deviations(columns[others], values[others], usual).far.any():
            rivals.append(far[j])
    return replace(far[i], rivals=tuple(sorted(rivals, key=lambda rival: rival.place)))


def predicted(columns: Array, values: Array, i: int, out: Collection[int], usual: float) -> tuple[float, float]:
    """What the values but those `out` make of value i, and how far chance may take it from there: any way if undetectable.

    >>> round(predicted(np.ones((3, 1)), np.array([1.0, 1.0, 7.0]), 2, (), 0.01)[0], 9)
    1.0
    """
    members = np.array([j for j in range(len(values)) if j == i or j not in out])
    k = int(np.flatnonzero(members == i)[0])
    return _deviations(columns[members], values[members], usual).predicted(values[members], k)


def _deviations(columns: Array, values: Array, usual: float) -> _Deviations:
    across = _across(columns)
    residual, free = values - across @ (across.T @ values), 1 - (across**2).sum(axis=1)
    testable = free > RANK_TOLERANCE
    off = np.divide(residual, free, out=np.zeros_like(residual), where=testable)
    dof = len(values) - across.shape[1] - 1 + USUAL_DOF
    rest = np.maximum((residual**2).sum() - residual * off, 0.0)
    scatter = np.sqrt((rest + USUAL_DOF * usual**2) / dof)
    share = stdtrit(dof, 1 - STRAY / 2 / len(values))
    return _Deviations(
        off, np.divide(share * scatter, np.sqrt(np.maximum(free, 0)), out=np.full_like(free, np.inf), where=testable)
    )


def _across(columns: Array) -> Array:
    """Orthonormal columns [n, rank] of the same fit."""
    left, size, _ = np.linalg.svd(columns, full_matrices=False)
    across: Array = left[:, size > RANK_TOLERANCE * size[0]]
    return across


def undetectable(columns: Array, among: Sequence[int]) -> tuple[tuple[int, ...], tuple[int, int] | None]:
    """What an error of a single value could not tell: which of these nothing contradicts, and two that deviations alike.

    An error of one value shows in the residuals along its column of I - H; two that point the same way cannot be told
    apart, however large (W. Baarda, A testing procedure for use in geodetic networks, 1968).

    >>> undetectable(np.array([[1.0, 0.0], [1.0, 0.0], [1.0, 1.0]]), range(3))
    ((2,), (0, 1))
    """
    place = np.array(among, int)
    across = _across(columns)[place]
    shows = np.eye(len(place)) - across @ across.T
    free = shows.diagonal()
    blind = free < RANK_TOLERANCE
    alike = shows**2 > (1 - RANK_TOLERANCE) * np.outer(free, free)
    alike[blind], alike[:, blind] = False, False
    pairs = place[np.argwhere(np.triu(alike, 1))].tolist()
    return tuple(place[blind].tolist()), (pairs[0][0], pairs[0][1]) if pairs else None
