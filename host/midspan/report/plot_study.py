"""Pictures of studies, legible in black and white: line styles, hatches and markers carry what colour would."""

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from scipy.special import stdtrit

from midspan.base.formatting import printable
from midspan.report.picture import FAINT, INK, LIGHT, SHADE, paper
from midspan.study.control_chart import ControlChart, WeightedMean
from midspan.study.gauge_rr import CrossedStudy
from midspan.study.linearity import BiasStudy, LinearityStudy
from midspan.study.population import StockStudy
from midspan.study.stability import StabilityStudy

MARKERS = "osD^vP*X"
SHARES = ("gauge (R&R)", "repeatability", "reproducibility", "part to part")


@contextmanager
def sheet(path: Path, title: str, rows: int, columns: int) -> Iterator[Any]:
    """Yield the axes of a figure that is written when the block ends.

    Parameters
    ----------
    path : Path
        File to write; its ending says whether as PNG, PDF or SVG.
    title : str
        Title of the picture.
    rows : int
        Axes one below another.
    columns : int
        Axes side by side.

    Yields
    ------
    Any
        Axes, shape (rows, columns).
    """
    with paper(path, 5.3 * columns, 3.1 * rows) as figure:
        yield figure.subplots(rows, columns, squeeze=False)
        figure.suptitle(title, fontsize=11.5)


def draw_gauge(study: CrossedStudy, path: Path, what: str) -> None:
    """Draw the shares of the components of variation, and the readings of each cell, part by part.

    Parameters
    ----------
    study : CrossedStudy
        The study.
    path : Path
        File to write; its ending says whether as PNG, PDF or SVG.
    what : str
        Quantity and unit, as in "spine, thou".

    Raises
    ------
    OutputError
        Another ending, or the file cannot be written.
    """
    with sheet(path, "Where the variation comes from", 1, 2) as ((left, right),):
        place = np.arange(len(SHARES))
        variance = [study.pct_of_variance(name) for name in SHARES]
        deviation = [study.pct_of_study(name) for name in SHARES]
        left.bar(place - 0.2, variance, 0.38, color=LIGHT, edgecolor=INK, label="% of variance")
        left.bar(place + 0.2, deviation, 0.38, color=SHADE, edgecolor=INK, hatch="//", label="% of study")
        left.set_xticks(place, [name.replace(" ", "\n", 1) for name in SHARES], fontsize=8)
        left.legend(fontsize=8, frameon=False)
        for j, appraiser in enumerate(study.appraisers):
            at = np.arange(len(study.parts)) + 0.18 * (j - (len(study.appraisers) - 1) / 2)
            cells, mark = study.cells[:, j], MARKERS[j % len(MARKERS)]
            right.plot(np.repeat(at, cells.shape[1]), cells.ravel(), mark, mfc="none", mec=FAINT, ms=3)
            right.plot(
                at, cells.mean(axis=1), mark, color=INK, ms=5, ls=("-", "--", ":", "-.")[j % 4], lw=0.8, label=appraiser
            )
        right.set_xticks(np.arange(len(study.parts)), study.parts, fontsize=8)
        right.set_xlabel("part")
        right.set_ylabel(what)
        right.legend(fontsize=8, frameon=False)


def draw_linearity(study: LinearityStudy, path: Path, what: str) -> None:
    """Draw the bias of every reading against its reference, with the line and its 95 % band.

    Parameters
    ----------
    study : LinearityStudy
        The study.
    path : Path
        File to write; its ending says whether as PNG, PDF or SVG.
    what : str
        Quantity and unit, as in "spine, thou".

    Raises
    ------
    OutputError
        Another ending, or the file cannot be written.
    """
    with sheet(path, "Bias along the range", 1, 1) as ((axes,),):
        x = np.linspace(min(study.references), max(study.references), 101)
        line = study.line(x)
        columns = np.stack([np.ones_like(x), x])
        u = np.sqrt(np.einsum("in,ij,jn->n", columns, study.line.covariance, columns))
        half = float(stdtrit(study.line.degrees_of_freedom, 0.975)) * u
        axes.fill_between(x, line - half, line + half, color=LIGHT, lw=0, label="95 % of the line")
        axes.plot(x, line, color=INK, lw=1.4, label="bias as a line")
        axes.plot(study.references, study.biases, "o", mfc="none", mec=FAINT, ms=4, label="readings")
        axes.plot(
            [bias.reference for bias in study.at], [bias.bias for bias in study.at], "D", color=INK, ms=5, label="mean"
        )
        axes.axhline(0, color=FAINT, ls="--", lw=1)
        axes.set_xlabel(f"reference: {what}")
        axes.set_ylabel("bias")
        axes.legend(fontsize=8, frameon=False)


