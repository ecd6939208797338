"""The lists of a night's report, each line ready to be shown; long ones are cut and say by how much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import TypeVar

from midspan.base.formatting import ranges, with_uncertainty
from midspan.decision.bands import DecisionRule
from midspan.decision.decision import Outcome
from midspan.report import night_statistics
from midspan.report.night_data import NightRecord
from midspan.report.night_statistics import PlaceCount, not_measured, went_to
from midspan.report.night_text import clock
from midspan.report.result_text import verdict_words
from midspan.store.transit import RunEventKind, StandardCheck, Transit, TransitStage
from midspan.wire.fault_texts import describe
from midspan.wire.records import FaultCode

MOST_ROWS = 100  # a list that nobody reads to its end tells nothing
Line = TypeVar("Line")


@dataclass(frozen=True, slots=True)
class ShaftRow:
    """A shaft: when it left the gauge, where to, its spine with U, and why it is in this list."""

    shaft: int
    at: str
    place: str
    spine: str
    why: str


@dataclass(frozen=True, slots=True)
class CheckLine:
    """A check standard: what it read beside its assigned value, with U of both, and what that means."""

    at: str
    standard: str
    off: str
    verdict: str


@dataclass(frozen=True, slots=True)
class EventLine:
    """Something that happened."""

    at: str
    what: str
    shaft: str
    words: str


@dataclass(frozen=True, slots=True)
class Cut:
    """The first lines of a list, and how many more there are."""

    rows: Sequence[object]
    left: int


def cut(rows: Sequence[object]) -> Cut:
    """At most MOST_ROWS of the lines.

    >>> cut([1] * 101).left, len(cut([1] * 101).rows)
    (1, 100)
    """
    return Cut(rows[:MOST_ROWS], max(0, len(rows) - MOST_ROWS))


def coverage_factor(record: NightRecord) -> float:
    """The k of every U in the report: that of the bands' rule."""
    return (DecisionRule() if record.bands is None else record.bands.rule).coverage_factor


def unmeasured(record: NightRecord, zone: tzinfo) -> Cut:
    """Shafts without a spine."""
    return cut([_shaft_row(record, one, zone) for one in not_measured(record)])


def turned_away(record: NightRecord, zone: tzinfo) -> Cut:
    """Measured shafts that are in no bin, those that may be cracked among them, in the order they came."""
    kinds = (Outcome.REJECTED, Outcome.DOUBTFUL, Outcome.INSTRUMENT_FAULT)
    found = [one for kind in kinds for one in went_to(record, kind)]
    return cut([_shaft_row(record, one, zone) for one in sorted(found, key=lambda one: one.shaft)])


def _shaft_row(record: NightRecord, transit: Transit, zone: tzinfo) -> ShaftRow:
    last, result = transit.steps[-1], record.result_of(transit)
    spine, why = "-", _in_words(transit.unfit) or last.words or "it was never measured"
    if result is not None:
        why = verdict_words(result.decision)
        if result.spine_thou is not None and result.u_spine_thou is not None:
            spine = with_uncertainty(result.spine_thou, coverage_factor(record) * result.u_spine_thou, 2)
    return ShaftRow(transit.shaft, clock(last.at_ms, zone), _whereabouts(record, transit), spine, why)


def _in_words(code: str | None) -> str:
    return describe(FaultCode[code]) if code and code in FaultCode.__members__ else code or ""


def _whereabouts(record: NightRecord, transit: Transit) -> str:
    if transit.place is None:
        return transit.stage.value
    name = record.plan.place_called(transit.place)
    return f"{name}, not sure" if transit.stage is TransitStage.UNCERTAIN else name


def checks(record: NightRecord, zone: tzinfo) -> Cut:
    """Check standards in the order they were measured."""
    return cut([_check_row(one, record.plan.checks.coverage_factor, zone) for one in record.checks])


def _check_row(check: StandardCheck, k: float, zone: tzinfo) -> CheckLine:
    off = "-"
    if check.spine_thou is not None and check.u_spine_thou is not None:
        u_thou = math.hypot(check.u_spine_thou, check.u_assigned_thou)
        off = with_uncertainty(check.spine_thou - check.assigned_thou, k * u_thou, 2)
    return CheckLine(clock(check.at_ms, zone), check.standard, off, "; ".join(check.reasons) or "right")


def events(record: NightRecord, zone: tzinfo) -> Cut:
    """Everything that happened beside the shafts."""
    return cut(
        [
            EventLine(
                clock(one.at_ms, zone),
                f"{one.kind.value}: {one.code}" if one.code else one.kind.value,
                "" if one.shaft is None else str(one.shaft),
                one.words.removeprefix(f"{one.code}: "),
            )
            for one in record.events
            if one.kind is not RunEventKind.BEGUN
        ]
    )


def judged_under(record: NightRecord) -> list[tuple[str, str]]:
    """Shafts and check standards by their numbers, and the settings that they alone were judged under."""
    return [
        (ranges(one.numbers) or "-", "; ".join(f"{name} {value}" for name, value in one.settings.items()))
        for one in night_statistics.judged_under(record)
    ]


def suspects(record: NightRecord, found: Sequence[PlaceCount]) -> list[tuple[str, str, str]]:
    """Suspect shafts: their place, which they are there, and their numbers."""
    return [(one.place, one.words, ranges(one.numbers)) for one in night_statistics.suspects(record, found)]
