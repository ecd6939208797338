"""Pictures of a run: check standards, the gauge itself and the pace against time; spines against the bands.

Where the clock was set, so that times make no sense, they run along the shafts instead. Markers, line styles, hatches
and outlines carry what colour would.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from midspan.base.formatting import printable
from midspan.decision.bands import Bands
from midspan.decision.decision import Outcome
from midspan.measurement.shown_quantities import across_unit, in_across_unit
from midspan.report.night_data import NightRecord
from midspan.report.night_statistics import LONG_PAUSE, ended, keeps_time, pace, went_to
from midspan.report.picture import INK, LIGHT, SHADE
from midspan.report.plot_svg import PAPER, drawn
from midspan.store.transit import RunEventKind, StandardCheck

HOUR_S = 3600
MARKERS = "oD^vP*X"
SLOTS = 240  # as many as a telephone can show; thousands of dots would make the page slow
DASH = 0.01  # length of a dash as a share of the range of all values
SEEN = 0.5  # share of a limit from which its line is drawn; drawn earlier it would flatten the curve


When = tuple[int, int | None]  # a time in ms since 1970, and the number of the shaft concerned, None if there is none


class _Along:
    """Horizontal axis of the pictures: hours, or shafts where the times make no sense."""

    def __init__(self, record: NightRecord, zone: tzinfo) -> None:
        self.by_time = keeps_time(record)
        self._shafts = [transit.shaft for transit in record.transits]
        self._at = {shaft: float(i) for i, shaft in enumerate(self._shafts)}
        self._midnight_s = _midnight_s(record, zone)

    def at(self, some: Iterable[When]) -> Any:
        """Return where things lie along the axis; among shafts, what concerns no shaft is left out."""
        if self.by_time:
            return (np.array([at_ms for at_ms, _ in some], float) / 1000 - self._midnight_s) / HOUR_S
        return np.array([self._at[shaft] for _, shaft in some if shaft in self._at])

    def axis(self, axes: Any) -> None:
        """Label the axis."""
        if self.by_time:
            _clock_axis(axes)
            return
        axes.xaxis.set_major_locator(MaxNLocator(7, integer=True))
        axes.xaxis.set_major_formatter(self._number)
        axes.set_xlabel("shaft")

    def _number(self, place: float, _: object) -> str:
        at = round(place)
        return str(self._shafts[at]) if 0 <= at < len(self._shafts) else ""


def _midnight_s(record: NightRecord, zone: tzinfo) -> float:
    """Return the midnight before the run began, s since 1970, by the evening's offset from UTC."""
    begun = datetime.fromtimestamp(record.night.begun_ms / 1000, zone)
    offset = begun.utcoffset()
    assert offset is not None
    midnight = begun.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=UTC)
    return midnight.timestamp() - offset.total_seconds()


def _clock_axis(axes: Any) -> None:
    """Mark round times of day on the axis."""
    axes.xaxis.set_major_formatter(lambda hour, _: "{:02d}:{:02d}".format(*divmod(round(hour * 60) % 1440, 60)))
    low, high = axes.get_xlim()
    step = next(
        (step for step in (1 / 60, 1 / 30, 1 / 12, 1 / 6, 0.25, 0.5, 1, 2, 3, 6, 12, 24) if (high - low) / step <= 7),
        48,
    )
    axes.set_xticks(np.arange(math.ceil(low / step), math.floor(high / step) + 1) * step)