def draw_bias(names: Sequence[str], at: Sequence[BiasStudy], path: Path, what: str) -> None:
    """Draw the bias at each reference with its 95 % interval, and U of the reference (k = 2).

    Parameters
    ----------
    names : Sequence[str]
        Name of each part.
    at : Sequence[BiasStudy]
        Bias of each part.
    path : Path
        File to write; its ending says whether as PNG, PDF or SVG.
    what : str
        Quantity and unit, as in "spine, thou".

    Raises
    ------
    OutputError
        Another ending, or the file cannot be written.
    """
    with sheet(path, "Bias against known bars", 1, 1) as ((axes,),):
        place = np.arange(len(at))
        known = [2 * bias.u_reference for bias in at]
        axes.bar(place, 2 * np.array(known), 0.5, bottom=-np.array(known), color=LIGHT, label="± U of the reference")
        axes.errorbar(
            place, [bias.bias for bias in at], [bias.half_width for bias in at], fmt="D", color=INK, capsize=4,
            label="bias, ± 95 % of its scatter",
        )  # fmt: skip
        axes.axhline(0, color=FAINT, ls="--", lw=1)
        axes.set_xticks(
            place, [f"{name}\n{bias.reference:g}" for name, bias in zip(names, at, strict=True)], fontsize=8
        )
        axes.set_xlim(-0.6, len(at) - 0.4)
        axes.use_sticky_edges = False  # otherwise a bar would end at the edge of the picture
        axes.margins(y=0.1)
        axes.set_ylabel(f"bias: {what}")
        axes.legend(fontsize=8, frameon=False)


def draw_stock(stock: StockStudy, path: Path, what: str) -> None:
    """Draw how often each value came, the limits, and the interval that holds the share of all.

    Parameters
    ----------
    stock : StockStudy
        The study.
    path : Path
        File to write; its ending says whether as PNG, PDF or SVG.
    what : str
        Quantity and unit, as in "spine, thou".

    Raises
    ------
    OutputError
        Another ending, or the file cannot be written.
    """
    with sheet(path, "A stock and its limits", 1, 1) as ((axes,),):
        values = np.array(stock.values)
        counts, _, _ = axes.hist(values, bins="auto", color=LIGHT, edgecolor=INK, lw=0.8)
        top = 1.25 * counts.max()
        sides = axes.get_xlim()
        low, high = (end if math.isfinite(end) else side for end, side in zip(stock.interval, sides, strict=True))
        axes.plot([low, high], [0.9 * top] * 2, "-", color=INK, lw=1.4, label=f"{100 * stock.share:g} % of all")
        ends = [end for end in stock.interval if math.isfinite(end)]
        axes.plot(ends, [0.9 * top] * len(ends), "|", color=INK, ms=12)
        axes.plot(stock.mean, 0.9 * top, "o", mfc="white", mec=INK, ms=5, label="mean")
        for i, limit in enumerate(end for end in (stock.low, stock.high) if end is not None):
            axes.axvline(limit, color=INK, ls="--", lw=1.2, label=None if i else "limit")
        axes.set_ylim(0, top)
        axes.yaxis.get_major_locator().set_params(integer=True)
        axes.set_xlabel(what)
        axes.set_ylabel("shafts")
        axes.legend(fontsize=8, frameon=False, ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0))


