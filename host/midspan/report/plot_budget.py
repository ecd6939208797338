"""Budget of one result as a picture of bars, legible without colour.

A bar for each cause is as long as its share of u, in thou; its share of u² is written at the end. A bar is hatched if
the degrees of freedom of its u have no limit, and plain if that u comes from few readings.
"""

import math
from pathlib import Path
from typing import Any

from midspan.base.errors import OutputError
from midspan.measurement.shown_quantities import across_unit, in_across_unit
from midspan.report.picture import FAINT, INK, LIGHT, SHADE, check_ending, paper
from midspan.uncertainty.budget import Budget, Coverage
from midspan.uncertainty.monte_carlo import Summary

PLATE = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}  # keeps lines away from text


def draw_budget(title: str, budget: Budget, coverage: Coverage, path: Path, found: Summary | None = None) -> None:
    """Draw a budget and write it to a file.

    Parameters
    ----------
    title : str
        Title of the picture.
    budget : Budget
        Budget of a quantity in thou.
    coverage : Coverage
        What U covers, or its factor.
    path : Path
        File to write; its ending says whether as PNG, PDF or SVG.
    found : Summary or None
        Monte Carlo trials whose u is drawn too, None for none.

    Raises
    ------
    OutputError
        Another ending, the file cannot be written, or the uncertainty is 0 or not finite.
    """
    check_ending(path)
    if not math.isfinite(budget.u) or budget.u == 0:
        words = f"{path}: the uncertainty of the budget is 0 or not finite; there is nothing to draw"
        raise OutputError(words, code="nothing_to_draw")
    with paper(path, 8.5, 5.2) as figure:
        axes = figure.add_subplot()
        _bars(axes, budget)
        _together(axes, budget, coverage, found)
        axes.set_title(title, fontsize=11, loc="left")


def _bars(axes: Any, budget: Budget) -> None:
    """Draw a bar for each cause, the largest at the top."""
    parts = sorted(budget.contributions, key=lambda part: part.u)
    places = range(2, 2 + len(parts))
    scale, figures = in_across_unit(1.0), 3 if across_unit() == "thou" else 5
    for place, part in zip(places, parts, strict=True):
        hatch = "////" if math.isinf(part.dof) else ""
        axes.barh(place, scale * part.u, height=0.68, color=LIGHT, edgecolor=INK, lw=0.8, hatch=hatch)
        words = f"{scale * part.u:.{figures}f}   {budget.portion(part):.0%} of u²"
        axes.annotate(words, (scale * part.u, place), (5, 0),
                      textcoords="offset points", va="center", fontsize=8, bbox=PLATE)  # fmt: skip
    axes.set_yticks([*places], [part.name for part in parts])


def _together(axes: Any, budget: Budget, coverage: Coverage, found: Summary | None) -> None:
    """Draw u and U of the whole, and u of the trials."""
    k, unit, scale = budget.k(coverage), across_unit(), in_across_unit(1.0)
    figures = 3 if unit == "thou" else 5
    rows = [("u, together", scale * budget.u), (f"U = {k:g} u", scale * k * budget.u)]
    for place, (name, value) in zip((0.8, -0.2), rows, strict=True):
        axes.barh(place, value, height=0.68, color=SHADE, edgecolor=INK, lw=0.8)
        axes.annotate(f"{name} = {value:.{figures}f} {unit}",
                      (value, place), (5, 0), textcoords="offset points", va="center", fontsize=9,
                      bbox=PLATE)  # fmt: skip
    if found is not None:
        axes.axvline(scale * found.u, color=FAINT, ls="--", lw=1, zorder=0.5)
        axes.annotate(f"u of {found.trials} trials", (scale * found.u, 1), (4, -3), xycoords=("data", "axes fraction"),
                      textcoords="offset points", va="top", fontsize=8)  # fmt: skip
    axes.set_xlim(0, 1.35 * scale * k * budget.u)
    axes.set_xlabel(f"{unit}.   Hatched: unlimited degrees of freedom.")
