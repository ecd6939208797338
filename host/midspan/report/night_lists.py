"""Lists of the report on a run, each line ready to be shown; a long list is cut and says by how much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import TypeVar

from midspan.base.formatting import ranges
from midspan.decision.decision import Outcome
from midspan.measurement.shown_quantities import across_text, sentence_text, spine_text
from midspan.report import night_statistics
from midspan.report.night_data import NightRecord
from midspan.report.night_statistics import PlaceCount, not_measured, went_to
from midspan.report.night_text import clock
from midspan.report.result_text import verdict_words
from midspan.store.transit import RunEventKind, StandardCheck, Transit, TransitStage
from midspan.wire.fault_texts import describe
from midspan.wire.records import FaultCode

MOST_ROWS = 100  # nobody reads a longer list to its end
Line = TypeVar("Line")


@dataclass(frozen=True, slots=True)
class ShaftRow:
    """A shaft: when it left the gauge and where to, its spine with its ±, and why it is listed.

    Parameters
    ----------
    shaft : int
        Number.
    at : str
        Time of leaving.
    place : str
        Place.
    spine : str
        Spine with its ±, in the unit of the heading.
    why : str
        Reason for being listed.
    """

    shaft: int
    at: str
    place: str
    spine: str
    why: str


@dataclass(frozen=True, slots=True)
class CheckLine:
    """A check standard: reading minus known value, the difference that the plan allows, and the verdict.

    Parameters
    ----------
    at : str
        Time.
    standard : str
        Name.
    off : str
        Reading minus known value, in the unit of the heading.
    allowed : str
        Largest difference that the plan allows, in that unit.
    verdict : str
        "right", or what is wrong.
    """

    at: str
    standard: str
    off: str
    allowed: str
    verdict: str


@dataclass(frozen=True, slots=True)
class EventLine:
    """An event: when, what, which shaft, and its words.

    Parameters
    ----------
    at : str
        Time.
    what : str
        Kind and code.
    shaft : str
        Number of the shaft concerned, may be empty.
    words : str
        Description.
    """

    at: str
    what: str
    shaft: str
    words: str


@dataclass(frozen=True, slots=True)
class Cut:
    """First lines of a list, and how many more there are.

    Parameters
    ----------
    rows : Sequence[object]
        First lines.
    left : int
        Number of lines left out.
    """

    rows: Sequence[object]
    left: int


def cut(rows: Sequence[object]) -> Cut:
    """Return at most MOST_ROWS of the lines.

    Parameters
    ----------
    rows : Sequence[object]
        All lines.

    Returns
    -------
    Cut
        The first lines, and how many are left out.

    Examples
    --------
    >>> cut([1] * 101).left, len(cut([1] * 101).rows)
    (1, 100)
    """
    return Cut(rows[:MOST_ROWS], max(0, len(rows) - MOST_ROWS))


def unmeasured(record: NightRecord, zone: tzinfo) -> Cut:
    """Return a line for each shaft without a spine.

    Parameters
    ----------
    record : NightRecord
        The run.
    zone : tzinfo
        Time zone of the times shown.

    Returns
    -------
    Cut
        The lines.
    """
    return cut([_shaft_row(record, transit, zone) for transit in not_measured(record)])


def turned_away(record: NightRecord, zone: tzinfo) -> Cut:
    """Return a line for each measured shaft that is in no bin, in the order they were fed.

    Parameters
    ----------
    record : NightRecord
        The run.
    zone : tzinfo
        Time zone of the times shown.

    Returns
    -------
    Cut
        The lines.
    """
    kinds = (Outcome.REJECTED, Outcome.DOUBTFUL, Outcome.INSTRUMENT_FAULT)
    found = [transit for kind in kinds for transit in went_to(record, kind)]
    return cut([_shaft_row(record, transit, zone) for transit in sorted(found, key=lambda transit: transit.shaft)])


def _shaft_row(record: NightRecord, transit: Transit, zone: tzinfo) -> ShaftRow:
    """Return the line of a shaft."""
    last, result = transit.steps[-1], record.result_of(transit)
    spine, why = "-", sentence_text(_in_words(transit.unfit) or last.words or "never measured")
    if result is not None:
        why = verdict_words(result.decision)
        spine = spine_text(result).cell
    return ShaftRow(transit.shaft, clock(last.at_ms, zone), _whereabouts(record, transit), spine, why)


def _in_words(code: str | None) -> str:
    """Return the text of a fault code, or the code itself if it has none; an empty text for None."""
    return describe(FaultCode[code]) if code and code in FaultCode.__members__ else code or ""


def _whereabouts(record: NightRecord, transit: Transit) -> str:
    """Return the place of a shaft, or its stage if it has none."""
    if transit.place is None:
        return transit.stage.value
    name = record.plan.place_called(transit.place)
    return f"{name}, not sure" if transit.stage is TransitStage.UNCERTAIN else name


def checks(record: NightRecord, zone: tzinfo) -> Cut:
    """Return a line for each check of a standard, in the order they were measured.

    Parameters
    ----------
    record : NightRecord
        The run.
    zone : tzinfo
        Time zone of the times shown.

    Returns
    -------
    Cut
        The lines.
    """
    return cut([_check_row(check, record.plan.checks.coverage_factor, zone) for check in record.checks])


def _check_row(check: StandardCheck, k: float, zone: tzinfo) -> CheckLine:
    """Return the line of a check."""
    off = allowed = "-"
    if check.spine_thou is not None and check.u_spine_thou is not None:
        off_thou = check.spine_thou - check.assigned_thou
        off = f"{'+' if off_thou > 0 else ''}{across_text(off_thou).number}"
        allowed = across_text(k * math.hypot(check.u_spine_thou, check.u_assigned_thou)).number
    return CheckLine(
        clock(check.at_ms, zone), check.standard, off, allowed, "; ".join(map(sentence_text, check.reasons)) or "right"
    )


def events(record: NightRecord, zone: tzinfo) -> Cut:
    """Return a line for each event but the beginning.

    Parameters
    ----------
    record : NightRecord
        The run.
    zone : tzinfo
        Time zone of the times shown.

    Returns
    -------
    Cut
        The lines.
    """
    return cut(
        [
            EventLine(
                clock(event.at_ms, zone),
                f"{event.kind.value}: {event.code}" if event.code else event.kind.value,
                "" if event.shaft is None else str(event.shaft),
                event.words.removeprefix(f"{event.code}: "),
            )
            for event in record.events
            if event.kind is not RunEventKind.BEGUN
        ]
    )


def judged_under(record: NightRecord) -> list[tuple[str, str]]:
    """Return which shafts were judged under which settings; empty if no setting changed.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    list[tuple[str, str]]
        Numbers of shafts, and their settings.
    """
    return [
        (ranges(spell.numbers) or "-", "; ".join(f"{name} {value}" for name, value in spell.settings.items()))
        for spell in night_statistics.judged_under(record)
    ]


def suspects(record: NightRecord, found: Sequence[PlaceCount]) -> list[tuple[str, str, str]]:
    """Return the suspect shafts of each place.

    Parameters
    ----------
    record : NightRecord
        The run.
    found : Sequence[PlaceCount]
        Its places, as `places` counts them.

    Returns
    -------
    list[tuple[str, str, str]]
        Place, which of the shafts there, and their numbers.
    """
    return [
        (suspect.place, suspect.words, ranges(suspect.numbers)) for suspect in night_statistics.suspects(record, found)
    ]