def draw_stability(study: StabilityStudy, path: Path, what: str) -> None:
    """Draw session means against the day with limits and drift, and below them the scatter within each session.

    Parameters
    ----------
    study : StabilityStudy
        The study.
    path : Path
        File to write; its ending says whether as PNG, PDF or SVG.
    what : str
        Quantity and unit, as in "spine, thou".

    Raises
    ------
    OutputError
        Another ending, or the file cannot be written.
    """
    with sheet(path, "A check standard over time", 1 if study.within is None else 2, 1) as ((top,), *below):
        days = np.array(study.days)
        _levels(top, study.mean, study.limits, "two sigma")
        top.plot(days, study.means, "o-", color=INK, ms=4, lw=0.8, label="mean of a session")
        drift = study.mean + study.drift_per_day * (days - days.mean())
        top.plot(days, drift, color=SHADE, ls="-.", lw=1.4, label="drift")
        top.margins(y=0.2)  # room for the legend
        top.legend(fontsize=8, frameon=False, ncols=3)
        top.set_ylabel(what)
        for (bottom,) in below:
            bottom.plot(days, np.array(study.deviations, float), "s", color=INK, ms=4)  # None becomes a gap
            bottom.set_ylabel("scatter within")
        (below[-1][0] if below else top).set_xlabel("day")


def draw_chart(chart: ControlChart, mean: WeightedMean, path: Path, what: str, of: str) -> None:
    """Draw readings, their moving range and the weighted mean one above another; signals are filled squares.

    Parameters
    ----------
    chart : ControlChart
        The chart.
    mean : WeightedMean
        Weighted mean of the same readings.
    path : Path
        File to write; its ending says whether as PNG, PDF or SVG.
    what : str
        Quantity and unit, as in "spine, thou".
    of : str
        Name of the check standard.

    Raises
    ------
    OutputError
        Another ending, or the file cannot be written.
    """
    title = f"Control chart of {printable(of)}, n = {len(chart.values)} readings"
    with sheet(path, title, 3, 1) as ((top,), (middle,), (bottom,)):
        at = np.arange(1, len(chart.values) + 1)
        top.axhline(chart.centre, color=FAINT, lw=1)
        for sign in (1, -1):
            name = "limits" if sign > 0 else None
            top.step(at, chart.centre + sign * chart.half_widths, where="mid", color=INK, ls="--", lw=1, label=name)
        for sigmas in (1, 2, 3):
            for sign in (1, -1):
                top.axhline(chart.centre + sign * sigmas * chart.sigma, color=FAINT, lw=0.5, ls=":")
        _points(top, at, chart.values, sorted({signal.at for signal in chart.signals}))
        top.set_ylabel(what)
        top.legend(fontsize=8, frameon=False, ncols=2, loc="lower right", bbox_to_anchor=(1.0, 1.0))
        middle.axhline(chart.range_limit, color=INK, ls="--", lw=1)
        _points(middle, at[1:], chart.ranges, [i - 1 for i in chart.wide_ranges])
        middle.set_ylabel(", ".join(["moving range", *what.split(", ")[1:]]))
        bottom.step(at, mean.low, where="mid", color=INK, ls="--", lw=1)
        bottom.step(at, mean.high, where="mid", color=INK, ls="--", lw=1)
        bottom.axhline(chart.centre, color=FAINT, lw=1)
        _points(bottom, at, mean.means, list(mean.signals))
        bottom.set_ylabel(f"weighted mean ({mean.weight:g})")
        for axes in (top, middle, bottom):
            axes.set_xlim(0.3, len(at) + 0.7)  # the same for all panels, so that a reading is above its range and mean
            axes.xaxis.get_major_locator().set_params(integer=True)
            axes.ticklabel_format(axis="y", useOffset=False)  # whole values, even if they hardly vary
        bottom.set_xlabel("reading number")


def _levels(axes: Any, centre: float, limits: tuple[float, float], name: str) -> None:
    """Draw the centre line and the limits."""
    axes.axhline(centre, color=FAINT, lw=1)
    for i, limit in enumerate(limits):
        axes.axhline(limit, color=INK, ls="--", lw=1, label=None if i else name)


def _points(axes: Any, at: Any, values: Any, signals: list[int]) -> None:
    """Draw values joined by a line, with signals as filled squares."""
    axes.plot(at, values, "o-", color=INK, mfc="white", ms=4, lw=0.8)
    if signals:
        axes.plot(np.array(at)[signals], np.array(values)[signals], "s", color=INK, ms=7, label="signal")
