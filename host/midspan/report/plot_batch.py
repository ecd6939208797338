"""A batch against its bands: above each shaft with its uncertainty, below how many shafts have which spine.

Markers and hatches tell the verdicts apart, colour does not.
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
MANY = 300  # shafts; with more the bars of U would overlap


def drawable(stored: Sequence[StoredResult]) -> list[StoredResult]:
    """Return the results with a spine from a sound gauge, in the order they were measured.

    Parameters
    ----------
    stored : Sequence[StoredResult]
        Results of a batch.

    Returns
    -------
    list[StoredResult]
        The results to draw.
    """
    return [
        result
        for result in stored
        if result.decision.outcome is not Outcome.INSTRUMENT_FAULT and _point(result) is not None
    ]


def draw_batch(figure: Figure, name: str, stored: Sequence[StoredResult], bands: Bands | None, k: float) -> None:
    """Draw a batch of shafts against its bands.

    Parameters
    ----------
    figure : Figure
        An empty figure.
    name : str
        Name of the batch, for the title.
    stored : Sequence[StoredResult]
        Newest result of each shaft, in the order they were measured.
    bands : Bands or None
        Bands to draw, None for none.
    k : float
        Coverage factor of the bars.

    Raises
    ------
    OutputError
        No result of the batch can be drawn.
    """
    shown = drawable(stored)
    if not shown:
        words = f"{name}: none of its {len(stored)} shafts has a result to draw; measure them again"
        raise OutputError(words, code="nothing_to_draw")
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(1.7, 1))
    spines = {outcome: [spine for _, spine, _ in _of(shown, outcome)] for outcome, _ in MARKS}
    over_bands(lower, spines, bands)
    for outcome, look in MARKS:
        points = _of(shown, outcome)
        if points:
            _points(upper, points, k if len(shown) <= MANY else None, outcome.value, look)
    for edge in {end for limits in bands.in_order for end in limits.spine_thou} if bands else ():
        upper.axvline(edge, color=INK, ls="--", lw=1)
    upper.set_ylim(len(shown) + 1, 0)
    upper.set_ylabel("order of measuring")
    upper.legend(fontsize=8, frameon=False, ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    figure.legend(*lower.get_legend_handles_labels(), fontsize=8, frameon=False, ncols=3, loc="outside lower center")
    missing = f" ({len(stored) - len(shown)} more without a result)" if len(stored) > len(shown) else ""
    bars = f"; bars: ± U, k = {k:g}" if len(shown) <= MANY else ""
    figure.suptitle(f"{name}: n = {len(shown)} shafts{missing}{bars}", fontsize=11.5)


def _point(stored: StoredResult) -> tuple[float, float] | None:
    """Return spine and its standard uncertainty in thou, None if either is missing or not finite."""
    if isinstance(stored.result, Unmeasured):
        return None
    spine, u = finite(stored.result.spine_thou), finite(stored.result.u_spine_thou)
    return None if spine is None or u is None else (spine, u)


def _of(shown: Sequence[StoredResult], outcome: Outcome) -> list[tuple[int, float, float]]:
    """Return place from 1, spine and its standard uncertainty of the results with an outcome."""
    points = ((i, result.decision.outcome, _point(result)) for i, result in enumerate(shown, 1))
    return [(i, *point) for i, judged, point in points if judged is outcome and point is not None]


def _points(
    axes: Any, points: Sequence[tuple[int, float, float]], k: float | None, name: str, look: Mapping[str, object]
) -> None:
    """Draw the shafts of one outcome, with bars of U unless `k` is None."""
    at, spines, u_spines = zip(*points, strict=True)
    u = None if k is None else k * np.array(u_spines)
    size = 5 if k is not None else 2.5
    axes.errorbar(
        spines, at, xerr=u, ls="none", color=INK, mec=INK, ms=size, lw=0.9, capsize=2,
        label=f"{name} ({len(points)})", **look,
    )  # fmt: skip
