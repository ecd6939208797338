"""Two groups of shafts compared: what differs beyond what chance and the calibrations explain.

Three questions, each with its own uncertainty. Do the kinds of shafts differ, of which the groups are samples? Then the
scatter of the shafts counts (`means`). Do these very shafts differ on average? Then only measuring counts
(`u_these_thou` of the spine). Have shafts that are in both groups changed since? Then each is compared with itself
(`pairs`).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from midspan.base.errors import ReadingsError
from midspan.sets.common_errors import CommonErrors, Indices
from midspan.sets.groups import QUANTITIES, ShaftGroup
from midspan.study.two_samples import (
    FEWEST,
    Array,
    DistributionGap,
    MeanDifference,
    SampleSummary,
    VarianceRatio,
    distribution_gap,
    paired,
    variance_ratio,
    welch,
)
from midspan.uncertainty.budget import Coverage


@dataclass(frozen=True)
class ShaftPairs:
    """Shafts that both groups have by different measurements, and how each has changed.

    Parameters
    ----------
    rows : tuple[Indices, Indices]
        Rows of the shafts in the first and in the second group, shape (shafts,).
    change : Array
        Value in the second group less value in the first, shape (shafts,).
    u_change : Array
        Standard uncertainty of each change by measuring, shape (shafts,).
    mean : MeanDifference or None
        Mean change, None of a single shaft.
    """

    rows: tuple[Indices, Indices]
    change: Array
    u_change: Array
    mean: MeanDifference | None

    def changed(self, k: float | None = None) -> NDArray[np.bool_]:
        """Return which shafts changed by more than the uncertainty of their change.

        Parameters
        ----------
        k : float or None
            Coverage factor, None for 95 %.

        Returns
        -------
        NDArray[bool]
            True for those, shape (shafts,).
        """
        found: NDArray[np.bool_] = np.abs(self.change) > Coverage(factor=k).k(None) * self.u_change
        return found


@dataclass(frozen=True)
class QuantityComparison:
    """A quantity in two groups.

    Parameters
    ----------
    quantity : str
        One of `QUANTITIES`, with its unit.
    first : SampleSummary
        The quantity in the first group.
    second : SampleSummary
        The quantity in the second group.
    means : MeanDifference
        Difference of the means, of the kinds of shafts of which the groups are samples.
    u_these : float
        Standard uncertainty of the difference of the means of these very shafts, by measuring alone.
    variances : VarianceRatio or None
        Ratio of the variances; None if a group does not scatter.
    distributions : DistributionGap
        How far the distributions lie apart.
    pairs : ShaftPairs or None
        Shafts that are in both groups, None if there are none.
    """

    quantity: str
    first: SampleSummary
    second: SampleSummary
    means: MeanDifference
    u_these: float
    variances: VarianceRatio | None
    distributions: DistributionGap
    pairs: ShaftPairs | None

    def these_differ(self, k: float | None = None) -> bool:
        """Return True if these very shafts differ on average by more than measuring explains.

        Parameters
        ----------
        k : float or None
            Coverage factor, None for 95 %.

        Returns
        -------
        bool
            True if zero lies outside of the range.
        """
        return abs(self.means.difference) > Coverage(factor=k).k(None) * self.u_these


@dataclass(frozen=True)
class GroupComparison:
    """Two groups compared, the second with the first.

    Parameters
    ----------
    first : ShaftGroup
        The group that is compared with.
    second : ShaftGroup
        The group that is compared.
    quantities : tuple[QuantityComparison, ...]
        In the order of `QUANTITIES`, without those that fewer than two shafts of a group have.
    in_both : int
        Shafts in both groups by different measurements.
    same_measurement : int
        Shafts in both groups by one and the same measurement.
    """

    first: ShaftGroup
    second: ShaftGroup
    quantities: tuple[QuantityComparison, ...]
    in_both: int
    same_measurement: int


def compare_groups(first: ShaftGroup, second: ShaftGroup, common: CommonErrors) -> GroupComparison:
    """Compare two groups of shafts.

    Parameters
    ----------
    first : ShaftGroup
        The group that is compared with.
    second : ShaftGroup
        The group that is compared.
    common : CommonErrors
        Common errors of the results of both, from `read_groups`.

    Returns
    -------
    GroupComparison
        The comparison.

    Raises
    ------
    ReadingsError
        Both groups are the same measurements (code "same_group").
    """
    if np.array_equal(np.sort(first.results), np.sort(second.results)):
        raise ReadingsError(
            f"{first.name} and {second.name} are the same measurements; name two groups, or two times",
            code="same_group",
        )
    _, here, there = np.intersect1d(first.keys, second.keys, assume_unique=True, return_indices=True)
    again = first.results[here] != second.results[there]
    pairs = here[again], there[again]
    found = (_compared(name, (first, second), pairs, common) for name in QUANTITIES)
    known = tuple(each for each in found if each is not None)
    return GroupComparison(first, second, known, int(again.sum()), int((~again).sum()))


def _compared(
    name: str, groups: tuple[ShaftGroup, ShaftGroup], pairs: tuple[Indices, Indices], common: CommonErrors
) -> QuantityComparison | None:
    """Return the comparison of a quantity, None if a group has fewer than two shafts with it."""
    known = [np.flatnonzero(np.isfinite(group.values[name])) for group in groups]
    if min(len(rows) for rows in known) < FEWEST:
        return None
    first, second = (group.values[name][rows] for group, rows in zip(groups, known, strict=True))
    u_common = _u_common(name, groups, known, common)
    gap = distribution_gap(first, second, Coverage().k(None) * u_common)
    return QuantityComparison(
        name, SampleSummary.of(first), SampleSummary.of(second), welch(first, second, u_common),
        math.hypot(u_common, *(_u_own(name, group, rows, common) for group, rows in zip(groups, known, strict=True))),
        variance_ratio(first, second), gap, _pairs(name, groups, pairs, common),
    )  # fmt: skip


def _u_common(name: str, groups: tuple[ShaftGroup, ShaftGroup], rows: Sequence[Indices], common: CommonErrors) -> float:
    """Return the standard uncertainty of a difference of means by errors that do not cancel in it.

    Of the spine by its budgets. Spread and runout have no list of causes: they are taken for wholly common to what one
    gauge measured under one calibration, which errs on the safe side. A scale errs alike for all shafts.
    """
    if name == "weight_gr":
        return 0.0
    if name == "spine_thou":
        errors = common
    else:
        errors = CommonErrors(common.maker, np.zeros((len(common.maker), 1)))
        for group, those in zip(groups, rows, strict=True):
            errors.parts[group.rows[those], 0] = np.nan_to_num(group.u_values[name][those])
    weights = np.concatenate(
        [np.full(len(those), sign / len(those)) for sign, those in zip((-1, 1), rows, strict=True)]
    )
    terms = np.concatenate([group.rows[those] for group, those in zip(groups, rows, strict=True)])
    return errors.u_of_sum(terms, weights)


def _u_own(name: str, group: ShaftGroup, rows: Indices, common: CommonErrors) -> float:
    """Return the standard uncertainty of a mean by each measurement's own errors."""
    squares = np.nan_to_num(group.u_values[name][rows]) ** 2
    if name == "spine_thou":
        squares = np.maximum(squares - common.u[group.rows[rows]] ** 2, 0.0)
    return math.sqrt(squares.sum()) / len(rows)


