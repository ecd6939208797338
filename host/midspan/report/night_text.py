"""A run of sorting in sentences: how it ended, what became of the shafts, and what a person must do, most urgent first.

>>> shafts(1), shafts(12)
('1 shaft', '12 shafts')
>>> ready([]), ready([Todo("Recount place 1.", "")])
('Nothing to do.', '1 thing to do.')
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from midspan.base.formatting import ranges, shafts_numbered
from midspan.measurement.shown_quantities import sentence_text
from midspan.report.night_data import NightRecord
from midspan.report.night_statistics import PlaceCount, judged_under, keeps_time, last_ms, suspects
from midspan.store.transit import RunEvent, RunEventKind, Transit, TransitStage
from midspan.wire.fault_texts import host_fault_texts
from midspan.wire.records import HostFault

TURNING = (RunEventKind.BEGUN, RunEventKind.RESUMED, RunEventKind.ENDED, RunEventKind.STOPPED)
CLOCK_SET = "The computer's clock was set during the run"


def shafts(number: int) -> str:
    """Return a number of shafts in words.

    Parameters
    ----------
    number : int
        The number.

    Returns
    -------
    str
        As in "12 shafts".

    Examples
    --------
    >>> shafts(1)
    '1 shaft'
    """
    return "1 shaft" if number == 1 else f"{number} shafts"


def numbered(some: Sequence[Transit]) -> str:
    """Return shafts by their numbers in words.

    Parameters
    ----------
    some : Sequence[Transit]
        The shafts.

    Returns
    -------
    str
        Their numbers in words.
    """
    return shafts_numbered([transit.shaft for transit in some])


def clock(at_ms: int, zone: tzinfo) -> str:
    """Return hour and minute of a time.

    Parameters
    ----------
    at_ms : int
        The time, ms since 1970.
    zone : tzinfo
        Time zone of the times shown.

    Returns
    -------
    str
        As in 23:05.
    """
    return datetime.fromtimestamp(at_ms / 1000, zone).strftime("%H:%M")


def end_of(record: NightRecord) -> RunEvent | None:
    """Return the event that ended a run.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    RunEvent or None
        Its end or stop, None while the journal has neither.
    """
    return end_among(record.events)


def end_among(events: Sequence[RunEvent]) -> RunEvent | None:
    """Return the event that ended a run, from all its events.

    Parameters
    ----------
    events : Sequence[RunEvent]
        The events, oldest first.

    Returns
    -------
    RunEvent or None
        Its end or stop, None while there is neither.
    """
    turning = [event for event in events if event.kind in TURNING]
    return turning[-1] if turning and turning[-1].kind in (RunEventKind.ENDED, RunEventKind.STOPPED) else None


def headline(record: NightRecord) -> str:
    """Return in a few words how a run ended.

    Parameters
    ----------
    record : NightRecord
        The run.

    Returns
    -------
    str
        A clause without a full stop.
    """
    end, name = end_of(record), f"Run {record.night.id}"
    if end is None:
        return f"{name} has not finished"
    return f"{name} finished" if end.kind is RunEventKind.ENDED else f"{name} stopped"


def story(record: NightRecord, zone: tzinfo) -> Iterator[str]:
    """Yield what happened, a sentence at a time.

    Parameters
    ----------
    record : NightRecord
        The run.
    zone : tzinfo
        Time zone of the times shown.

    Yields
    ------
    str
        A sentence.
    """
    end = end_of(record)
    begun, last = clock(record.night.begun_ms, zone), clock(last_ms(record), zone)
    when = f"From {begun} to {last}" if keeps_time(record) else CLOCK_SET
    yield f"{when}."
    yield record.account.words(record.plan)
    yield from _not_certain(record)
    if record.checks:
        good = sum(check.good for check in record.checks)
        read = "every time" if good == len(record.checks) else f"{good} times of {len(record.checks)}"
        yield f"The gauge read its check standards right {read}."
    else:
        yield "No check standard was measured: these numbers rest on the calibration alone."
    if end is None:
        yield f"The journal ends at {last}: either the run is still going, or its computer went down."
    else:
        yield f"It {'ended' if end.kind is RunEventKind.ENDED else 'stopped'} because {because(end.words)}."


def because(words: str) -> str:
    """Return a reason as the end of a sentence that begins with because.

    Parameters
    ----------
    words : str
        The reason, may be empty.

    Returns
    -------
    str
        The reason without a full stop.
    """
    return words.rstrip(".") or "someone asked for it"


def _not_certain(record: NightRecord) -> Iterator[str]:
    """Yield which shafts came along unmeasured, and of which the bin is not certain."""
    along = record.account.along
    if along:
        yield f"{shafts(along)} came with another and {'was' if along == 1 else 'were'} not measured."
    unsure = [transit.shaft for transit in record.stock if transit.stage is TransitStage.UNCERTAIN]
    if unsure:
        yield f"{shafts(len(unsure))} ({ranges(unsure)}): bin not certain."


@dataclass(frozen=True, slots=True)
class Todo:
    """A thing to do, and how.

    Parameters
    ----------
    what : str
        The thing to do.
    how : str
        How to do it.
    """

    what: str
    how: str


def ready(todos: Sequence[Todo]) -> str:
    """Return in words how many things there are to do.

    Parameters
    ----------
    todos : Sequence[Todo]
        The things to do.

    Returns
    -------
    str
        A sentence.
    """
    if not todos:
        return "Nothing to do."
    return f"{len(todos)} thing{'s' if len(todos) != 1 else ''} to do."


def todos(record: NightRecord, found: Sequence[PlaceCount], zone: tzinfo) -> list[Todo]:
    """Return what a person must do after a run.

    Parameters
    ----------
    record : NightRecord
        The run.
    found : Sequence[PlaceCount]
        Its places, as `places` counts them.
    zone : tzinfo
        Time zone of the times shown.

    Returns
    -------
    list[Todo]
        Most urgent first, empty if there is nothing to do.
    """
    return [todo for look in LOOKS for todo in look(record, found, zone)]


def _in_the_gauge(record: NightRecord, _: Sequence[PlaceCount], __: tzinfo) -> Iterator[Todo]:
    """Yield a task for each shaft that may still be in the gauge."""
    for transit in record.transits:
        if not transit.is_open:
            continue
        where = {
            TransitStage.ORDERED: "was being fed when the run stopped: look whether it lies in the gauge",
            TransitStage.LEAVING: f"is in the gauge or in {record.plan.place_called(transit.place or 0)}",
        }.get(transit.stage, "is still in the gauge")
        yield Todo(
            f"Shaft {transit.shaft} {where}.",
            "Leave it there: midspan sort PLAN --resume finds it and goes on. If you take it out, put it back into the "
            "hopper: it gets a new number.",
        )


def _stopped(record: NightRecord, _: Sequence[PlaceCount], zone: tzinfo) -> Iterator[Todo]:
    """Yield what to do about a stop."""
    end = end_of(record)
    if end is not None and end.kind is RunEventKind.STOPPED:
        yield Todo(
            f"Clear what stopped the run at {clock(end.at_ms, zone)}: {because(end.words)}.",
            "Then go on where it stopped: midspan sort PLAN --resume",
        )


def _cracked(_: NightRecord, found: Sequence[PlaceCount], __: tzinfo) -> Iterator[Todo]:
    """Yield a task for each place with shafts that may be cracked."""
    for place in found:
        if place.use == "cracked" and place.now:
            yield Todo(
                f"Take {shafts(place.now)} out of {place.name}: they may be cracked and must not be shot.",
                "Their force came back too small, as after a crack. Keep them apart, or break them with eye protection "
                "on: carbon throws splinters.",
            )


def _recount(_: NightRecord, found: Sequence[PlaceCount], __: tzinfo) -> Iterator[Todo]:
    """Yield a task for each place where journal and chute disagree."""
    for place in found:
        if place.is_sure:
            continue
        confirmed = place.confirmed
        parts = [f"{confirmed} confirmed" + (f"; {numbered(place.unsure)} may be there too" if place.unsure else "")]
        if place.unsure:
            parts[0] += f" ({_whys(place.unsure)}). Count them: {confirmed} or {place.sent}?"
        else:
            parts[0] += "."
        if place.along:
            parts.append(f"Another shaft came with {numbered(place.along)} and was not measured.")
        if place.emptied:
            parts.append("It was emptied during the run: count those too.")
        yield Todo(f"Recount {place.name}.", " ".join(parts))


def _whys(some: Sequence[Transit]) -> str:
    """Return why shafts are uncertain, each reason once."""
    return "; ".join(dict.fromkeys(transit.steps[-1].words or "no sensor saw it fall" for transit in some))


def _suspect(record: NightRecord, found: Sequence[PlaceCount], __: tzinfo) -> Iterator[Todo]:
    """Yield the shafts to measure again after a failed check."""
    where = "; ".join(f"{place.place}: {place.words}" for place in suspects(record, found))
    if where:
        yield Todo(
            f"Measure {shafts(len(record.suspects))} again: the gauge may have read wrong.",
            "They were measured between a check standard that read right and one that did not; the list is below. "
            f"{where[0].upper()}{where[1:]}.",
        )


def _recheck(_: NightRecord, found: Sequence[PlaceCount], __: tzinfo) -> Iterator[Todo]:
    """Yield the shafts to measure once more."""
    for place in found:
        if place.use == "recheck" and place.now:
            yield Todo(
                f"Measure {shafts(place.now)} in {place.name} once more, or sort them by hand.",
                "They stayed doubtful, could not be measured, or their own bin was full: the lists say which."
                + _standards_among(place),
            )


def _standards_among(place: PlaceCount) -> str:
    """Return a warning about check standards that a person put in, which leave this way; empty without any."""
    names = dict.fromkeys(transit.standard for transit in place.here if transit.standard is not None)
    return f" Among them is check standard {' and '.join(names)}: take it out." if names else ""


def _taken_out(record: NightRecord, _: Sequence[PlaceCount], __: tzinfo) -> Iterator[Todo]:
    """Yield the shafts that somebody took out of the gauge."""
    taken = [transit for transit in record.transits if transit.stage is TransitStage.TAKEN_OUT]
    if taken:
        yield Todo(
            f"Put {numbered(taken)} back into the hopper, if you know which they are.",
            "They were no longer in the gauge although no order had moved them: someone took them out.",
        )


def _standards(record: NightRecord, _: Sequence[PlaceCount], zone: tzinfo) -> Iterator[Todo]:
    """Yield what to do about a check standard that read wrong."""
    bad = [check for check in record.checks if not check.good]
    if bad:
        yield Todo(
            f"Find out why check standard {bad[-1].standard} read wrong at {clock(bad[-1].at_ms, zone)}: "
            f"{'; '.join(map(sentence_text, bad[-1].reasons))}.",
            "Check that it is clean, straight and seated, that head and rollers are clean, and that the room has not "
            "changed; then measure it again. If it still reads wrong, calibrate before you sort anything else.",
        )


def _alarms(record: NightRecord, _: Sequence[PlaceCount], zone: tzinfo) -> Iterator[Todo]:
    """Yield a task for each kind of alarm."""
    alarms = [event for event in record.events if event.kind is RunEventKind.ALARM]
    for code in dict.fromkeys(alarm.code for alarm in alarms):
        same = [alarm for alarm in alarms if alarm.code == code]
        often = "once" if len(same) == 1 else f"{len(same)} times"
        way_back = host_fault_texts()[HostFault(code)].way_back if code and code in HostFault.__members__ else ""
        yield Todo(
            f"Look at the gauge: {same[-1].words.removeprefix(f'{code}: ')}.",
            f"{way_back} It came {often}, first at {clock(same[0].at_ms, zone)}.".strip(),
        )


def _settings(record: NightRecord, _: Sequence[PlaceCount], __: tzinfo) -> Iterator[Todo]:
    """Yield the shafts that were judged under other settings than the last ones."""
    found = [spell for spell in judged_under(record) if spell.numbers]
    if len(found) > 1:
        before = [number for spell in found[:-1] for number in spell.numbers]
        yield Todo(
            f"Decide whether {shafts_numbered(before)} may stay with the rest: they were judged under other settings.",
            "The report lists the settings. To judge them alike use midspan recompute, or measure them again.",
        )


def _readings_gone(record: NightRecord, _: Sequence[PlaceCount], __: tzinfo) -> Iterator[Todo]:
    """Yield what to do about readings that are gone."""
    said = [event for event in record.events if event.code == HostFault.READINGS_GONE]
    if said:
        yield Todo(
            f"{said[-1].words[0].upper()}{said[-1].words[1:]}.",
            host_fault_texts()[HostFault.READINGS_GONE].way_back,
        )


def _full(_: NightRecord, found: Sequence[PlaceCount], __: tzinfo) -> Iterator[Todo]:
    """Yield a task for each full place."""
    for place in found:
        if place.holds is not None and place.now >= place.holds:
            yield Todo(f"Empty {place.name}.", f"It is full: {place.now} of {place.holds}.")


def _clock_and_notices(record: NightRecord, _: Sequence[PlaceCount], __: tzinfo) -> Iterator[Todo]:
    """Yield what to do about a clock that jumped and about notices that were not delivered."""
    for kind, what in (
        (
            RunEventKind.CLOCK,
            "Set the computer's clock: it jumped during the run, and times before and after differ.",
        ),
        (RunEventKind.NOTICE, "Check how you are notified: not all messages were delivered."),
    ):
        said = [event.words for event in record.events if event.kind is kind]
        if said:
            last = "The journal says" if len(said) == 1 else f"It happened {len(said)} times; the journal says last"
            yield Todo(what, f"{last}: {said[-1]}")


LOOKS: tuple[Callable[[NightRecord, Sequence[PlaceCount], tzinfo], Iterator[Todo]], ...] = (
    _in_the_gauge, _stopped, _cracked, _recount, _suspect, _standards, _recheck, _taken_out, _alarms, _full,
    _settings, _readings_gone,
    _clock_and_notices,
)  # fmt: skip