def check_chart(record: NightRecord, zone: tzinfo) -> str:
    """Return readings of check standards minus their known values, with what is allowed; empty without readings.

    Parameters
    ----------
    record : NightRecord
        The run.
    zone : tzinfo
        Time zone of the times shown.

    Returns
    -------
    str
        An SVG element, or an empty text.
    """
    k, along = record.plan.checks.coverage_factor, _Along(record, zone)
    measured = [check for check in record.checks if check.spine_thou is not None and check.u_spine_thou is not None]

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        axes.axhline(0, color=INK, lw=1)
        names = list(dict.fromkeys(check.standard for check in measured))
        for name, marker in zip(names, MARKERS * len(names), strict=False):
            same = [check for check in measured if check.standard == name]
            at, off, u = along.at(_checked(same)), *_offsets(same, k)
            axes.errorbar(
                at, off, u, fmt=marker, color=INK, mfc=PAPER, ms=5, lw=1, capsize=3, label=f"standard {printable(name)}"
            )
        bad = [check for check in measured if not check.good]
        if bad:
            axes.plot(
                along.at(_checked(bad)), _offsets(bad, k)[0], "s", color=INK, ms=7, zorder=3, label="out of control"
            )
        suspects = [transit for transit in record.stock if transit.shaft in record.suspects and transit.steps]
        if suspects:
            low, _ = axes.get_ylim()
            at = along.at((transit.steps[-1].at_ms, transit.shaft) for transit in suspects)
            axes.plot(at, np.full(len(at), low), "|", color=INK, ms=9, label="suspect shaft")
        axes.set_ylabel(f"reading minus known\nvalue, {across_unit()}")
        along.axis(axes)
        figure.legend(loc="outside upper center", ncols=2, fontsize=9)

    return drawn(draw, 2.9, "What the gauge read of its check standards, beside their known values") if measured else ""


def _checked(some: Sequence[StandardCheck]) -> list[When]:
    """Return time and shaft number of each check."""
    return [(check.at_ms, check.shaft) for check in some]


def _offsets(same: Sequence[StandardCheck], k: float) -> tuple[Any, Any]:
    """Return reading minus known value of each check, and the difference that the plan allows, in the unit shown."""
    off = np.array([(check.spine_thou or 0.0) - check.assigned_thou for check in same])
    allowed = np.array([k * math.hypot(check.u_spine_thou or 0.0, check.u_assigned_thou) for check in same])
    return in_across_unit(1.0) * off, in_across_unit(1.0) * allowed


@dataclass(frozen=True, slots=True)
class _Panel:
    """A figure of watch.Observation over the run: how it is shown, and if it counts from its first value.

    `scale` converts the figure and its limit to the unit of the label, `least` is the smallest range of the axis in
    that unit.
    """

    name: str
    label: str
    scale: float
    limit: float | None
    from_first: bool
    least: float


def gauge_chart(record: NightRecord, zone: tzinfo) -> str:
    """Return zero, noise, slip and temperature of the gauge over the run; an empty text if none is known.

    Parameters
    ----------
    record : NightRecord
        The run.
    zone : tzinfo
        Time zone of the times shown.

    Returns
    -------
    str
        An SVG element, or an empty text.
    """
    watch, along = record.plan.watch, _Along(record, zone)
    panels = (
        _Panel("zero_n", "zero, mN", 1e3, watch.zero_change_n, True, 0.5),
        _Panel("noise_n", "noise, mN", 1e3, watch.noise_n, False, 0.1),
        _Panel("slip_pct", "slip, %", 1.0, watch.slip_pct, False, 0.1),
        _Panel("temperature_c", "gauge, °C", 1.0, None, False, 1.0),
    )
    seen = [
        ((step.at_ms, transit.shaft), step.watched)
        for transit in record.transits
        for step in transit.steps
        if step.watched
    ]
    rows = {
        panel: [(at, value) for at, told in seen if (value := told.get(panel.name)) is not None] for panel in panels
    }
    known = {panel: some for panel, some in rows.items() if some}

    def draw(figure: Figure) -> None:
        shared = figure.subplots(len(known), 1, sharex=True, squeeze=False)[:, 0]
        for axes, (panel, some) in zip(shared, known.items(), strict=True):
            _follow(axes, panel, along.at(at for at, _ in some), np.array([value for _, value in some]))
        along.axis(shared[-1])
        figure.align_ylabels()

    return drawn(draw, 0.5 + 1.05 * len(known), "Zero, noise and slip of the gauge during the run") if known else ""


