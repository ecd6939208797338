"""What a person must do after a night, the most pressing first.

>>> ready([]), ready([Todo("Recount place 1.", "")])
('Nothing waits for you.', 'One thing waits for you.')
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from midspan.faults import HostFault, host_fault_texts
from midspan.night_facts import Place, judged_under, suspects
from midspan.night_record import NightRecord
from midspan.night_words import because, clock, end_of, numbered, shafts
from midspan.passage import HappeningKind, Passage, Stage
from midspan.wording import shafts_numbered

COUNTS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")


@dataclass(frozen=True, slots=True)
class Todo:
    """Something to be done, and how."""

    what: str
    how: str


def ready(todos: Sequence[Todo]) -> str:
    """How much there is to do."""
    number = len(todos)
    if not number:
        return "Nothing waits for you."
    count = COUNTS[number] if number < len(COUNTS) else str(number)
    return f"{count} {'thing waits' if number == 1 else 'things wait'} for you."


def todos(record: NightRecord, found: Sequence[Place], zone: tzinfo) -> list[Todo]:
    """What a person must do now, the most pressing first."""
    return [todo for look in LOOKS for todo in look(record, found, zone)]


def _in_the_gauge(record: NightRecord, _: Sequence[Place], __: tzinfo) -> Iterator[Todo]:
    for one in record.passages:
        if not one.is_open:
            continue
        where = {
            Stage.ORDERED: "was to be fed last: look whether one lies in the gauge",
            Stage.LEAVING: f"is in the gauge or in {record.plan.place_called(one.place or 0)}",
        }.get(one.stage, "is still in the gauge")
        yield Todo(
            f"Shaft {one.shaft} {where}.",
            "Let it lie: midspan sort with --resume finds out and goes on. If you take it out, put it back into the "
            "hopper: it gets a new number.",
        )


def _stopped(record: NightRecord, _: Sequence[Place], zone: tzinfo) -> Iterator[Todo]:
    end = end_of(record)
    if end is not None and end.kind is HappeningKind.STOPPED:
        yield Todo(
            f"See to what stopped the night at {clock(end.at_ms, zone)}: {because(end.words)}.",
            "Then midspan sort with --resume goes on where it stopped.",
        )


def _cracked(_: NightRecord, found: Sequence[Place], __: tzinfo) -> Iterator[Todo]:
    for place in found:
        if place.use == "cracked" and place.now:
            yield Todo(
                f"Take {shafts(place.now)} out of {place.name}: what lies there may be cracked and must not be shot.",
                "Its force came back too small, as a crack makes it. Keep it apart or break it: eye protection on, for "
                "carbon throws splinters.",
            )


def _recount(_: NightRecord, found: Sequence[Place], __: tzinfo) -> Iterator[Todo]:
    for place in found:
        if place.is_sure:
            continue
        parts = [f"The journal is sure of {shafts(len(place.here))} that went there in the night."]
        if place.unsure:
            parts.append(f"It is not sure of {numbered(place.unsure)}: {_whys(place.unsure)}.")
        if place.along:
            parts.append(f"With {numbered(place.along)} another one came along that was not measured.")
        if place.emptied:
            parts.append("It was emptied in the night: count what was taken away too.")
        yield Todo(f"Recount {place.name}.", " ".join(parts))


def _whys(some: Sequence[Passage]) -> str:
    return "; ".join(dict.fromkeys(one.steps[-1].words or "nobody saw it" for one in some))


def _suspect(record: NightRecord, found: Sequence[Place], __: tzinfo) -> Iterator[Todo]:
    where = "; ".join(f"{one.place}: {one.words}" for one in suspects(record, found))
    if where:
        yield Todo(
            f"Measure {shafts(len(record.suspects))} again: the gauge was not to be trusted.",
            "They came between a check standard that read right and one that did not; their numbers stand below. "
            f"{where[0].upper()}{where[1:]}.",
        )


def _recheck(_: NightRecord, found: Sequence[Place], __: tzinfo) -> Iterator[Todo]:
    for place in found:
        if place.use == "recheck" and place.now:
            yield Todo(
                f"Measure {shafts(place.now)} in {place.name} once more, or sort them by hand.",
                "They stayed in doubt, could not be measured, or found their own place full: their lines say which."
                + _standards_among(place),
            )


def _standards_among(place: Place) -> str:
    """A check standard that a person put in leaves the gauge this way."""
    names = dict.fromkeys(one.standard for one in place.here if one.standard is not None)
    return f" Among them is check standard {' and '.join(names)}: take it out." if names else ""


def _taken_out(record: NightRecord, _: Sequence[Place], __: tzinfo) -> Iterator[Todo]:
    taken = [one for one in record.passages if one.stage is Stage.TAKEN_OUT]
    if taken:
        yield Todo(
            f"Put {numbered(taken)} back into the hopper, if you know which they are.",
            "They were not in the gauge any more, and nobody had ordered them to leave: somebody took them out.",
        )


def _standards(record: NightRecord, _: Sequence[Place], zone: tzinfo) -> Iterator[Todo]:
    bad = [one for one in record.checks if not one.good]
    if bad:
        yield Todo(
            f"Find out why check standard {bad[-1].standard} read wrong at {clock(bad[-1].at_ms, zone)}: "
            f"{'; '.join(bad[-1].reasons)}.",
            "Is it clean, straight and seated, are head and rollers clean, has the room changed? Then measure it "
            "again. If it stays wrong, calibrate the gauge before anything else is sorted.",
        )


def _alarms(record: NightRecord, _: Sequence[Place], zone: tzinfo) -> Iterator[Todo]:
    alarms = [one for one in record.happenings if one.kind is HappeningKind.ALARM]
    for code in dict.fromkeys(one.code for one in alarms):
        same = [one for one in alarms if one.code == code]
        often = "once" if len(same) == 1 else f"{len(same)} times"
        way_back = host_fault_texts()[HostFault(code)].way_back if code and code in HostFault.__members__ else ""
        yield Todo(
            f"Look at the gauge: {code} came {often}, first at {clock(same[0].at_ms, zone)}.",
            f"{way_back} The last one said: {same[-1].words}.".strip(),
        )


def _settings(record: NightRecord, _: Sequence[Place], __: tzinfo) -> Iterator[Todo]:
    found = [one for one in judged_under(record) if one.numbers]
    if len(found) > 1:
        before = [number for one in found[:-1] for number in one.numbers]
        yield Todo(
            f"Decide whether {shafts_numbered(before)} may lie beside the rest: they were judged under other settings.",
            "The report says which. Nothing was judged again: midspan recompute does that, or measure them once more.",
        )


def _readings_gone(record: NightRecord, _: Sequence[Place], __: tzinfo) -> Iterator[Todo]:
    said = [one for one in record.happenings if one.code == HostFault.READINGS_GONE]
    if said:
        yield Todo(
            f"{said[-1].words[0].upper()}{said[-1].words[1:]}.",
            host_fault_texts()[HostFault.READINGS_GONE].way_back,
        )


def _full(_: NightRecord, found: Sequence[Place], __: tzinfo) -> Iterator[Todo]:
    for place in found:
        if place.holds is not None and place.now >= place.holds:
            yield Todo(f"Empty {place.name}.", f"It is full: {place.now} of {place.holds}.")


def _clock_and_notices(record: NightRecord, _: Sequence[Place], __: tzinfo) -> Iterator[Todo]:
    for kind, what in (
        (HappeningKind.CLOCK, "Set the computer's clock: it jumped in the night, and times before and after differ."),
        (HappeningKind.NOTICE, "See to the notices: not all of them reached you."),
    ):
        said = [one.words for one in record.happenings if one.kind is kind]
        if said:
            last = "The journal says" if len(said) == 1 else f"It happened {len(said)} times; the journal says last"
            yield Todo(what, f"{last}: {said[-1]}")


LOOKS: tuple[Callable[[NightRecord, Sequence[Place], tzinfo], Iterator[Todo]], ...] = (
    _in_the_gauge, _stopped, _cracked, _recount, _suspect, _standards, _recheck, _taken_out, _alarms, _full,
    _settings, _readings_gone,
    _clock_and_notices,
)  # fmt: skip
