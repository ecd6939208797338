"""Values of a night for the page: what the gauge is doing, the bins, the pace, faults with what to do, charts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from itertools import pairwise

from midspan.measurement.shown_quantities import across_unit, in_across_unit, meaning, spine_text, spine_unit
from midspan.report import night_lists, night_text
from midspan.report.night_data import NightRecord
from midspan.report.night_statistics import places, rate_text
from midspan.report.night_text import because, clock, end_of
from midspan.report.result_text import verdict_words
from midspan.store.transit import RunEventKind, Transit, TransitStage
from midspan.web.follow import Clock
from midspan.web.svg_chart import LEFT, SvgChart, with_room
from midspan.web.svg_live_curve import Turned
from midspan.wire.fault_texts import fault_texts, host_fault_texts
from midspan.wire.records import FaultCode, HostFault

LATEST = 12  # shafts listed beside the charts
PACE_OF = 30  # newest shafts that give the pace: a pause hours ago must not count any more
QUIET_MINUTES = 5  # longer than any cycle
LONGEST_S = 3600.0  # for a shaft; a longer or negative time was a pause, or a clock that was set
TOLD = (RunEventKind.FAULT, RunEventKind.ALARM, RunEventKind.CHECK, RunEventKind.FULL, RunEventKind.NOTICE,
        RunEventKind.CLOCK)  # fmt: skip
MOST_FAULTS = 8
LEAST_CHECK_THOU, LEAST_SPINE_THOU = 1.0, 4.0


@dataclass(frozen=True)
class Row:
    """A shaft in a list.

    Parameters
    ----------
    shaft : int
        Number of the shaft.
    at : str
        Time of its last step.
    what : str
        Name of a check standard; empty for a shaft.
    spine : str
        Spine with its ±, in the unit of the heading; empty if it was not measured.
    verdict : str
        Decision in words.
    place : str
        Name of its place, or the stage it has reached.
    """

    shaft: int
    at: str
    what: str
    spine: str
    verdict: str
    place: str


@dataclass(frozen=True)
class Trouble:
    """A fault, an alarm or another event that a person should know.

    Parameters
    ----------
    at : str
        When it happened.
    kind : str
        Kind of the event, as in "fault".
    code : str
        Code of the fault, or the kind of the event; the page leaves it out.
    words : str
        What happened.
    way_back : str
        What to do; empty if `words` say so already.
    """

    at: str
    kind: str
    code: str
    words: str
    way_back: str


def is_running(record: NightRecord) -> bool:
    """Return True if no event says that the night is over or has stopped.

    Parameters
    ----------
    record : NightRecord
        The night.

    Returns
    -------
    bool
        False after its end.
    """
    return end_of(record) is None


def doing(record: NightRecord, turned: Turned | None, now: Clock) -> tuple[str, str]:
    """Return what the gauge is doing now, with a warning if it has been quiet for long.

    Parameters
    ----------
    record : NightRecord
        The night.
    turned : Turned | None
        Readings of the shaft in hand; None if there are none.
    now : Clock
        Time and zone.

    Returns
    -------
    tuple[str, str]
        What it is doing, and the warning; the second is empty if there is none.
    """
    end = end_of(record)
    if end is not None:
        over = end.kind is RunEventKind.ENDED
        return (
            f"Run {record.night.id} {'finished' if over else 'stopped'} at {clock(end.at_ms, now.zone)}: "
            f"{because(end.words)}.",
            "" if over else "To go on where it stopped: midspan sort PLAN --resume",
        )
    newest = record.transits[-1] if record.transits else None
    heard = (_heard(newest), *(event.at_ms for event in record.events[-1:]), record.night.begun_ms)
    # The nearest time counts, because after a clock was set back the newest time is not the latest.
    minutes = min(abs(now.now_ms() - at_ms) for at_ms in heard) / 60_000
    quiet = ""
    if minutes > QUIET_MINUTES:
        quiet = f"Nothing has happened for {minutes:.0f} minutes: look at the gauge and at the computer that sorts."
    return _at_work(record, newest, turned), quiet


def _heard(transit: Transit | None) -> int:
    """Return when a shaft was last heard of, ms since 1970; 0 for None."""
    if transit is None:
        return 0
    return transit.steps[-1].at_ms if transit.steps else transit.ordered_ms


def _at_work(record: NightRecord, newest: Transit | None, turned: Turned | None) -> str:
    """Return what the gauge is doing with the newest shaft."""
    if newest is None or not newest.is_open:
        return "Between two shafts."
    what = f"Check standard {newest.standard}" if newest.standard is not None else f"Shaft {newest.shaft}"
    if newest.stage is TransitStage.MEASURING:
        here = turned is not None and turned.shaft == newest.shaft
        return (
            f"{what}: {turned.words}, {turned.readings} readings so far."
            if here and turned
            else f"{what} is being measured."
        )
    return {
        TransitStage.ORDERED: f"{what} is being fed.",
        TransitStage.IN_GAUGE: f"{what} is in the gauge.",
        TransitStage.JUDGED: f"{what} is judged and about to leave.",
        TransitStage.LEAVING: f"{what} is on its way to {record.plan.place_called(newest.place or 0)}.",
    }[newest.stage]


def pace_words(record: NightRecord) -> str:
    """Return the shafts an hour, from the newest shafts, and the time left.

    Parameters
    ----------
    record : NightRecord
        The night.

    Returns
    -------
    str
        One line; without the time left if the plan does not say how many shafts are in the hopper.
    """
    ends = [transit.steps[-1].at_ms for transit in record.stock if not transit.is_open]
    gaps_s = [(end - begin) / 1000 for begin, end in pairwise(ends[-PACE_OF:])]
    took_s = [gap_s for gap_s in gaps_s if 0 < gap_s <= LONGEST_S]
    loaded = record.plan.sort.loaded if is_running(record) else None
    return rate_text(len(took_s), sum(took_s), None if loaded is None else max(0, loaded - record.account.done))


def troubles(record: NightRecord, now: Clock) -> list[Trouble]:
    """Return the newest events that a person should know, each with what to do.

    Parameters
    ----------
    record : NightRecord
        The night.
    now : Clock
        Time and zone.

    Returns
    -------
    list[Trouble]
        Newest first, at most MOST_FAULTS.
    """
    told = [event for event in record.events if event.kind in TOLD]
    return [
        Trouble(
            clock(event.at_ms, now.zone), event.kind.value, event.code or event.kind.value,
            event.words.removeprefix(f"{event.code}: "), way_back(event.code, event.words),
        )
        for event in reversed(told[-MOST_FAULTS:])
    ]  # fmt: skip


def way_back(code: str | None, words: str = "") -> str:
    """Return what to do about a fault.

    Parameters
    ----------
    code : str | None
        Code of the fault; None if there is none.
    words : str
        What is said of it already.

    Returns
    -------
    str
        Empty if there is no such fault, or `words` say it already.
    """
    text = ""
    if code is None:
        return text
    if code in HostFault.__members__:
        text = host_fault_texts()[HostFault(code)].way_back
    elif code in FaultCode.__members__:
        text = fault_texts()[FaultCode[code]].way_back
    return "" if text in words else text


def shaft_rows(record: NightRecord, some: tuple[Transit, ...], now: Clock) -> list[Row]:
    """Return shafts as lines of a list.

    Parameters
    ----------
    record : NightRecord
        The night.
    some : tuple[Transit, ...]
        Shafts to list.
    now : Clock
        Time and zone.

    Returns
    -------
    list[Row]
        In the order given.
    """
    rows = []
    for transit in some:
        found, spine, words = record.result_of(transit), "", transit.unfit or ""
        if found is not None:
            words = verdict_words(found.decision)
            spine = "" if found.spine_thou is None else spine_text(found).cell
        place = "" if transit.place is None else record.plan.place_called(transit.place)
        what = f"standard {transit.standard}" if transit.standard is not None else ""
        at = clock(_heard(transit), now.zone)
        rows.append(Row(transit.shaft, at, what, spine, words, place or transit.stage.value))
    return rows


def night_values(record: NightRecord, now: Clock) -> dict[str, object]:
    """Return the values of the template of a night, except the shaft in hand.

    Parameters
    ----------
    record : NightRecord
        The night.
    now : Clock
        Time and zone.

    Returns
    -------
    dict[str, object]
        Values by name.
    """
    found = places(record)
    things = night_text.todos(record, found, now.zone)
    if is_running(record):  # the program that sorts looks after the shaft in hand
        in_hand = tuple(f"Shaft {transit.shaft} " for transit in record.transits[-1:])
        things = [thing for thing in things if not thing.what.startswith(in_hand)]
    return {
        "places": found,
        "pace": pace_words(record),
        "account": record.account.words(record.plan),
        "troubles": troubles(record, now),
        "things": things,
        "suspects": night_lists.suspects(record, found),
        "rows": shaft_rows(record, record.transits[: -LATEST - 1 : -1], now),
        "checks": checks_chart(record, now),
        "good": sum(check.good for check in record.checks),
        "checked": len(record.checks),
        "spines": spines_chart(record),
        "unit": spine_unit(),
        "meaning": meaning(),
    }


def checks_chart(record: NightRecord, now: Clock) -> str:
    """Draw reading minus known value of the check standards, each with the difference that the plan allows.

    Parameters
    ----------
    record : NightRecord
        The night.
    now : Clock
        Time and zone.

    Returns
    -------
    str
        SVG; empty if no standard was read.
    """
    k = record.plan.checks.coverage_factor
    read = [check for check in record.checks if check.spine_thou is not None and check.u_spine_thou is not None]
    if not read:
        return ""
    off = [in_across_unit((check.spine_thou or 0.0) - check.assigned_thou) for check in read]
    u = [in_across_unit(k * math.hypot(check.u_spine_thou or 0.0, check.u_assigned_thou)) for check in read]
    ends = [value + sign * width for value, width in zip(off, u, strict=True) for sign in (-1, 1)]
    chart = SvgChart(
        "Check standards, reading minus known value",
        (0.5, len(read) + 0.5),
        with_room([0.0, *ends], in_across_unit(LEAST_CHECK_THOU)),
    )
    chart.across(0.0)
    for number, (check, value, width) in enumerate(zip(read, off, u, strict=True), 1):
        chart.bar(number, value - width, value + width, open_mark=check.good)
    shown = range(1, len(read) + 1, max(1, len(read) // 7))
    marks = [(float(n), clock(read[n - 1].at_ms, now.zone)) for n in shown]
    return chart.done("measured at", f"reading minus known value, {across_unit()}", marks)


def spines_chart(record: NightRecord) -> str:
    """Draw every measured shaft's spine in the order they came, with the limits of the bins.

    Parameters
    ----------
    record : NightRecord
        The night.

    Returns
    -------
    str
        SVG; empty if no shaft was measured.
    """
    points = [
        (number, in_across_unit(found.spine_thou), found.decision.bin is not None)
        for number, found in enumerate(map(record.result_of, record.stock), 1)
        if found is not None and found.spine_thou is not None
    ]
    if not points:
        return ""
    bands = () if record.bands is None else record.bands.in_order
    limits = sorted({in_across_unit(end) for band in bands for end in band.spine_thou})
    least = in_across_unit(LEAST_SPINE_THOU)
    near = with_room(limits, least, 0.25) if limits else with_room([y for _, y, _ in points], least)
    shown = [(x, y, fits) for x, y, fits in points if near[0] <= y <= near[1]]
    beyond = len(points) - len(shown)
    chart = SvgChart("Spines of the shafts in the order they came", (0.0, max(10.0, points[-1][0] + 1)), near)
    for end in limits:
        chart.across(end)
    for band in bands:
        chart.parts.append(_name(chart, band.name, in_across_unit((band.low_thou + band.high_thou) / 2)))
    chart.dots([(x, y) for x, y, fits in shown if fits], "dots")
    chart.dots([(x, y) for x, y, fits in shown if not fits], "dots out")
    words = f"shaft of the run{f' ({beyond} not shown: far outside)' if beyond else ''}"
    return chart.done(words, f"spine, {across_unit()}")


def _name(chart: SvgChart, words: str, y: float) -> str:
    """Return the name of a bin as an SVG element at its height."""
    return f'<text class="inside" x="{LEFT + 8}" y="{chart.down_to(y) + 4:.1f}">{escape(words)}</text>'
