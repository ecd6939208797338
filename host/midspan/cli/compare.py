"""`midspan compare`: groups of shafts compared: batches, sets, gauges, years."""

import json
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import ReadingsError
from midspan.cli.options import STORE, AsJson, Factor, Picture, StoreAt

if TYPE_CHECKING:
    from pathlib import Path

    from midspan.sets.groups import ShaftGroup
    from midspan.study.group_comparison import GroupComparison


class Drawn(StrEnum):
    """Quantity that the picture shows."""

    SPINE = "spine"
    SPREAD = "spread"
    RUNOUT = "runout"
    WEIGHT = "weight"


Groups = Annotated[
    list[str],
    typer.Argument(
        metavar="GROUP",
        help="Two or more of: batch:3, 1-14 (numbers of shafts), set:NAME, gauge:NAME, year:2026, order:NAME, "
        "customer:NAME, label:PART, 2025-01-01..2025-06-30; joined by ' and ', as in 'set:spring 1 and year:2025'.",
    ),
]
Details = Annotated[
    bool,
    typer.Option("--details", help="Also print the statistics: ratios of variances, and which distributions differ."),
]
OfQuantity = Annotated[Drawn, typer.Option("--of", help="Which quantity the picture shows.")]


def compare(
    groups: Groups,
    picture: Picture = None,
    of: OfQuantity = Drawn.SPINE,
    details: Details = False,
    store: StoreAt = STORE,
    as_json: AsJson = False,
    k: Factor = None,
) -> None:
    """Compare groups of shafts: what differs by more than chance and the calibrations explain.

    Every group is compared with the first. Shafts that are in both are compared with themselves: then and now.

    A batch is what was measured in one go: a session, a night, or an imported list. The number of a shaft's batch is in
    the list of its measurements: midspan shafts show 12.
    """
    from midspan.report import comparison_text
    from midspan.report.picture import check_ending
    from midspan.sets.groups import read_groups
    from midspan.sets.selection import read_selection
    from midspan.study.group_comparison import compare_groups

    if len(groups) < 2:
        raise ReadingsError("name two groups, as in: midspan compare batch:3 batch:4", code="one_group")
    if picture is not None:
        check_ending(picture)
    selections = [read_selection(text) for text in groups]
    with store.open_to_read() as opened:
        found, common = read_groups(opened, selections)
    first, *others = found
    comparisons = [compare_groups(first, other, common) for other in others]
    if picture is not None:
        _draw(picture, comparisons, of, k)
    if as_json:
        told = [comparison_text.comparison_json(comparison) for comparison in comparisons]
        print(json.dumps({"groups": comparison_text.groups_json(found), "comparisons": told}))
        return
    _print(found, comparisons, k, details=details)


def _draw(picture: "Path", comparisons: "list[GroupComparison]", of: Drawn, k: float | None) -> None:
    """Draw the comparison into a file."""
    from midspan.report.picture import paper
    from midspan.report.plot_comparison import draw_comparison

    quantity = "weight_gr" if of is Drawn.WEIGHT else f"{of.value}_thou"
    with paper(picture, 8.0, 6.5) as figure:
        draw_comparison(figure, comparisons, quantity, k)


def _print(groups: "list[ShaftGroup]", comparisons: "list[GroupComparison]", k: float | None, *, details: bool) -> None:
    """Print the tables and the sentences."""
    from midspan.report import comparison_text
    from midspan.report.result_text import console

    screen = console()
    screen.print(comparison_text.groups_table(comparisons))
    for comparison in comparisons:
        screen.print()
        for line in comparison_text.comparison_words(comparison, k):
            screen.print(line)
        if details:
            screen.print("", comparison_text.differences_table(comparison, k))
    screen.print(comparison_text.meaning_words(k))
    for line in comparison_text.left_out_words(groups):
        screen.print(line)
