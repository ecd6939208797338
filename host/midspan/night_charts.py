"""Pictures of a night as SVG that stands in a page: its colours and letters are the page's, on paper and in the dark.

Hatches, markers and line styles carry what colour would. Each is drawn as wide as a telephone shows it.
"""

from __future__ import annotations

import io
import math
import re
import warnings
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, tzinfo
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from midspan.bands import Bands
from midspan.decision import Outcome
from midspan.night_facts import ended_ms, pace, went_to
from midspan.night_record import NightRecord
from midspan.passage import Check, HappeningKind
from midspan.picture import FAINT, INK, LIGHT, SHADE, STYLE
from midspan.wording import printable

PAPER = "#ffffff"
COLOURS = {INK: "--ink", SHADE: "--shade", LIGHT: "--light", FAINT: "--faint", PAPER: "--paper"}
PAGE_STYLE: Any = STYLE | {
    "svg.fonttype": "none", "svg.hashsalt": "midspan", "text.color": INK, "axes.labelcolor": INK, "xtick.color": INK,
    "ytick.color": INK, "legend.frameon": False, "hatch.linewidth": 0.8, "hatch.color": INK,
}  # fmt: skip
WIDTH_IN = 4.7
HOUR_S = 3600
MARKERS = "oD^vP*X"
LOOKS: tuple[tuple[Outcome, dict[str, Any]], ...] = (
    (Outcome.ACCEPTED, {"facecolor": SHADE, "edgecolor": INK}),
    (Outcome.DOUBTFUL, {"facecolor": LIGHT, "edgecolor": INK, "hatch": "...."}),
    (Outcome.REJECTED, {"facecolor": PAPER, "edgecolor": INK, "hatch": "////"}),
)
COLUMNS = 30  # of a histogram: fewer hide a second heap, more show the chance of single shafts
STEPS = (1.0, 2.0, 5.0, 10.0)
SEEN = 0.5  # of a limit: from there on its line is drawn, for below it would press all else flat


def drawn(draw: Callable[[Figure], None], height_in: float, what: str) -> str:
    """An SVG element that a reader of screens calls `what`; `draw` gets an empty figure."""
    with mpl.rc_context(PAGE_STYLE), warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")  # the letters are the page's, which has them all
        figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
        FigureCanvasSVG(figure)
        draw(figure)
        text = io.StringIO()
        figure.savefig(text, format="svg", transparent=True, metadata={"Date": None})
    svg = re.sub(r"<metadata>.*?</metadata>", "", text.getvalue(), flags=re.DOTALL)
    for colour, name in COLOURS.items():
        svg = svg.replace(colour, f"var({name})")
    head = re.search(r'<svg[^>]*(viewBox="[^"]*")[^>]*>', svg)
    assert head is not None
    # Without its width and height it takes those of the page; what is drawn refers to itself by xlink.
    opening = f'<svg {head[1]} role="img" aria-label="{what}" xmlns:xlink="http://www.w3.org/1999/xlink">'
    return opening + svg[head.end() :]


# Spines against the bands


def histogram(record: NightRecord) -> str:
    """How the spines of the stock lie against the bands."""
    spines = {
        outcome: [record.measured[one.result].spine_thou for one in went_to(record, outcome) if one.result is not None]
        for outcome, _ in LOOKS
    }
    everything = np.array([value for some in spines.values() for value in some], float)

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        low, high = _span(everything, record.bands)
        width = step_for((high - low) / COLUMNS)
        edges = np.arange(math.floor(low / width), math.ceil(high / width) + 1) * width
        bottom = np.zeros(len(edges) - 1)
        for outcome, look in LOOKS:
            count, _ = np.histogram(np.array(spines[outcome], float), edges)
            axes.bar(edges[:-1], count, width, bottom, align="edge", linewidth=0.7, label=outcome.value, **look)
            bottom += count
        axes.set_xlim(edges[0], edges[-1])
        axes.set_ylim(0, max(1.0, float(bottom.max())) * 1.25)
        _bands(axes, record.bands)
        axes.set_xlabel("spine, thou" + _beyond(everything, float(edges[0]), float(edges[-1])))
        axes.set_ylabel("shafts")
        axes.yaxis.set_major_locator(MaxNLocator(integer=True))
        figure.legend(loc="outside upper center", ncols=3, fontsize=9)

    return drawn(draw, 3.1, "How many shafts have which spine, against the bands") if len(everything) else ""


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


# What goes with the time


def _hours(some_ms: Sequence[float], record: NightRecord, zone: tzinfo) -> Any:
    """Times as hours from the midnight before the night began; the zone's offset stays that of the evening."""
    begun = datetime.fromtimestamp(record.night.begun_ms / 1000, zone)
    offset = begun.utcoffset()
    assert offset is not None
    midnight = begun.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=UTC).timestamp() - offset.total_seconds()
    return (np.asarray(some_ms, float) / 1000 - midnight) / HOUR_S


