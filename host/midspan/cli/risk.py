"""`midspan risk`: what a decision rule costs."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, get_args

import typer

from midspan.cli.options import AsJson

if TYPE_CHECKING:
    from rich.console import Console

    from midspan.decision.bands import DecisionRule, Kind
    from midspan.decision.risk import Risks


def risk(
    bands: Annotated[Path, typer.Option("--bands", help="Tolerance bands with their decision rule (TOML).")],
    process_mean: Annotated[float, typer.Option(min=50, max=5000, help="Mean spine of the stock, thou.")],
    process_sd: Annotated[float, typer.Option(min=1e-3, max=1000, help="Standard deviation of its true spines, thou.")],
    u: Annotated[float, typer.Option("--u", min=1e-3, max=1000, help="Standard uncertainty of a spine (k = 1), thou.")],
    u_renewed: Annotated[
        float | None,
        typer.Option(min=0, max=1000, help="Part of u that measuring again renews (scatter and zeros), thou."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show what your decision rule costs.

    How many bad shafts it lets in and how many good ones it turns away, beside the other rules of JCGM 106.
    """
    from midspan.decision.bands import Kind, load_bands
    from midspan.decision.risk import SpineProcess, sentence, settled_by_repeat, spine_risks
    from midspan.report.result_text import console

    limits = load_bands(bands)
    rules = [limits.rule, *(_of_kind(kind, limits.rule) for kind in get_args(Kind) if kind != limits.rule.kind)]
    costs = [(rule, spine_risks(limits, rule, process_mean, process_sd, u)) for rule in rules]
    settled = None
    if u_renewed is not None:
        stock = SpineProcess(process_mean, process_sd)
        settled = settled_by_repeat(limits, limits.rule, stock, u, u_renewed) if limits.rule.leaves_doubt else 0.0
    if as_json:
        told = [{"rule": rule.model_dump(), **asdict(cost), "words": sentence(cost, rule)} for rule, cost in costs]
        told[0]["settled_by_repeat"] = settled
        print(json.dumps(told))
    else:
        _print_costs(console(), costs)
        if settled is not None and limits.rule.leaves_doubt:
            share = f"Measuring the doubtful shafts again decides {100 * settled:.0f} % of them"
            console().print(f"{share}; the others need a better calibration, another rule, or a person.")


def _of_kind(kind: "Kind", like: "DecisionRule") -> "DecisionRule":
    """Return a rule of another kind with the same guard band and factor."""
    guard = {} if kind == "simple" or like.kind == "simple" else {"guard": like.guard}
    return type(like).model_validate({"kind": kind, "coverage_factor": like.coverage_factor, **guard})


def _print_costs(screen: "Console", costs: "list[tuple[DecisionRule, Risks]]") -> None:
    """Print what each rule costs, that of the file first."""
    from rich.table import Table

    from midspan.decision.risk import sentence

    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("of 1000 shafts, by spine alone", no_wrap=True)
    for heading in ("accepted", "of these bad", "rejected", "of these good", "doubtful"):
        table.add_column(heading, justify="right")
    for i, (rule, cost) in enumerate(costs):
        shares = cost.accepted, cost.consumer, cost.rejected, cost.producer, cost.doubtful
        name = rule.kind if rule.kind == "simple" else f"{rule.kind}, {rule.guard:g} U"
        mark = " (your rule)" if i == 0 else ""
        table.add_row(
            name + mark, *(f"{1000 * max(share, 0.0):.1f}" for share in shares), style="bold" if i == 0 else ""
        )
    screen.print(table, "")
    rule, cost = costs[0]
    screen.print(f"With your rule: {sentence(cost, rule)}.")
    screen.print(f"{1000 * cost.conforming:.0f} of them truly belong in a bin. U = {rule.coverage_factor:g} u.")
