"""A batch against its bands: each shaft with its uncertainty above, how many have which spine below.

Markers and hatches say how a shaft was judged; colour says nothing.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from midspan.base.errors import OutputError
from midspan.decision.bands import Bands
from midspan.decision.decision import Outcome
from midspan.measurement.result import Unmeasured
from midspan.report.night_plots import over_bands
from midspan.report.picture import INK
from midspan.store.evaluation import StoredResult
from midspan.store.stored_result import finite

MARKS: tuple[tuple[Outcome, Mapping[str, object]], ...] = (
    (Outcome.ACCEPTED, {"marker": "o", "mfc": INK}),
    (Outcome.DOUBTFUL, {"marker": "D", "mfc": "white"}),
    (Outcome.REJECTED, {"marker": "X", "mfc": "white"}),
)
MANY = 300  # shafts: beyond, bars of U would run into each other


def drawable(stored: Sequence[StoredResult]) -> list[StoredResult]:
    """Those of a batch that have a spine and came of a sound gauge, in the order they were measured."""
    return [one for one in stored if one.decision.outcome is not Outcome.INSTRUMENT_FAULT and _point(one) is not None]


def draw_batch(figure: Figure, name: str, stored: Sequence[StoredResult], bands: Bands | None, k: float) -> None:
    """Draw a batch on an empty figure; OutputError when nothing of it can be drawn."""
    shown = drawable(stored)
    if not shown:
        raise OutputError(f"{name}: none of its {len(stored)} shafts has a result that could be drawn")
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(1.7, 1))
    spines = {outcome: [spine for _, spine, _ in _of(shown, outcome)] for outcome, _ in MARKS}
    over_bands(lower, spines, bands)
    for outcome, look in MARKS:
        points = _of(shown, outcome)
        if points:
            _points(upper, points, k if len(shown) <= MANY else None, outcome.value, look)
    for edge in {end for one in bands.in_order for end in one.spine_thou} if bands else ():
        upper.axvline(edge, color=INK, ls="--", lw=1)
    upper.set_ylim(len(shown) + 1, 0)
    upper.set_ylabel("order of measuring")
    upper.legend(fontsize=8, frameon=False, ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    figure.legend(*lower.get_legend_handles_labels(), fontsize=8, frameon=False, ncols=3, loc="outside lower center")
    missing = f" ({len(stored) - len(shown)} more without a result)" if len(stored) > len(shown) else ""
    bars = f"; bars: ± U, k = {k:g}" if len(shown) <= MANY else ""
    figure.suptitle(f"{name}: n = {len(shown)} shafts{missing}{bars}", fontsize=11.5)


def _point(one: StoredResult) -> tuple[float, float] | None:
    """Return spine and its standard uncertainty, None where either is not known."""
    if isinstance(one.result, Unmeasured):
        return None
    spine, u = finite(one.result.spine_thou), finite(one.result.u_spine_thou)
    return None if spine is None or u is None else (spine, u)


def _of(shown: Sequence[StoredResult], outcome: Outcome) -> list[tuple[int, float, float]]:
    """Return place from 1, spine and its standard uncertainty of those that were judged so."""
    points = ((i, one.decision.outcome, _point(one)) for i, one in enumerate(shown, 1))
    return [(i, *point) for i, judged, point in points if judged is outcome and point is not None]


def _points(
    axes: Any, points: Sequence[tuple[int, float, float]], k: float | None, name: str, look: Mapping[str, object]
) -> None:
    at, spines, u_spines = zip(*points, strict=True)
    u = None if k is None else k * np.array(u_spines)
    size = 5 if k is not None else 2.5
    axes.errorbar(
        spines, at, xerr=u, ls="none", color=INK, mec=INK, ms=size, lw=0.9, capsize=2,
        label=f"{name} ({len(points)})", **look,
    )  # fmt: skip
