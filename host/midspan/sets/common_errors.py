"""Errors that spines of one gauge and calibration have in common: what they do to a difference of means, and of a pair.

They shift all spines of a group alike, so the mean of many shafts does not lose them. In the difference of two groups
they cancel as far as the same gauge measured both under the same calibration, and add up otherwise. A result that lists
no causes does not say which part of its uncertainty is common: all of it may be, which is the safe side for a mean. Its
own part shows in the scatter of the shafts anyway.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from midspan.sets.difference_uncertainty import MemberResult, made_by_of, shared_parts
from midspan.sets.limits import Array
from midspan.store.stored_result import CAUSES

Indices = NDArray[np.intp]
WIDTH = max(len(causes) for causes in CAUSES.values()) + 2  # and two parts of the screw


@dataclass(frozen=True)
class CommonErrors:
    """Common parts of the uncertainty of results, in the order of the results.

    Parameters
    ----------
    maker : Indices
        Number of gauge and calibration, shape (results,); results with the same number share errors.
    parts : Array
        Signed parts by cause, thou, shape (results, causes).
    """

    maker: Indices
    parts: Array

    @property
    def u(self) -> Array:
        """Standard uncertainty of each result by common errors alone, thou, shape (results,)."""
        result: Array = np.sqrt((self.parts**2).sum(axis=1))
        return result

    def u_of_sum(self, rows: Indices, weights: Array) -> float:
        """Return the standard uncertainty of a weighted sum of results by common errors alone.

        Parameters
        ----------
        rows : Indices
            Results in the sum, shape (terms,).
        weights : Array
            Weight of each, shape (terms,).

        Returns
        -------
        float
            Standard uncertainty, thou.

        References
        ----------
        JCGM 100:2008, F.1.2.3.

        Examples
        --------
        >>> same = CommonErrors(np.array([0, 0, 1]), np.array([[0.3], [0.3], [0.3]]))
        >>> same.u_of_sum(np.array([0, 1]), np.array([1.0, -1.0]))
        0.0
        >>> round(same.u_of_sum(np.array([0, 2]), np.array([1.0, -1.0])), 4)
        0.4243
        """
        makers = self.maker[rows]
        sums = np.zeros((int(makers.max(initial=-1)) + 1, self.parts.shape[1]))
        np.add.at(sums, makers, weights[:, None] * self.parts[rows])
        return float(np.sqrt((sums**2).sum()))

    def u_of_pairs(self, first: Indices, second: Indices) -> Array:
        """Return the standard uncertainty of the difference of two results by common errors alone.

        Parameters
        ----------
        first : Indices
            Results, shape (pairs,).
        second : Indices
            Results to take them from, shape (pairs,).

        Returns
        -------
        Array
            Standard uncertainties, thou, shape (pairs,).
        """
        a, b = self.parts[first], self.parts[second]
        apart = (self.maker[first] != self.maker[second])[:, None]
        squares = np.where(apart, a**2 + b**2, (a - b) ** 2)
        result: Array = np.sqrt(squares.sum(axis=1))
        return result


def common_errors(number: int, members: Iterable[tuple[int, int, MemberResult]]) -> CommonErrors:
    """Return the common errors of results, which are read one after another and not kept.

    Parameters
    ----------
    number : int
        How many results.
    members : Iterable[tuple[int, int, MemberResult]]
        Row of each result, number of its batch, and the result. Of results that name no gauge and list no causes those
        of a batch share errors.

    Returns
    -------
    CommonErrors
        The errors, in the order of the rows.
    """
    makers: dict[object, int] = {}
    maker: object
    found = CommonErrors(np.zeros(number, np.intp), np.zeros((number, WIDTH)))
    for row, batch, member in members:
        result, made_by = member.result, made_by_of(member.result)
        if made_by is not None:
            maker, parts = made_by, shared_parts(member)
        else:
            maker = (result.kind, result.gauge, result.calibration, None if result.gauge else batch)
            parts = [member.u_spine_thou]
        found.maker[row] = makers.setdefault(maker, len(makers))
        found.parts[row, : len(parts)] = parts
    return found
