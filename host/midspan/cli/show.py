"""`midspan show`: a stored result with its uncertainty or its budget."""

import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from midspan.base.errors import OutputError
from midspan.base.formatting import printable
from midspan.cli.options import STORE, AsJson, Factor, Shown, StoreAt

if TYPE_CHECKING:
    from midspan.decision.bands import Bands
    from midspan.decision.decision import Decision
    from midspan.measurement.result import ShaftResult, Unmeasured
    from midspan.store.evaluation import StoredResult


def show(
    shaft: Annotated[str, typer.Argument(help="Number or label of the shaft; its newest result is shown.")],
    store: StoreAt = STORE,
    picture: Annotated[Path | None, typer.Option(help="Also draw its stiffness around, or its budget.")] = None,
    budget: Annotated[
        bool, typer.Option("--budget", help="Show where the uncertainty of its spine comes from.")
    ] = False,
    trials: Annotated[int, typer.Option(min=1000, max=10**7, help="Monte Carlo trials that check it.")] = 100_000,
    details: Annotated[
        bool, typer.Option("--details", help="Also say how it was measured: condition, readings, gauge, calibration.")
    ] = False,
    as_json: AsJson = False,
    k: Factor = None,
) -> None:
    """Show the newest measurement of a shaft with its uncertainty; `midspan shafts show` tells all that is known of it.

    What was said of the shaft (notes, for whom), its sets and its earlier measurements are in `midspan shafts show`.
    """
    from midspan.hand_bench.result import HandResult
    from midspan.measurement.result import Unmeasured
    from midspan.report.other_gauges import other_gauges, other_gauges_json, other_gauges_words
    from midspan.report.result_text import console
    from midspan.sets.stock import beside_verdict
    from midspan.store.lookup import newest, whole

    with store.open_to_read() as opened:
        stored = newest(opened, shaft)
        against = beside_verdict(opened, stored.run.shaft)
        benches = opened.calibrations() if budget else {}
        others = other_gauges(opened, stored)
    if against is not None:
        print(f"shaft {stored.run.shaft} is not for sets or sale: {against}", file=sys.stderr)
    if isinstance(stored.result, Unmeasured):
        show_unmeasured(stored.result, stored.decision, as_json)
        if picture is not None:
            raise OutputError(f"{picture}: shaft {shaft} has no result to draw")
        return
    result, shown = whole(stored, store), Shown(as_json, k, picture, details)
    if budget:
        from midspan.cli.budget import show_budget

        show_budget(result, stored.run, store, benches, trials, shown)
        return
    judged = ShownVerdict(
        stored.decision, bands_of(stored), {"other_gauges": other_gauges_json(others)} if others else {}
    )
    if isinstance(result, HandResult):
        from midspan.cli.hand import show_hand

        show_hand(result, judged, shown)
    else:
        _show_measured(result, judged, shown)
    for words in [] if as_json else other_gauges_words(others):
        console().print(words)


@dataclass(frozen=True)
class ShownVerdict:
    """Verdict of a result, the bands it rests on if they are known, and further values for JSON."""

    decision: "Decision"
    bands: "Bands | None" = None
    also: Mapping[str, object] = field(default_factory=dict)


def show_unmeasured(outcome: "Unmeasured", decision: "Decision", as_json: bool) -> None:
    """Print why a shaft has no result, and its verdict."""
    from midspan.report import result_text

    if as_json:
        print(result_text.as_json(outcome, decision))
    else:
        name = printable(f"shaft {outcome.shaft} {outcome.label}").strip()
        result_text.console().print(f"{name}: {result_text.verdict_words(decision)}")


def bands_of(stored: "StoredResult") -> "Bands | None":
    """Return the bands by which a stored result was judged, None where there are none."""
    from midspan.base.config import validated
    from midspan.decision.bands import Bands

    if stored.basis is None or stored.basis.bands is None:
        return None
    return validated(Bands, dict(stored.basis.bands), Path("the bands of its verdict"))


def _show_measured(result: "ShaftResult", judged: "ShownVerdict", shown: Shown) -> None:
    """Print the result of a gauge as words, JSON or a picture."""
    from midspan.report import result_text

    if shown.as_json:
        print(result_text.as_json(result, judged.decision, judged.bands, judged.also))
    else:
        result_text.console().print(result_text.shaft_story(result, judged.decision, shown.k, details=shown.details))
    if shown.picture is not None:
        from midspan.report.plot_shaft import draw_around

        draw_around(result, shown.picture, shown.k)
        print(f"picture: {shown.picture}", file=sys.stderr)
