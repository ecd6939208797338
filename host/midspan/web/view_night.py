"""A night for the page: what the gauge is doing, the bins as they fill, the pace, faults with what to do, charts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from itertools import pairwise

from midspan.base.formatting import with_uncertainty
from midspan.report import night_lists, night_text
from midspan.report.night_data import NightRecord
from midspan.report.night_lists import coverage_factor
from midspan.report.night_statistics import not_measured, places, rate_text
from midspan.report.night_text import because, clock, end_of
from midspan.report.result_text import verdict_words
from midspan.store.transit import RunEventKind, Transit, TransitStage
from midspan.web.follow import Clock
from midspan.web.svg_chart import LEFT, SvgChart, with_room
from midspan.web.svg_live_curve import Turned
from midspan.wire.fault_texts import fault_texts, host_fault_texts
from midspan.wire.records import FaultCode, HostFault

LATEST = 12  # shafts that are listed beside the charts
PACE_OF = 30  # the newest shafts, from which the pace is taken: what a pause at midnight cost does not count at three
QUIET_MINUTES = 5  # longer than any cycle
LONGEST_S = 3600.0  # that a shaft takes; what is longer, or less than nothing, was a pause or a clock that was set
TOLD = (RunEventKind.FAULT, RunEventKind.ALARM, RunEventKind.CHECK, RunEventKind.FULL, RunEventKind.NOTICE,
        RunEventKind.CLOCK)  # fmt: skip
MOST_FAULTS = 8
LEAST_CHECK_THOU, LEAST_SPINE_THOU = 1.0, 4.0


@dataclass(frozen=True)
class Row:
    """A shaft in a list."""

    shaft: int
    at: str
    what: str
    spine: str
    verdict: str
    place: str


@dataclass(frozen=True)
class Trouble:
    """A fault: when, what, and what to do; `often` how many of the same followed one another."""

    at: str
    code: str
    words: str
    way_back: str


def is_running(record: NightRecord) -> bool:
    """Whether nothing says that the night is over or has stopped."""
    return end_of(record) is None


def doing(record: NightRecord, turned: Turned | None, now: Clock) -> tuple[str, str]:
    """What the gauge is doing now, and when that was last heard of."""
    end = end_of(record)
    if end is not None:
        over = end.kind is RunEventKind.ENDED
        return (
            f"The night {'came to its end' if over else 'stopped'} at {clock(end.at_ms, now.zone)}: "
            f"{because(end.words)}.",
            "" if over else "midspan sort with --resume goes on where it stopped.",
        )
    newest = record.transits[-1] if record.transits else None
    heard = (_heard(newest), *(one.at_ms for one in record.events[-1:]), record.night.begun_ms)
    # The nearest: after a clock was set back the latest time is no longer the newest.
    minutes = min(abs(now.now_ms() - at_ms) for at_ms in heard) / 60_000
    quiet = ""
    if minutes > QUIET_MINUTES:
        quiet = f"Nothing was noted for {minutes:.0f} minutes: look at the gauge and at the computer that sorts."
    return _at_work(record, newest, turned), quiet


def _heard(transit: Transit | None) -> int:
    if transit is None:
        return 0
    return transit.steps[-1].at_ms if transit.steps else transit.ordered_ms


def _at_work(record: NightRecord, newest: Transit | None, turned: Turned | None) -> str:
    if newest is None or not newest.is_open:
        return "Between two shafts."
    what = f"Check standard {newest.standard}" if newest.standard is not None else f"Shaft {newest.shaft}"
    if newest.stage is TransitStage.MEASURING:
        here = turned is not None and turned.shaft == newest.shaft
        return (
            f"{what}: {turned.words}, {turned.readings} readings so far." if here and turned else f"{what} is measured."
        )
    return {
        TransitStage.ORDERED: f"{what} is being fed.",
        TransitStage.IN_GAUGE: f"{what} lies in the gauge.",
        TransitStage.JUDGED: f"{what} is judged and about to leave.",
        TransitStage.LEAVING: f"{what} leaves for {record.plan.place_called(newest.place or 0)}.",
    }[newest.stage]


def done(record: NightRecord) -> int:
    """How many shafts went through the gauge; where two fell at once, both."""
    return sum(max(1, one.passed) for one in record.stock if not one.is_open)


def pace_words(record: NightRecord) -> str:
    """Shafts an hour by the newest ones, and the time left when the plan says how many lie in the hopper."""
    ends = [one.steps[-1].at_ms for one in record.stock if not one.is_open]
    took_s = [(end - begin) / 1000 for begin, end in pairwise(ends[-PACE_OF:])]
    took_s = [one for one in took_s if 0 < one <= LONGEST_S]
    loaded = record.plan.sort.loaded if is_running(record) else None
    return rate_text(len(took_s), sum(took_s), None if loaded is None else max(0, loaded - done(record)))


def troubles(record: NightRecord, now: Clock) -> list[Trouble]:
    """The newest faults, each with what to do."""
    told = [one for one in record.events if one.kind in TOLD]
    return [
        Trouble(
            clock(one.at_ms, now.zone), one.code or one.kind.value, one.words.removeprefix(f"{one.code}: "),
            way_back(one.code, one.words),
        )
        for one in reversed(told[-MOST_FAULTS:])
    ]  # fmt: skip


def way_back(code: str | None, words: str = "") -> str:
    """What to do about a fault, unless its words say so already."""
    text = ""
    if code is None:
        return text
    if code in HostFault.__members__:
        text = host_fault_texts()[HostFault(code)].way_back
    elif code in FaultCode.__members__:
        text = fault_texts()[FaultCode[code]].way_back
    return "" if text in words else text


def shaft_rows(record: NightRecord, some: tuple[Transit, ...], now: Clock) -> list[Row]:
    """Shafts as lines, in the order given."""
    k = coverage_factor(record)
    rows = []
    for one in some:
        found, spine, words = record.result_of(one), "", one.unfit or ""
        if found is not None:
            words = verdict_words(found.decision)
            if found.spine_thou is not None and found.u_spine_thou is not None:
                spine = with_uncertainty(found.spine_thou, k * found.u_spine_thou, 2)
        place = "" if one.place is None else record.plan.place_called(one.place)
        what = f"standard {one.standard}" if one.standard is not None else ""
        rows.append(Row(one.shaft, clock(_heard(one), now.zone), what, spine, words, place or one.stage.value))
    return rows


def night_values(record: NightRecord, now: Clock) -> dict[str, object]:
    """What the template of a night shows beside the shaft in hand."""
    found = places(record)
    things = night_text.todos(record, found, now.zone)
    if is_running(record):  # the shaft in hand is in good hands
        things = [
            one for one in things if not any(one.what.startswith(f"Shaft {p.shaft} ") for p in record.transits[-1:])
        ]
    return {
        "places": found,
        "pace": pace_words(record),
        "done": done(record),
        "unmeasured": len(not_measured(record)),
        "troubles": troubles(record, now),
        "things": things,
        "suspects": night_lists.suspects(record, found),
        "rows": shaft_rows(record, record.transits[: -LATEST - 1 : -1], now),
        "checks": checks_chart(record, now),
        "good": sum(one.good for one in record.checks),
        "checked": len(record.checks),
        "spines": spines_chart(record),
        "k": coverage_factor(record),
    }


def checks_chart(record: NightRecord, now: Clock) -> str:
    """What the gauge read of its check standards less what they are, each with U of both."""
    k = record.plan.checks.coverage_factor
    read = [one for one in record.checks if one.spine_thou is not None and one.u_spine_thou is not None]
    if not read:
        return ""
    off = [(one.spine_thou or 0.0) - one.assigned_thou for one in read]
    u = [k * math.hypot(one.u_spine_thou or 0.0, one.u_assigned_thou) for one in read]
    ends = [value + sign * width for value, width in zip(off, u, strict=True) for sign in (-1, 1)]
    chart = SvgChart(
        "Check standards, reading less assigned value",
        (0.5, len(read) + 0.5),
        with_room([0.0, *ends], LEAST_CHECK_THOU),
    )
    chart.across(0.0)
    for number, (one, value, width) in enumerate(zip(read, off, u, strict=True), 1):
        chart.bar(number, value - width, value + width, open_mark=one.good)
    shown = range(1, len(read) + 1, max(1, len(read) // 7))
    marks = [(float(n), clock(read[n - 1].at_ms, now.zone)) for n in shown]
    return chart.done("measured at", "read less assigned, thou", marks)


def spines_chart(record: NightRecord) -> str:
    """Every measured shaft's spine in the order they came, with the limits of the bins."""
    some = [(one, record.result_of(one)) for one in record.stock]
    points = [
        (number, found.spine_thou, found.decision.bin is not None)
        for number, (_, found) in enumerate(some, 1)
        if found is not None and found.spine_thou is not None
    ]
    if not points:
        return ""
    bands = () if record.bands is None else record.bands.in_order
    limits = sorted({end for one in bands for end in one.spine_thou})
    near = (
        with_room(limits, LEAST_SPINE_THOU, 0.25) if limits else with_room([y for _, y, _ in points], LEAST_SPINE_THOU)
    )
    shown = [(x, y, fits) for x, y, fits in points if near[0] <= y <= near[1]]
    beyond = len(points) - len(shown)
    chart = SvgChart("Spines of the shafts in the order they came", (0.0, max(10.0, points[-1][0] + 1)), near)
    for end in limits:
        chart.across(end)
    for one in bands:
        chart.parts.append(_name(chart, one.name, (one.low_thou + one.high_thou) / 2))
    chart.dots([(x, y) for x, y, fits in shown if fits], "dots")
    chart.dots([(x, y) for x, y, fits in shown if not fits], "dots out")
    return chart.done(f"shaft of the night{f' ({beyond} not shown: far outside)' if beyond else ''}", "spine, thou")


def _name(chart: SvgChart, words: str, y: float) -> str:
    return f'<text class="inside" x="{LEFT + 8}" y="{chart.down_to(y) + 4:.1f}">{escape(words)}</text>'
