"""A batch against its bands: each shaft with its uncertainty above, how many have which spine below.

Markers and hatches say how a shaft was judged; colour says nothing.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from midspan.base.errors import OutputError
from midspan.decision.bands import Bands
from midspan.decision.decision import Outcome
from midspan.report.night_plots import over_bands
from midspan.report.plot_shaft import INK
from midspan.store.database import StoredResult

MARKS: tuple[tuple[Outcome, dict[str, Any]], ...] = (
    (Outcome.ACCEPTED, {"marker": "o", "mfc": INK}),
    (Outcome.DOUBTFUL, {"marker": "D", "mfc": "white"}),
    (Outcome.REJECTED, {"marker": "X", "mfc": "white"}),
)
MANY = 300  # shafts: beyond, bars of U would run into each other


def drawable(stored: Sequence[StoredResult]) -> list[StoredResult]:
    """Those of a batch that have a spine and came of a sound gauge, in the order they were measured."""
    return [
        one
        for one in stored
        if one.result is not None
        and one.decision.outcome is not Outcome.INSTRUMENT_FAULT
        and None not in (one.result.get("spine_thou"), one.result.get("u_spine_thou"))
    ]


def draw_batch(figure: Figure, name: str, stored: Sequence[StoredResult], bands: Bands | None, k: float) -> None:
    """Draw a batch on an empty figure; OutputError when nothing of it can be drawn."""
    shown = drawable(stored)
    if not shown:
        raise OutputError(f"{name}: none of its {len(stored)} shafts has a result that could be drawn")
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(1.7, 1))
    spines = {outcome: [_spine(one) for one in shown if one.decision.outcome is outcome] for outcome, _ in MARKS}
    over_bands(lower, spines, bands)
    for outcome, look in MARKS:
        at = [i for i, one in enumerate(shown, 1) if one.decision.outcome is outcome]
        if at:
            _points(upper, at, [shown[i - 1] for i in at], k if len(shown) <= MANY else None, outcome.value, look)
    for edge in {end for one in bands.in_order for end in one.spine_thou} if bands else ():
        upper.axvline(edge, color=INK, ls="--", lw=1)
    upper.set_ylim(len(shown) + 1, 0)
    upper.set_ylabel("order of measuring")
    upper.legend(fontsize=8, frameon=False, ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    figure.legend(*lower.get_legend_handles_labels(), fontsize=8, frameon=False, ncols=3, loc="outside lower center")
    missing = f" ({len(stored) - len(shown)} more without a result)" if len(stored) > len(shown) else ""
    bars = f"; bars: ± U, k = {k:g}" if len(shown) <= MANY else ""
    figure.suptitle(f"{name}: n = {len(shown)} shafts{missing}{bars}", fontsize=11.5)


def _spine(one: StoredResult) -> float:
    assert one.result is not None  # or it would not be drawn
    return float(one.result["spine_thou"])


def _points(
    axes: Any, at: Sequence[int], some: Sequence[StoredResult], k: float | None, name: str, look: dict[str, Any]
) -> None:
    u = None if k is None else k * np.array([(one.result or {})["u_spine_thou"] for one in some])
    size = 5 if k is not None else 2.5
    axes.errorbar(
        [_spine(one) for one in some], at, xerr=u, ls="none", color=INK, mec=INK, ms=size, lw=0.9, capsize=2,
        label=f"{name} ({len(some)})", **look,
    )  # fmt: skip
