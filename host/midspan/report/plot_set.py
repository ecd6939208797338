"""A matched set as a strip: distance of each shaft from the mean of the set, with the U of that distance.

Errors common to all shafts of a calibration cancel in the distance, so its U is far smaller than that of a spine. A
filled mark means that the shaft differs from the mean by more than U.
"""

from typing import Any

import numpy as np
from matplotlib.figure import Figure

from midspan.base.formatting import printable, with_uncertainty
from midspan.report.picture import FAINT, INK
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


def draw_set(figure: Figure, name: str, found: Review, k: float) -> None:
    """Draw a set, the stiffest shaft at the top.

    Parameters
    ----------
    figure : Figure
        An empty figure.
    name : str
        Name of the set.
    found : Review
        The set reviewed.
    k : float
        Coverage factor of the bars.
    """
    axes = figure.subplots()
    rows = np.arange(len(found.shafts))
    away, u = np.array(found.from_mean_thou), k * np.array(found.u_from_mean_thou)
    told = np.array([found.apart(i, k) for i in range(len(rows))])
    for which, fill, words in ((told, INK, "told apart from the mean"), (~told, "white", "not told apart")):
        if which.any():
            axes.errorbar(
                away[which], rows[which], xerr=u[which], fmt="o", color=INK, mfc=fill, ms=6, lw=1, capsize=3,
                label=f"{words} ({which.sum()})",
            )  # fmt: skip
    axes.axvline(0, color=FAINT, ls="--", lw=1)
    names = [f"{printable(shaft.name)}   {shaft.spine_thou:.2f}" for shaft in found.shafts]
    axes.set_yticks(rows, names, fontsize=8)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    _room(axes, away, u)
    axes.set_xlabel(f"from the mean of the set, thou (28 in, 880 g); softer to the right; bars: ± U, k = {k:g}")
    axes.set_ylabel("shaft and its spine, thou")
    axes.legend(fontsize=8, frameon=False, ncols=2, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    mean = with_uncertainty(found.mean_thou, k * found.u_mean_thou, 2)
    spread = with_uncertainty(found.range_thou, k * found.u_range_thou, 3)
    figure.suptitle(
        f"{printable(name)}: n = {len(rows)}, mean spine {mean} thou, spread of the set {spread} thou", fontsize=11
    )


def _room(axes: Any, away: Any, u: Any) -> None:
    """Give the axis the same length on both sides, so that the mean is in the middle."""
    reach = float((np.abs(away) + u).max()) or 1.0
    axes.set_xlim(-1.12 * reach, 1.12 * reach)
