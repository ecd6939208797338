"""Groups of shafts in one picture: their distributions, and the difference of their means with its range.

The first group is filled, the others are outlines of different line styles; colour carries nothing.
"""

from collections.abc import Sequence
from itertools import cycle
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from midspan.base.errors import OutputError
from midspan.base.formatting import printable
from midspan.measurement.shown_quantities import in_shown_unit
from midspan.report.comparison_text import NAMES, side_text, value_text
from midspan.report.picture import FAINT, INK, LIGHT
from midspan.study.group_comparison import GroupComparison, QuantityComparison
from midspan.uncertainty.budget import Coverage

LOOKS = (("-", "D"), ("--", "s"), (":", "^"), ("-.", "v"))
FEWEST_BINS, MOST_BINS = 6, 40


def draw_comparison(figure: Figure, comparisons: Sequence[GroupComparison], quantity: str, k: float | None) -> None:
    """Draw groups of shafts and how they differ in a quantity.

    Parameters
    ----------
    figure : Figure
        An empty figure.
    comparisons : Sequence[GroupComparison]
        Comparisons with one first group.
    quantity : str
        One of `QUANTITIES`.
    k : float or None
        Coverage factor of the bars, None for 95 %.

    Raises
    ------
    OutputError
        The quantity is not known of two shafts of every group (code "nothing_to_draw").
    """
    found = [_of(comparison, quantity) for comparison in comparisons]
    upper, lower = figure.subplots(2, 1, height_ratios=(2.2, 0.5 + 0.4 * sum(each.pairs is not None for each in found)))
    _distributions(upper, comparisons, quantity)
    _differences(lower, comparisons, found, k)
    figure.suptitle(_question(comparisons, found, k), fontsize=11.5)


def _of(comparison: GroupComparison, quantity: str) -> QuantityComparison:
    """Return the comparison of a quantity; raise OutputError if there is none."""
    found = next((each for each in comparison.quantities if each.quantity == quantity), None)
    if found is None:
        names = f"{comparison.first.name} and {comparison.second.name}"
        raise OutputError(
            f"{names}: {NAMES[quantity]} is not known of two shafts of each; draw another quantity",
            code="nothing_to_draw",
        )
    return found


def _question(comparisons: Sequence[GroupComparison], found: Sequence[QuantityComparison], k: float | None) -> str:
    """Return the title: the question that the picture answers, and the answer."""
    name, first = NAMES[found[0].quantity], printable(comparisons[0].first.name)
    others = [printable(each.second.name) for each in comparisons]
    answers = []
    for other, each in zip(others, found, strict=True):
        size = value_text(each.quantity, each.means.difference, each.means.expanded(k))
        answers.append(f"{other}: {side_text(each, k)} ({size})")
    verb = "Does" if len(others) == 1 else "Do"
    return f"{verb} {', '.join(others)} differ from {first} in {name}?\n{'; '.join(answers)}"


def _distributions(axes: Any, comparisons: Sequence[GroupComparison], quantity: str) -> None:
    """Draw the shares of the shafts by value."""
    groups = [comparisons[0].first, *(each.second for each in comparisons)]
    values = [_shown(quantity, group.values[quantity][np.isfinite(group.values[quantity])]) for group in groups]
    edges = _edges(values)
    for group, data, (style, marker) in zip(groups, values, cycle(LOOKS), strict=False):
        is_first = group is groups[0]
        look = {"histtype": "stepfilled", "color": LIGHT, "ec": INK} if is_first else {"histtype": "step", "color": INK}
        weights = np.full(len(data), 100 / len(data))
        axes.hist(data, edges, weights=weights, ls=style, lw=1 if is_first else 1.6, **look)
        axes.plot(
            data.mean(), 0, marker=marker, color=INK, mfc="white" if is_first else INK, ms=8, ls=style, clip_on=False,
            zorder=5, label=f"{printable(group.name)}: {len(data)} shafts, mean {data.mean():.2f}",
        )  # fmt: skip
    axes.set_ylabel("% of the shafts of a group")
    axes.set_xlabel(f"{NAMES[quantity]}, {value_text(quantity, 0.0).unit}; marks: the means")
    axes.set_ylim(bottom=0)
    axes.legend(fontsize=8, frameon=False, loc="lower center", bbox_to_anchor=(0.5, 1.0))


def _edges(values: Sequence[Any]) -> Any:
    """Return the edges of the bins: as many as the smallest group can fill."""
    every = np.concatenate(values)
    number = int(np.clip(2 * min(len(data) for data in values) ** 0.5, FEWEST_BINS, MOST_BINS))
    low, high = float(every.min()), float(every.max())
    return np.linspace(low, high, number + 1) if high > low else np.array([low - 0.5, low + 0.5])


def _differences(
    axes: Any, comparisons: Sequence[GroupComparison], found: Sequence[QuantityComparison], k: float | None
) -> None:
    """Draw the differences of the means with their ranges, and the mean change of shafts that are in both groups."""
    rows: list[tuple[str, float, float, str]] = []
    for comparison, each, (_, marker) in zip(comparisons, found, [*LOOKS[1:], LOOKS[0]] * len(found), strict=False):
        name = printable(comparison.second.name)
        rows.append((f"{name}: the kinds", each.means.difference, each.means.expanded(k), marker))
        rows.append((f"{name}: these shafts", each.means.difference, Coverage(factor=k).k(None) * each.u_these, marker))
        if each.pairs is not None and each.pairs.mean is not None:
            change = each.pairs.mean
            rows.append((f"{name}: {len(each.pairs.change)} in both", change.difference, change.expanded(k), marker))
    quantity = found[0].quantity
    for i, (_, difference, expanded, marker) in enumerate(rows):
        fill = INK if abs(difference) > expanded else "white"
        axes.errorbar(
            _shown(quantity, difference), i, xerr=_shown(quantity, expanded), fmt=marker, color=INK, mfc=fill, ms=6,
            capsize=3, lw=1,
        )  # fmt: skip
    axes.axvline(0, color=FAINT, ls="--", lw=1)
    axes.set_yticks(range(len(rows)), [name for name, *_ in rows], fontsize=8)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    bars = "bars: 95 %" if k is None else f"bars: k = {k:g}"
    axes.set_xlabel(
        f"less {printable(comparisons[0].first.name)}, {value_text(quantity, 0.0).unit}; {bars}; filled: beyond chance"
    )


def _shown(quantity: str, values: Any) -> Any:
    """Return values of a quantity, a number or an array, in the unit that people read."""
    return in_shown_unit(values, quantity.rpartition("_")[2])
