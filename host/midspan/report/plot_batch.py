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
from midspan.measurement.shown_quantities import expanded_thou, in_across_unit, meaning
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
        if result.decision.outcome is not Outcome.INSTRUMENT_FAULT and _point(result, None) is not None
    ]


def draw_batch(
    figure: Figure, name: str, stored: Sequence[StoredResult], bands: Bands | None, k: float | None = None
) -> None:
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
    k : float or None
        Coverage factor of the bars, None for 95 %.

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
    spines = {outcome: [spine for _, spine, _ in _of(shown, outcome, k)] for outcome, _ in MARKS}
    over_bands(lower, spines, bands)
    for outcome, look in MARKS:
        points = _of(shown, outcome, k)
        if points:
            _points(upper, points, outcome.value, look, bars=len(shown) <= MANY)
    for edge in {end for limits in bands.in_order for end in limits.spine_thou} if bands else ():
        upper.axvline(in_across_unit(edge), color=INK, ls="--", lw=1)
    upper.set_ylim(len(shown) + 1, 0)
    upper.set_ylabel("order of measuring")
    upper.legend(fontsize=8, frameon=False, ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    figure.legend(*lower.get_legend_handles_labels(), fontsize=8, frameon=False, ncols=3, loc="outside lower center")
    missing = f" ({len(stored) - len(shown)} more without a result)" if len(stored) > len(shown) else ""
    bars = f"; bars: {meaning(k).removeprefix('± is ')}" if len(shown) <= MANY else ""
    figure.suptitle(f"{name}: {len(shown)} shafts{missing}{bars}", fontsize=11.5)


def _point(stored: StoredResult, k: float | None) -> tuple[float, float] | None:
    """Return spine and its ± in thou, None if either is missing or not finite."""
    if isinstance(stored.result, Unmeasured):
        return None
    spine, expanded = finite(stored.result.spine_thou), finite(expanded_thou(stored.result, k))
    return None if spine is None or expanded is None else (spine, expanded)


def _of(shown: Sequence[StoredResult], outcome: Outcome, k: float | None) -> list[tuple[int, float, float]]:
    """Return place from 1, spine and its ± in thou of the results with an outcome."""
    points = ((i, result.decision.outcome, _point(result, k)) for i, result in enumerate(shown, 1))
    return [(i, *point) for i, judged, point in points if judged is outcome and point is not None]


def _points(
    axes: Any, points: Sequence[tuple[int, float, float]], name: str, look: Mapping[str, object], *, bars: bool
) -> None:
    """Draw the shafts of one outcome, with bars if asked."""
    at, spines, expanded = (np.array(values) for values in zip(*points, strict=True))
    unit = in_across_unit(1.0)
    reach, size = (unit * expanded, 5) if bars else (None, 2.5)
    axes.errorbar(
        unit * spines, at, xerr=reach, ls="none", color=INK, mec=INK, ms=size, lw=0.9, capsize=2,
        label=f"{name} ({len(points)})", **look,
    )  # fmt: skip