def _follow(axes: Any, panel: _Panel, at: Any, values: Any) -> None:
    """Draw one panel: the figure against time, and a limit if the figure comes near it."""
    values = values * panel.scale
    values = values - values[0] if panel.from_first else values
    axes.plot(*_spans(at, values, panel.least), color=INK, lw=2, solid_capstyle="round")
    limit = (panel.limit or 0.0) * panel.scale
    for bound in (limit, -limit) if limit else ():
        if np.abs(values).max() > SEEN * abs(bound) and (bound > 0 or values.min() < 0):
            axes.axhline(bound, color=INK, ls="--", lw=1)
    axes.set_ylabel(panel.label)
    low, high = axes.get_ylim()
    room = max(0.0, panel.least - (high - low)) / 2
    axes.set_ylim(low - room, high + room)


def _spans(at: Any, values: Any, least: float) -> tuple[Any, Any]:
    """Return a broken line from the least to the largest value in each of at most SLOTS slots of time.

    A slot with a single value becomes a short dash.
    """
    slot = np.floor((at - at.min()) / max(float(np.ptp(at)), 1e-9) * (SLOTS - 1)).astype(int)
    order = np.argsort(slot, kind="stable")
    starts = np.flatnonzero(np.diff(slot[order], prepend=-1))
    low, high = np.minimum.reduceat(values[order], starts), np.maximum.reduceat(values[order], starts)
    dash = DASH * max(float(np.ptp(values)), least)  # a stroke without length would not be drawn
    middle = np.add.reduceat(at[order], starts) / np.diff(starts, append=len(at))
    gap = np.full(len(starts), np.nan)
    return np.stack([middle, middle, gap], axis=1).ravel(), np.stack([low - dash, high + dash, gap], axis=1).ravel()


def pace_chart(record: NightRecord, zone: tzinfo) -> str:
    """Return how many shafts were done in each hour, or ten minutes of a short run, and when faults came.

    Where times make no sense, it shows how long each shaft took. It is an empty text if no shaft was done.

    Parameters
    ----------
    record : NightRecord
        The run.
    zone : tzinfo
        Time zone of the times shown.

    Returns
    -------
    str
        An SVG element, or an empty text.
    """
    along = _Along(record, zone)
    if not along.by_time:
        return _each_shaft(record, along)
    at = along.at(ended(record))
    faults = along.at((event.at_ms, event.shaft) for event in record.events if event.kind is RunEventKind.FAULT)

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
        along.axis(axes)

    return drawn(draw, 2.4, "Shafts done during the run") if len(at) else ""


def _each_shaft(record: NightRecord, along: _Along) -> str:
    """Return how long each shaft took, without steps of the clock and pauses; an empty text without shafts."""
    longest_s = LONG_PAUSE * (pace(record).usual_s or 0.0)
    took = [
        (when, (when[0] - before) / 1000)
        for (before, _), when in pairwise(ended(record))
        if 0 < when[0] - before <= 1000 * longest_s
    ]

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        seconds = np.array([value for _, value in took])
        axes.plot(
            *_spans(along.at(when for when, _ in took), seconds, seconds.max()), color=INK, lw=2, solid_capstyle="round"
        )
        axes.set_ylim(0, 1.15 * seconds.max())
        axes.set_ylabel("seconds for a shaft")
        along.axis(axes)

    return drawn(draw, 2.4, "How long each shaft took") if took else ""


LOOKS: tuple[tuple[Outcome, Mapping[str, str]], ...] = (
    (Outcome.ACCEPTED, {"facecolor": SHADE, "edgecolor": INK}),
    (Outcome.DOUBTFUL, {"facecolor": LIGHT, "edgecolor": INK}),
    (Outcome.REJECTED, {"facecolor": PAPER, "edgecolor": INK, "hatch": "////"}),
)
COLUMNS = 30  # of a histogram: fewer would hide a second peak, more would show chance
STEPS = (1.0, 2.0, 5.0, 10.0)


