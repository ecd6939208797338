"""Outliers of a linear fit, and errors that so few values could not reveal.

Each value is compared with its prediction from a fit to the others. Several outliers are found together, so that two
do not hide each other (generalized extreme studentized deviate: B. Rosner, Technometrics 25, 165-172, 1983; in
regression S. R. Paul and K. Y. Fung, Technometrics 33, 339-348, 1991).

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

FALSE_ALARMS = 0.001  # share of clean series in which chance alone makes a value an outlier
USUAL_DOF = 2  # weight of the usual scatter, in values: a few values alone show their own scatter badly
MOST = 0.25  # largest share of outliers; with more it would not be clear which values are right


@dataclass(frozen=True)
class Outlier:
    """A value too far from its prediction.

    Parameters
    ----------
    place : int
        Index of the value.
    expected : float
        Its prediction from the other values.
    within : float
        Largest difference from the prediction that chance explains.
    rivals : tuple of Outlier
        Other values, an error of any of which would explain the same; empty if this value itself must be wrong.
    """

    place: int
    expected: float
    within: float
    rivals: tuple["Outlier", ...] = ()


@dataclass(frozen=True)
class _Deviations:
    """Deviation of each value from its prediction, and the largest that chance explains, each of shape (n,)."""

    off: Array
    allowed: Array

    @property
    def ratio(self) -> Array:
        """Deviation over the largest that chance explains."""
        ratio: Array = np.abs(self.off) / self.allowed
        return ratio

    @property
    def far(self) -> NDArray[np.bool_]:
        """True where chance does not explain the deviation."""
        return self.ratio > 1

    def predicted(self, values: Array, k: int) -> tuple[float, float]:
        """Return the prediction of value k, and the largest difference from it that chance explains."""
        return float(values[k] - self.off[k]), float(self.allowed[k])


def outliers(columns: Array, values: Array, usual: float) -> tuple[Outlier, ...]:
    """Return the outliers among values that are linear in columns, furthest first.

    Parameters
    ----------
    columns : ndarray
        Columns of the fit, shape (n, p).
    values : ndarray
        Values, any unit, shape (n,).
    usual : float
        Standard deviation that such values normally have; the scatter of the values is pooled with it.

    Returns
    -------
    tuple of Outlier
        Outliers, empty if there are none.

    References
    ----------
    B. Rosner, Technometrics 25 (1983) 165-172; S. R. Paul and K. Y. Fung, Technometrics 33 (1991) 339-348.
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
    """Return a value left out, compared again with the values kept; None if it agrees with them after all."""
    members = np.array([j for j in range(len(values)) if j == i or j not in out])
    deviations = _deviations(columns[members], values[members], usual)
    far = {
        int(members[k]): Outlier(int(members[k]), *deviations.predicted(values[members], k))
        for k in np.flatnonzero(deviations.far).tolist()
    }
    if i not in far:
        return None
    rivals = []
    for j in far.keys() - {i}:  # only a value that is far off itself can explain it
        others = members[members != j]
        if not _deviations(columns[others], values[others], usual).far.any():
            rivals.append(far[j])
    return replace(far[i], rivals=tuple(sorted(rivals, key=lambda rival: rival.place)))


def predicted(columns: Array, values: Array, i: int, out: Collection[int], usual: float) -> tuple[float, float]:
    """Return the prediction of value i from the values not in `out`.

    Parameters
    ----------
    columns : ndarray
        Columns of the fit, shape (n, p).
    values : ndarray
        Values, any unit, shape (n,).
    i : int
        Index of the value.
    out : collection of int
        Indices of values to leave out.
    usual : float
        Standard deviation that such values normally have.

    Returns
    -------
    expected : float
        The prediction.
    within : float
        Largest difference from it that chance explains, infinite if the other values do not determine it.

    Examples
    --------
    >>> round(predicted(np.ones((3, 1)), np.array([1.0, 1.0, 7.0]), 2, (), 0.01)[0], 9)
    1.0
    """
    members = np.array([j for j in range(len(values)) if j == i or j not in out])
    k = int(np.flatnonzero(members == i)[0])
    return _deviations(columns[members], values[members], usual).predicted(values[members], k)


def _deviations(columns: Array, values: Array, usual: float) -> _Deviations:
    """Return the deviations of values from their predictions, each from a fit to the others."""
    across = _across(columns)
    residual, free = values - across @ (across.T @ values), 1 - (across**2).sum(axis=1)
    testable = free > RANK_TOLERANCE
    off = np.divide(residual, free, out=np.zeros_like(residual), where=testable)
    dof = len(values) - across.shape[1] - 1 + USUAL_DOF
    rest = np.maximum((residual**2).sum() - residual * off, 0.0)
    scatter = np.sqrt((rest + USUAL_DOF * usual**2) / dof)
    share = stdtrit(dof, 1 - FALSE_ALARMS / 2 / len(values))
    return _Deviations(
        off, np.divide(share * scatter, np.sqrt(np.maximum(free, 0)), out=np.full_like(free, np.inf), where=testable)
    )


def _across(columns: Array) -> Array:
    """Return orthonormal columns of the same fit, shape (n, rank)."""
    left, size, _ = np.linalg.svd(columns, full_matrices=False)
    across: Array = left[:, size > RANK_TOLERANCE * size[0]]
    return across


def undetectable(columns: Array, among: Sequence[int]) -> tuple[tuple[int, ...], tuple[int, int] | None]:
    """Return the values whose error no other value would contradict, and a pair whose errors look alike.

    An error of one value appears in the residuals along its column of I - H. Two errors along the same direction
    cannot be distinguished, however large they are.

    Parameters
    ----------
    columns : ndarray
        Columns of the fit, shape (n, p).
    among : sequence of int
        Indices of the values in question.

    Returns
    -------
    blind : tuple of int
        Values whose error nothing contradicts, empty if there are none.
    alike : tuple of int or None
        Two values whose errors look alike, None if there are none.

    References
    ----------
    W. Baarda, A testing procedure for use in geodetic networks (1968).

    Examples
    --------
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