def _clock_axis(axes: Any) -> None:
    axes.xaxis.set_major_formatter(lambda hour, _: "{:02d}:{:02d}".format(*divmod(round(hour * 60) % 1440, 60)))
    low, high = axes.get_xlim()
    step = next((one for one in (1 / 12, 1 / 6, 0.25, 0.5, 1, 2, 3, 6, 12, 24) if (high - low) / one <= 7), 48)
    axes.set_xticks(np.arange(math.ceil(low / step), math.floor(high / step) + 1) * step)


def check_chart(record: NightRecord, zone: tzinfo) -> str:
    """Readings of the check standards beside their assigned values, with U; a good one's bar crosses the line."""
    k = record.plan.checks.coverage_factor
    measured = [one for one in record.checks if one.spine_thou is not None and one.u_spine_thou is not None]

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        axes.axhline(0, color=INK, lw=1)
        names = list(dict.fromkeys(one.standard for one in measured))
        for name, marker in zip(names, MARKERS * len(names), strict=False):
            same = [one for one in measured if one.standard == name]
            at, off, u = _hours([one.at_ms for one in same], record, zone), *_offsets(same, k)
            axes.errorbar(
                at, off, u, fmt=marker, color=INK, mfc=PAPER, ms=5, lw=1, capsize=3, label=f"standard {printable(name)}"
            )
        bad = [one for one in measured if not one.good]
        if bad:
            at, (off, _) = _hours([one.at_ms for one in bad], record, zone), _offsets(bad, k)
            axes.plot(at, off, "s", color=INK, ms=7, zorder=3, label="out of control")
        suspects = [one.steps[-1].at_ms for one in record.stock if one.shaft in record.suspects and one.steps]
        if suspects:
            low, _ = axes.get_ylim()
            at = _hours(suspects, record, zone)
            axes.plot(at, np.full(len(at), low), "|", color=INK, ms=9, label="suspect shaft")
        axes.set_ylabel("reading - assigned, thou")
        _clock_axis(axes)
        figure.legend(loc="outside upper center", ncols=2, fontsize=9)

    return (
        drawn(draw, 2.9, "What the gauge read of its check standards, beside their assigned values") if measured else ""
    )


def _offsets(same: Sequence[Check], k: float) -> tuple[Any, Any]:
    off = np.array([(one.spine_thou or 0.0) - one.assigned_thou for one in same])
    return off, np.array([k * math.hypot(one.u_spine_thou or 0.0, one.u_assigned_thou) for one in same])


def gauge_chart(record: NightRecord, zone: tzinfo) -> str:
    """Zero, noise, slip and temperature of the gauge through the night; limits where they come near."""
    seen = [(step.at_ms, step.watched) for one in record.passages for step in one.steps if step.watched]
    watch = record.plan.watch
    panels = (
        ("zero_n", "zero, mN", 1e3, watch.zero_change_n, True),
        ("noise_n", "noise, mN", 1e3, watch.noise_n, False),
        ("slip_pct", "slip, %", 1.0, watch.slip_pct, False),
        ("temperature_c", "board, °C", 1.0, None, False),
    )
    known = [
        (panel, rows)
        for panel in panels
        if (rows := [(at_ms, watched[panel[0]]) for at_ms, watched in seen if watched.get(panel[0]) is not None])
    ]

    def draw(figure: Figure) -> None:
        shared = figure.subplots(len(known), 1, sharex=True, squeeze=False)[:, 0]
        for axes, ((_, label, scale, limit, from_first), rows) in zip(shared, known, strict=True):
            at, values = _hours([one for one, _ in rows], record, zone), np.array([value for _, value in rows]) * scale
            values = values - values[0] if from_first else values
            axes.plot(at, values, ".", color=INK, ms=2.5)
            for bound in (limit * scale, -limit * scale) if limit else ():
                if np.abs(values).max() > SEEN * abs(bound) and (bound > 0 or values.min() < 0):
                    axes.axhline(bound, color=INK, ls="--", lw=1)
            axes.set_ylabel(label)
        _clock_axis(shared[-1])
        figure.align_ylabels()

    return drawn(draw, 0.5 + 1.05 * len(known), "Zero, noise and slip of the gauge through the night") if known else ""


def pace_chart(record: NightRecord, zone: tzinfo) -> str:
    """Shafts that were done in each hour, or in each ten minutes of a short night, and when faults came."""
    at = _hours(ended_ms(record), record, zone)
    faults = _hours([one.at_ms for one in record.happenings if one.kind is HappeningKind.FAULT], record, zone)

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        step = 1.0 if pace(record).hours > 2 else 1 / 6
        first, last = (math.floor(float(edge(at)) / step) for edge in (np.min, np.max))
        edges = np.arange(first, last + 2) * step
        count, _ = np.histogram(at, edges)
        axes.bar(edges[:-1], count, step, align="edge", facecolor=SHADE, edgecolor=INK, linewidth=0.7)
        if len(faults):
            axes.plot(faults, np.full(len(faults), 1.06 * count.max()), "v", color=INK, ms=6, label="fault")
            figure.legend(loc="outside upper right", fontsize=9)
        axes.set_ylim(0, 1.15 * max(1, count.max()))
        axes.set_ylabel("shafts an hour" if step == 1.0 else "shafts in ten minutes")
        _clock_axis(axes)

    return drawn(draw, 2.4, "Shafts done through the night") if len(at) else ""
