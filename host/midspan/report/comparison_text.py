"""A comparison of groups of shafts: tables, sentences, and JSON."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict

import numpy as np
from rich.table import Table

from midspan.base.formatting import printable, with_uncertainty
from midspan.measurement.shown_quantities import (
    FINE_PLACES,
    QuantityText,
    across_text,
    in_shown_unit,
    meaning,
    weight_unit,
)
from midspan.sets.groups import ShaftGroup
from midspan.study.group_comparison import GroupComparison, QuantityComparison, ShaftPairs
from midspan.study.two_samples import MeanDifference, SampleSummary
from midspan.uncertainty.budget import Coverage, plain_dof

NAMES = {"spine_thou": "spine", "spread_thou": "spread around", "runout_thou": "runout", "weight_gr": "weight"}
# What a shaft is if its value is higher, and if it is lower.
HIGHER_LOWER = {
    "spine_thou": ("softer", "stiffer"), "spread_thou": ("less even around", "more even around"),
    "runout_thou": ("less straight", "straighter"), "weight_gr": ("heavier", "lighter"),
}  # fmt: skip
LISTED = 12  # shafts that changed most; JSON has all
CHANCE, UNTOLD = "more than chance explains", "not told apart"


def value_text(quantity: str, value: float, expanded: float | None = None) -> QuantityText:
    """Return a value or a difference of a quantity in the chosen unit.

    Parameters
    ----------
    quantity : str
        One of `QUANTITIES`.
    value : float
        The value, in the unit of the name.
    expanded : float or None
        What follows the ±, None for no ±.

    Returns
    -------
    QuantityText
        The text.

    Examples
    --------
    >>> str(value_text("weight_gr", 1.26, 0.4)), str(value_text("spine_thou", 1.234, 0.41))
    ('1.26 ± 0.40 gr', '1.23 ± 0.41 thou')
    """
    if quantity != "weight_gr":
        return across_text(value, expanded, FINE_PLACES if expanded is not None else 2)
    weight = in_shown_unit(value, "gr")
    if expanded is None:
        return QuantityText(f"{weight:.2f}", weight_unit())
    return QuantityText(with_uncertainty(weight, in_shown_unit(expanded, "gr"), FINE_PLACES), weight_unit())


def side_text(found: QuantityComparison, k: float | None) -> str:
    """Return on which side the second group lies, as one word or two.

    Parameters
    ----------
    found : QuantityComparison
        The comparison.
    k : float or None
        Coverage factor, None for 95 %.

    Returns
    -------
    str
        As in "softer"; "not told apart" if chance explains the difference.
    """
    if not found.means.is_beyond(found.means.expanded(k)):
        return UNTOLD
    return HIGHER_LOWER[found.quantity][0 if found.means.difference > 0 else 1]


def groups_table(comparisons: Sequence[GroupComparison]) -> Table:
    """Return what each group is like: shafts, mean, scatter and range of each quantity.

    Parameters
    ----------
    comparisons : Sequence[GroupComparison]
        Comparisons with one first group.

    Returns
    -------
    Table
        The rows, by quantity.
    """
    table = Table(box=None, pad_edge=False, header_style="bold", caption_justify="left")
    table.add_column("")
    table.add_column("group", overflow="fold")
    for heading in ("shafts", "mean", "scatter", "lowest", "highest"):
        table.add_column(heading, justify="right")
    for quantity in NAMES:
        rows: dict[str, SampleSummary] = {}
        for each in comparisons:
            for found in each.quantities:
                if found.quantity == quantity:
                    rows |= {each.first.name: found.first, each.second.name: found.second}
        for i, (name, summary) in enumerate(rows.items()):
            cells = (value_text(quantity, value) for value in (summary.mean, summary.sd, summary.low, summary.high))
            numbers = [cell.number for cell in cells]
            unit = value_text(quantity, 0.0).unit
            table.add_row(
                f"{NAMES[quantity]}, {unit}" if i == 0 else "", printable(name), str(summary.number), *numbers
            )
    table.caption = "scatter: standard deviation (two of three shafts lie within it)"
    return table


def differences_table(comparison: GroupComparison, k: float | None) -> Table:
    """Return how the second group differs from the first in each quantity.

    Parameters
    ----------
    comparison : GroupComparison
        The comparison.
    k : float or None
        Coverage factor, None for 95 %.

    Returns
    -------
    Table
        A row for each quantity.
    """
    first, second = printable(comparison.first.name), printable(comparison.second.name)
    table = Table(box=None, pad_edge=False, header_style="bold", caption_justify="left")
    table.add_column(f"{second} less {first}", overflow="fold")
    for heading in ("difference of means", f"{second} is", "ratio of variances", "scatter", "distributions"):
        table.add_column(heading, overflow="fold")
    for found in comparison.quantities:
        text = value_text(found.quantity, found.means.difference, found.means.expanded(k))
        ratio = found.variances
        wider = UNTOLD if ratio is None or not ratio.is_told else ("wider" if ratio.ratio > 1 else "narrower")
        table.add_row(
            NAMES[found.quantity], str(text), side_text(found, k),
            "-" if ratio is None else f"{ratio.ratio:.2f} ({ratio.low:.2f} to {ratio.high:.2f})", wider,
            "differ" if found.distributions.is_told else UNTOLD,
        )  # fmt: skip
    return table


def meaning_words(k: float | None) -> str:
    """Return what a ± in the sentences is.

    Parameters
    ----------
    k : float or None
        Coverage factor, None for 95 %.

    Returns
    -------
    str
        A line.
    """
    by_chance = "; where only chance is at work, about 1 difference in 20 lies beyond it" if k is None else ""
    return f"{meaning(k)}{by_chance}"


def comparison_words(comparison: GroupComparison, k: float | None) -> Iterator[str]:
    """Yield sentences on what differs and what does not.

    Parameters
    ----------
    comparison : GroupComparison
        The comparison.
    k : float or None
        Coverage factor, None for 95 %.

    Yields
    ------
    str
        A line.
    """
    first, second = printable(comparison.first.name), printable(comparison.second.name)
    for found in comparison.quantities:
        yield _difference_words(found, first, second, k)
        yield from _shape_words(found, first, second, k)
    if comparison.same_measurement:
        yield f"{_shafts(comparison.same_measurement)} in both groups by the same measurement"
    if comparison.in_both:
        yield f"{_shafts(comparison.in_both)} in both groups, measured anew: each is compared with itself"
        for found in comparison.quantities:
            if found.pairs is not None:
                yield from _pair_words(found.quantity, found.pairs, comparison.second, k)


def _difference_words(found: QuantityComparison, first: str, second: str, k: float | None) -> str:
    """Return the sentence on the means of a quantity."""
    size = value_text(found.quantity, abs(found.means.difference), found.means.expanded(k))
    side = side_text(found, k)
    if side != UNTOLD:
        return f"{second} is {side} than {first} by {size}, {CHANCE}"
    name = NAMES[found.quantity]
    if not found.these_differ(k):
        return f"{name}: no difference found between {second} and {first} ({size})"
    side = HIGHER_LOWER[found.quantity][0 if found.means.difference > 0 else 1]
    these = value_text(found.quantity, abs(found.means.difference), Coverage(factor=k).k(None) * found.u_these)
    return (
        f"{name}: these {found.second.number} shafts of {second} are on average {side} than these {found.first.number} "
        f"of {first} by {these}; two handfuls of one kind may differ as much by chance ({size})"
    )


def _shape_words(found: QuantityComparison, first: str, second: str, k: float | None) -> Iterator[str]:
    """Yield the sentence on scatter, or on how the values are spread; none if both groups are alike in that."""
    ratio, name = found.variances, NAMES[found.quantity]
    if ratio is not None and ratio.is_told:
        more = "more" if ratio.ratio > 1 else "less"
        scatter, other = (value_text(found.quantity, each.sd) for each in (found.second, found.first))
        yield f"{name}: the shafts of {second} scatter {more} than those of {first}: {scatter}, there {other}"
    elif found.distributions.is_told and side_text(found, k) == UNTOLD:
        yield (
            f"{name}: the values of {second} and {first} are spread differently, though mean and scatter agree: look "
            "at them with --picture"
        )


def _pair_words(quantity: str, pairs: ShaftPairs, group: ShaftGroup, k: float | None) -> Iterator[str]:
    """Yield sentences on how shafts that are in both groups changed."""
    name, told = NAMES[quantity], pairs.changed(k)
    mean = "" if pairs.mean is None else f"{_mean_change(quantity, pairs.mean, k)}; "
    colon = ":" if told.any() else ""
    yield f"  {name}: {mean}{told.sum()} of {len(told)} changed by more than its ±{colon}"
    order = [i for i in np.argsort(-np.abs(pairs.change)) if told[i]]
    for i in order[:LISTED]:
        row = pairs.rows[1][i]
        text = value_text(quantity, pairs.change[i], Coverage(factor=k).k(None) * pairs.u_change[i])
        side = HIGHER_LOWER[quantity][0 if pairs.change[i] > 0 else 1]
        yield f"    shaft {printable(f'{group.shafts[row]} {group.labels[row]}'.strip())}: {text}, {side}"
    if len(order) > LISTED:
        yield f"    and {len(order) - LISTED} more, all of them with: --json"


def _mean_change(quantity: str, mean: MeanDifference, k: float | None) -> str:
    """Return the words on a mean change."""
    text = value_text(quantity, abs(mean.difference), mean.expanded(k))
    if not mean.is_beyond(mean.expanded(k)):
        return f"no change found on average ({text})"
    side = HIGHER_LOWER[quantity][0 if mean.difference > 0 else 1]
    return f"they became {side} by {text} on average, {CHANCE}"


def left_out_words(groups: Sequence[ShaftGroup]) -> Iterator[str]:
    """Yield how many shafts each group lacks, and why.

    Parameters
    ----------
    groups : Sequence[ShaftGroup]
        The groups.

    Yields
    ------
    str
        A line for each group that lacks shafts.
    """
    for group in groups:
        if group.left_out:
            why = "; ".join(f"{number} {reason}" for reason, number in group.left_out.items())
            yield f"left out of {printable(group.name)}: {why}"


def _shafts(number: int) -> str:
    """Return how many shafts are, in words."""
    return "1 shaft is" if number == 1 else f"{number} shafts are"


def comparison_json(comparison: GroupComparison) -> dict[str, object]:
    """Return a comparison as plain values.

    Parameters
    ----------
    comparison : GroupComparison
        The comparison.

    Returns
    -------
    dict[str, object]
        Values that JSON can hold; each u_... is a standard uncertainty (k = 1), differences are second less first.
    """
    return {
        "first": comparison.first.name, "second": comparison.second.name, "in_both": comparison.in_both,
        "same_measurement": comparison.same_measurement,
        "quantities": {found.quantity: _quantity_json(found, comparison) for found in comparison.quantities},
    }  # fmt: skip


def groups_json(groups: Sequence[ShaftGroup]) -> list[dict[str, object]]:
    """Return groups as plain values.

    Parameters
    ----------
    groups : Sequence[ShaftGroup]
        The groups.

    Returns
    -------
    list[dict[str, object]]
        Name, how many shafts, and how many were left out by reason.
    """
    return [{"group": each.name, "shafts": len(each.keys), "left_out": dict(each.left_out)} for each in groups]


def _quantity_json(found: QuantityComparison, comparison: GroupComparison) -> dict[str, object]:
    """Return the comparison of a quantity as plain values."""
    return {
        "first": asdict(found.first), "second": asdict(found.second),
        "difference": _mean_json(found.means), "u_these_shafts": found.u_these,
        "variances": None if found.variances is None else asdict(found.variances),
        "distributions": asdict(found.distributions),
        "pairs": None if found.pairs is None else _pairs_json(found.pairs, comparison),
    }  # fmt: skip


def _mean_json(mean: MeanDifference) -> Mapping[str, float | None]:
    """Return a difference of means as plain values."""
    return {
        "difference": mean.difference, "u": mean.u, "u_scatter": mean.u_scatter, "u_calibration": mean.u_shared,
        "dof": plain_dof(mean.dof), "p": mean.p,
    }  # fmt: skip


def _pairs_json(pairs: ShaftPairs, comparison: GroupComparison) -> dict[str, object]:
    """Return the changes of shafts as plain values."""
    told, (first, second) = pairs.changed(), (comparison.first, comparison.second)
    shafts = [
        {
            "shaft_first": int(first.shafts[i]), "shaft_second": int(second.shafts[j]), "label": second.labels[j],
            "change": float(change), "u_change": float(u), "changed": bool(changed),
        }
        for i, j, change, u, changed in zip(*pairs.rows, pairs.change, pairs.u_change, told, strict=True)
    ]  # fmt: skip
    return {"mean": None if pairs.mean is None else _mean_json(pairs.mean), "shafts": shafts}
