"""Report of one run of sorting as a single HTML file that needs nothing else.

Everything that people or gauges wrote is escaped. The pictures are drawn here and are part of the page as SVG.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo
from importlib.metadata import version
from pathlib import Path

from midspan.measurement.shown_quantities import (
    UNKNOWN,
    across_text,
    across_unit,
    meaning,
    spine_convention,
    spine_unit,
)
from midspan.report import night_lists, night_plots, night_text
from midspan.report.night_data import NightRecord, read_night
from midspan.report.night_statistics import PlaceCount, keeps_time, last_ms, pace, places
from midspan.report.night_text import clock
from midspan.report.template import filled, write_page
from midspan.store.place import StorePlace

TEMPLATE = "night_report.html"


def write_report(
    place: StorePlace, number: int | None, out: Path | None, zone: tzinfo | None = None
) -> tuple[Path, str]:
    """Write the report of a run and return its file and the run in a few words.

    Parameters
    ----------
    place : StorePlace
        The store.
    number : int or None
        Number of the run, None for the newest.
    out : Path or None
        File to write, None for night-NUMBER.html.
    zone : tzinfo or None
        Time zone of the times, None for that of this computer.

    Returns
    -------
    tuple[Path, str]
        The file, and how the run ended.

    Raises
    ------
    StoreError
        The store or the run cannot be read.
    OutputError
        The file cannot be written.
    """
    with place.open_to_read() as opened:
        record = read_night(opened, number)
    path = out or Path(f"night-{record.night.id}.html")
    told = page(record, zone or _zone_here(record.night.begun_ms))
    write_page(path, told.html)
    return path, told.words


def _zone_here(at_ms: int) -> tzinfo:
    """Return this computer's time zone at a time in milliseconds since 1970."""
    zone = datetime.fromtimestamp(at_ms / 1000).astimezone().tzinfo
    assert zone is not None
    return zone


@dataclass(frozen=True, slots=True)
class Page:
    """A whole page, and the run in a few words.

    Parameters
    ----------
    html : str
        The page.
    words : str
        How the run ended.
    """

    html: str
    words: str


def page(record: NightRecord, zone: tzinfo) -> Page:
    """Return the report of a run with its times in a zone.

    Parameters
    ----------
    record : NightRecord
        The run.
    zone : tzinfo
        Time zone of the times shown.

    Returns
    -------
    Page
        The page.
    """
    found = places(record)
    todos = night_text.todos(record, found, zone)
    headline, ready = night_text.headline(record), night_text.ready(todos)
    html = filled(
        TEMPLATE,
        title=f"Run {record.night.id} on gauge {record.night.gauge}",
        when=_when(record, zone),
        headline=headline,
        ready=ready,
        story=list(night_text.story(record, zone)),
        todos=todos,
        places=found,
        pictures=_pictures(record, zone),
        checks=night_lists.checks(record, zone),
        events=night_lists.events(record, zone),
        judged_under=night_lists.judged_under(record),
        suspects=night_lists.suspects(record, found),
        unmeasured=night_lists.unmeasured(record, zone),
        turned_away=night_lists.turned_away(record, zone),
        pace=_pace_words(record, zone),
        units={"spine": spine_unit(), "across": across_unit(), "convention": spine_convention()},
        mean_of={place.number: _mean_of(place) for place in found},
        meaning=meaning(),
        made_by=_made_by(record),
        zone=f"UTC{datetime.fromtimestamp(record.night.begun_ms / 1000, zone):%z}",
    )
    return Page(html, f"{headline}. {ready}")


def _mean_of(place: PlaceCount) -> tuple[str, str]:
    """Return mean spine of a bin and its standard deviation from shaft to shaft, dashes where there are none."""
    if not place.is_bin:
        return UNKNOWN, UNKNOWN
    return across_text(place.mean_thou).number, across_text(place.sd_thou).number


def _pictures(record: NightRecord, zone: tzinfo) -> dict[str, str]:
    """Return the pictures by name, each an SVG element or an empty text if there is nothing to draw."""
    return {
        "histogram": night_plots.histogram(record),
        "checks": night_plots.check_chart(record, zone),
        "gauge": night_plots.gauge_chart(record, zone),
        "pace": night_plots.pace_chart(record, zone),
    }


def _when(record: NightRecord, zone: tzinfo) -> str:
    """Return the day and the times from beginning to end."""
    begun, last = (datetime.fromtimestamp(at / 1000, zone) for at in (record.night.begun_ms, last_ms(record)))
    if not keeps_time(record):
        return f"{begun:%a %d %b %Y, %H:%M}; the clock was set meanwhile"
    end = f"{last:%H:%M}" if last.date() == begun.date() else f"{last:%a %d %b, %H:%M}"
    return f"{begun:%a %d %b %Y, %H:%M} to {end}"


def _pace_words(record: NightRecord, zone: tzinfo) -> str:
    """Return in a sentence or two how fast it went."""
    found = pace(record)
    if found.usual_s is None:
        return "No shaft was sorted."
    if not keeps_time(record) or found.per_hour is None:
        return (
            f"{night_text.shafts(found.shafts)}, {found.usual_s:.0f} s for most of them. How long all took is not "
            "known: the clock was set meanwhile."
        )
    words = (
        f"{night_text.shafts(found.shafts)} in {_length(found.hours)}: {found.per_hour:.0f} an hour, "
        f"{found.usual_s:.0f} s for most of them."
    )
    if not found.pauses:
        return words
    begin, end = max(found.pauses, key=lambda pause: pause[1] - pause[0])
    return (
        f"{words} It waited {_length(found.waited_hours)} in all, longest from {clock(begin, zone)} to "
        f"{clock(end, zone)}."
    )


def _length(hours: float) -> str:
    """Return a duration in hours, or in minutes if it is short."""
    return f"{hours:.1f} hours" if hours >= 2 else f"{60 * hours:.0f} min"


def _made_by(record: NightRecord) -> str:
    """Return version and calibrations that the report rests on."""
    names = ", ".join(record.calibrations) or "none"
    return f"Made by Midspan {version('midspan')} from the journal of the run; calibration: {names}."