def _pairs(
    name: str, groups: tuple[ShaftGroup, ShaftGroup], pairs: tuple[Indices, Indices], common: CommonErrors
) -> ShaftPairs | None:
    """Return how the shafts of both groups changed, None if none of them has the quantity twice."""
    first, second = (group.values[name][rows] for group, rows in zip(groups, pairs, strict=True))
    both = np.isfinite(first) & np.isfinite(second)
    if name == "weight_gr":  # a shaft that was weighed once has not changed
        both &= first != second
    if not both.any():
        return None
    rows = pairs[0][both], pairs[1][both]
    change = second[both] - first[both]
    squares = sum(np.nan_to_num(group.u_values[name][those]) ** 2 for group, those in zip(groups, rows, strict=True))
    if name == "spine_thou":
        at = groups[0].rows[rows[0]], groups[1].rows[rows[1]]
        squares += common.u_of_pairs(*at) ** 2 - common.u[at[0]] ** 2 - common.u[at[1]] ** 2
    u_change: Array = np.sqrt(np.maximum(squares, 0.0))
    if len(change) < FEWEST:
        return ShaftPairs(rows, change, u_change, None)
    u_common = _u_common(name, groups, rows, common)
    return ShaftPairs(rows, change, u_change, paired(first[both], second[both], u_common))
