"""A matched set as a strip: difference of each shaft from the mean of the set, with the ± of that difference.

Errors common to all shafts of a calibration cancel in it, so its ± is far smaller than that of a spine. A filled mark
means that the shaft differs from the mean by more than the ±.
"""

from typing import Any

import numpy as np
from matplotlib.figure import Figure

from midspan.base.formatting import printable
from midspan.measurement.shown_quantities import difference_unit, in_across_unit, meaning, spine_text, spine_unit
from midspan.report.picture import FAINT, INK
from midspan.report.sets_text import widest_text
from midspan.sets.review import Review

ROW_IN, FRAME_IN, LONGEST_IN = 0.27, 2.0, 60.0


def height_in(number: int) -> float:
    """Return the height of a strip.

    Parameters
    ----------
    number : int
        Shafts in the set.

    Returns
    -------
    float
        Height, inches.

    Examples
    --------
    >>> height_in(12), height_in(1000)
    (5.24, 60.0)
    """
    return min(FRAME_IN + ROW_IN * number, LONGEST_IN)


def draw_set(figure: Figure, name: str, found: Review) -> None:
    """Draw a set, the stiffest shaft at the top.

    Parameters
    ----------
    figure : Figure
        An empty figure.
    name : str
        Name of the set.
    found : Review
        The set reviewed.
    """
    axes = figure.subplots()
    rows = np.arange(len(found.shafts))
    away = in_across_unit(1.0) * np.array(found.from_mean_thou)
    u = in_across_unit(found.k) * np.array(found.u_from_mean_thou)
    told = np.array([found.apart(i) for i in range(len(rows))])
    for which, fill, words in ((told, INK, "told apart from the mean"), (~told, "white", "not told apart")):
        if which.any():
            axes.errorbar(
                away[which], rows[which], xerr=u[which], fmt="o", color=INK, mfc=fill, ms=6, lw=1, capsize=3,
                label=f"{words} ({which.sum()})",
            )  # fmt: skip
    axes.axvline(0, color=FAINT, ls="--", lw=1)
    names = [f"{printable(shaft.name)}   {spine_text(shaft, found.asked_k).cell}" for shaft in found.shafts]
    axes.set_yticks(rows, names, fontsize=8)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    _room(axes, away, u)
    axes.set_xlabel(
        f"difference from the mean, {difference_unit()}; softer to the right\n"
        f"bars: {meaning(found.asked_k).removeprefix('± is ')} of differences inside this set"
    )
    axes.set_ylabel(f"shaft and its spine, {spine_unit()}")
    axes.legend(fontsize=8, frameon=False, ncols=2, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    mean, widest = spine_text(found.mean, found.asked_k), f"{widest_text(found)} {difference_unit()}"
    figure.suptitle(
        f"{printable(name)}: {len(rows)} shafts, mean spine {mean}\nfrom stiffest to softest {widest}", fontsize=11
    )


def _room(axes: Any, away: Any, u: Any) -> None:
    """Give the axis the same length on both sides, so that the mean is in the middle."""
    reach = float((np.abs(away) + u).max()) or 1.0
    axes.set_xlim(-1.12 * reach, 1.12 * reach)
