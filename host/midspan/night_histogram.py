"""The spines of a night against its bands. Hatches and outlines carry what colour would."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from midspan.bands import Bands
from midspan.decision import Outcome
from midspan.night_facts import went_to
from midspan.night_record import NightRecord
from midspan.page_picture import PAPER, drawn
from midspan.picture import INK, LIGHT, SHADE
from midspan.wording import printable

LOOKS: tuple[tuple[Outcome, dict[str, Any]], ...] = (
    (Outcome.ACCEPTED, {"facecolor": SHADE, "edgecolor": INK}),
    (Outcome.DOUBTFUL, {"facecolor": LIGHT, "edgecolor": INK}),
    (Outcome.REJECTED, {"facecolor": PAPER, "edgecolor": INK, "hatch": "////"}),
)
COLUMNS = 30  # of a histogram: fewer hide a second heap, more show the chance of single shafts
STEPS = (1.0, 2.0, 5.0, 10.0)


def histogram(record: NightRecord) -> str:
    """How the spines of the stock lie against the bands."""
    spines = {
        outcome: [record.measured[one.result].spine_thou for one in went_to(record, outcome) if one.result is not None]
        for outcome, _ in LOOKS
    }

    def draw(figure: Figure) -> None:
        over_bands(figure.subplots(), spines, record.bands)
        figure.legend(loc="outside upper center", ncols=3, fontsize=9)

    return drawn(draw, 3.1, "How many shafts have which spine, against the bands") if any(spines.values()) else ""


def over_bands(axes: Any, spines: Mapping[Outcome, Sequence[float | None]], bands: Bands | None) -> None:
    """A histogram of spines by outcome on axes, with the bands; stragglers are counted in words."""
    everything = np.array([value for some in spines.values() for value in some], float)
    low, high = _span(everything, bands)
    width = step_for((high - low) / COLUMNS)
    edges = np.arange(math.floor(low / width), math.ceil(high / width) + 1) * width
    bottom = np.zeros(len(edges) - 1)
    for outcome, look in LOOKS:
        count, _ = np.histogram(np.array(spines.get(outcome, ()), float), edges)
        axes.bar(edges[:-1], count, width, bottom, align="edge", linewidth=0.7, label=outcome.value, **look)
        bottom += count
    axes.set_xlim(edges[0], edges[-1])
    axes.set_ylim(0, max(1.0, float(bottom.max())) * 1.25)
    _bands(axes, bands)
    axes.set_xlabel("spine, thou" + _beyond(everything, float(edges[0]), float(edges[-1])))
    axes.set_ylabel("shafts")
    axes.xaxis.set_major_locator(MaxNLocator(7))
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))


def step_for(least: float) -> float:
    """The next 1, 2 or 5 with noughts.

    >>> step_for(0.3), step_for(0.07), step_for(13.0)
    (0.5, 0.1, 20.0)
    """
    power = 10.0 ** math.floor(math.log10(least))
    return next(round(step * power, 9) for step in STEPS if step * power >= least * (1 - 1e-9))


def _span(spines: Any, bands: Bands | None) -> tuple[float, float]:
    """What the picture shows: the bands and half as much on either side, or the heap without its stragglers."""
    if bands is not None:
        low, high = bands.in_order[0].low_thou, bands.in_order[-1].high_thou
        room = (high - low) / 2
        inside = spines[(spines >= low - room) & (spines <= high + room)]
        return (min(low, *inside), max(high, *inside)) if len(inside) else (low, high)
    low, high = np.quantile(spines, [0.01, 0.99]) if len(spines) else (0.0, 1.0)
    return float(low) - 1.0, float(high) + 1.0


def _bands(axes: Any, bands: Bands | None) -> None:
    for one in bands.in_order if bands is not None else ():
        for end in one.spine_thou:
            axes.axvline(end, color=INK, ls="--", lw=1)
        middle = (one.low_thou + one.high_thou) / 2
        axes.text(
            middle, 0.985, printable(one.name), ha="center", va="top", fontsize=9, transform=axes.get_xaxis_transform()
        )


def _beyond(spines: Any, low: float, high: float) -> str:
    sides = ((int((spines < low).sum()), f"below {low:g}"), (int((spines > high).sum()), f"above {high:g}"))
    words = " and ".join(f"{number} {where}" for number, where in sides if number)
    return f"   (not shown: {words})" if words else ""