def histogram(record: NightRecord) -> str:
    """Return how the spines of the stock lie against the bands; an empty text without spines.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    str
        An SVG element, or an empty text.
    """
    spines = {
        outcome: [
            record.measured[transit.result].spine_thou
            for transit in went_to(record, outcome)
            if transit.result is not None
        ]
        for outcome, _ in LOOKS
    }

    def draw(figure: Figure) -> None:
        over_bands(figure.subplots(), spines, record.bands)
        figure.legend(loc="outside upper center", ncols=3, fontsize=9)

    return drawn(draw, 3.1, "How many shafts have which spine, against the bands") if any(spines.values()) else ""


def over_bands(axes: Any, spines: Mapping[Outcome, Sequence[float | None]], bands: Bands | None) -> None:
    """Draw a histogram of spines by outcome, with the bands; values out of range are counted in the axis label.

    Parameters
    ----------
    axes : Axes
        Empty axes.
    spines : Mapping[Outcome, Sequence[float or None]]
        Spines by outcome, thou.
    bands : Bands or None
        Bands to draw, None for none.
    """
    unit = in_across_unit(1.0)
    everything = unit * np.array([value for some in spines.values() for value in some], float)
    low, high = (unit * end for end in _span(everything / unit, bands))
    width = step_for((high - low) / COLUMNS)
    edges = np.arange(math.floor(low / width), math.ceil(high / width) + 1) * width
    bottom = np.zeros(len(edges) - 1)
    for outcome, look in LOOKS:
        count, _ = np.histogram(unit * np.array(spines.get(outcome, ()), float), edges)
        axes.bar(edges[:-1], count, width, bottom, align="edge", linewidth=0.7, label=outcome.value, **look)
        bottom += count
    axes.set_xlim(edges[0], edges[-1])
    axes.set_ylim(0, max(1.0, float(bottom.max())) * 1.25)
    _bands(axes, bands)
    axes.set_xlabel(f"spine, {across_unit()}" + _beyond(everything, float(edges[0]), float(edges[-1])))
    axes.set_ylabel("shafts")
    axes.xaxis.set_major_locator(MaxNLocator(7))
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))


def step_for(least: float) -> float:
    """Return the smallest 1, 2 or 5 times a power of ten that is no smaller than a number.

    Parameters
    ----------
    least : float
        The number, above 0.

    Returns
    -------
    float
        The round step.

    Examples
    --------
    >>> step_for(0.3), step_for(0.07), step_for(13.0)
    (0.5, 0.1, 20.0)
    """
    power = 10.0 ** math.floor(math.log10(least))
    return next(round(step * power, 9) for step in STEPS if step * power >= least * (1 - 1e-9))


def _span(spines: Any, bands: Bands | None) -> tuple[float, float]:
    """Return the range to draw: the bands and half as much on either side, or nearly all spines without bands."""
    if bands is not None:
        low, high = bands.in_order[0].low_thou, bands.in_order[-1].high_thou
        room = (high - low) / 2
        inside = spines[(spines >= low - room) & (spines <= high + room)]
        return (min(low, *inside), max(high, *inside)) if len(inside) else (low, high)
    low, high = np.quantile(spines, [0.01, 0.99]) if len(spines) else (0.0, 1.0)
    return float(low) - 1.0, float(high) + 1.0


def _bands(axes: Any, bands: Bands | None) -> None:
    """Draw the limits of the bands and their names."""
    for limits in bands.in_order if bands is not None else ():
        for end in limits.spine_thou:
            axes.axvline(in_across_unit(end), color=INK, ls="--", lw=1)
        middle = in_across_unit((limits.low_thou + limits.high_thou) / 2)
        axes.text(
            middle,
            0.985,
            printable(limits.name),
            ha="center",
            va="top",
            fontsize=9,
            transform=axes.get_xaxis_transform(),
        )


def _beyond(spines: Any, low: float, high: float) -> str:
    """Return how many spines lie outside the picture on either side; an empty text if all are inside."""
    sides = ((int((spines < low).sum()), f"below {low:g}"), (int((spines > high).sum()), f"above {high:g}"))
    words = " and ".join(f"{number} {where}" for number, where in sides if number)
    return f"   (not shown: {words})" if words else ""
