"""What a night's next move depends on, and what a move is: values only, for moves.next_move.

What to do next: a pure function of what the gauge says, what the journal knows and what is wanted.

The same rules hold in a quiet night and after anything died: the loop greets, asks here, does the one thing, notes it,
and greets again. Nothing rests on a message that may be lost. RULES are asked in order and the first that knows a
move decides; where none does, a person is called. A shaft that the gauge may hold is never joined by a second one, none
leaves without a stored verdict and its readings on the disk (but for `recheck`, where shafts go that cannot be
measured), and a place that a shaft may have fallen into unseen is named, not guessed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, auto

from midspan.store.passage import Transit, TransitStage
from midspan.wire.fault_texts import describe
from midspan.wire.records import FaultCode, Identify, Source, State


class Do(Enum):
    """One thing to do."""

    ORDER = auto()  # a new shaft: give it a number and feed it
    FEED = auto()  # a shaft that has its number already
    ADOPT = auto()  # take what lies on the rollers as this shaft
    NOTE_IN_GAUGE = auto()
    MEASURE = auto()
    FETCH = auto()  # readings that the gauge holds
    RESCUE = auto()  # readings that it holds of a shaft unknown here: keep them
    JUDGE = auto()  # readings that are on the disk
    ACKNOWLEDGE = auto()
    RELEASE = auto()
    NOTE_IN_BIN = auto()
    NOTE_UNCERTAIN = auto()
    NOTE_NO_SHAFT = auto()
    NOTE_TAKEN_OUT = auto()
    CLEAR_FAULT = auto()
    CALL_PERSON = auto()
    FINISH = auto()


@dataclass(frozen=True, slots=True)
class Move:
    """What to do, with which shaft; `words` for people and `code` of a fault, if there is one."""

    do: Do
    shaft: int | None = None
    place: int | None = None
    passed: int | None = None
    source: Source | None = None
    standard: str | None = None
    words: str = ""
    code: str | None = None
    full: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Route:
    """Where a judged shaft goes: to be measured `again`, to a `place`, or nowhere until those `full` are emptied."""

    again: bool = False
    place: int | None = None
    words: str = ""
    full: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is wanted besides: an end and why, a check standard and where it comes from, a person's leave.

    `person` says that someone looked after the last call; `attended` that someone can be asked.
    """

    finish: str = ""
    standard: str | None = None
    standard_source: Source = Source.SLOT
    person: bool = False
    attended: bool = False


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that the next move depends on.

    `archived`: the readings of the open shaft's newest measurement are whole on the disk. `course` is that of its
    verdict; None without a stored verdict whose readings are there. `recheck` is the course of what cannot be measured.
    """

    gauge: Identify
    passage: Transit | None
    archived: bool
    course: Route | None
    recheck: Route
    wanted: Wanted = Wanted()


# What the gauge may be told to clear by itself: its cell or its press failed a shaft, and homing it does no harm. All
# else needs eyes, for hands, shafts or splinters may be where it moves.
SELF_CLEARING = frozenset(
    {
        FaultCode.CELL_SILENT, FaultCode.CELL_STUCK, FaultCode.CELL_OUT_OF_STEP, FaultCode.CELL_SATURATED,
        FaultCode.FORCE_LIMIT, FaultCode.LOST_STEPS,
    }
)  # fmt: skip
UNFIT = frozenset({FaultCode.SHAFT_SHORT, FaultCode.TWO_SHAFTS})  # lies on the rollers and cannot be measured


def next_move(now: Snapshot) -> Move:
    """The one thing to do now."""
    for rule in RULES:
        move = rule(now)
        if move is not None:
            return move
    return _unexplained(now)


def _call(words: str, code: FaultCode | None = None, shaft: int | None = None) -> Move:
    return Move(Do.CALL_PERSON, shaft, words=words, code=None if code is None else code.name)


def _unexplained(now: Snapshot) -> Move:
    return _call(f"the gauge is {now.gauge.state.name} and nothing explains why: look at it, then reset it")


def _readings(now: Snapshot) -> Move | None:
    """Readings come first: the gauge would lose them."""
    held, passage = now.gauge.held_shaft, now.passage
    if held is None:
        return None
    if passage is None or passage.shaft != held:
        return Move(Do.RESCUE, held)
    if not now.archived:
        return Move(Do.FETCH, held)
    return Move(Do.JUDGE if now.course is None else Do.ACKNOWLEDGE, held)


def _left(now: Snapshot) -> Move | None:
    """A release that the gauge has on record as done, fault or not."""
    passage, gauge, last = now.passage, now.gauge, now.gauge.last_release
    if passage is None or last is None or last.shaft != passage.shaft or not last.done:
        return None
    if gauge.seated or gauge.in_gauge is not None:
        return None  # done means clear rollers: the record is of another time
    if passage.stage is not TransitStage.LEAVING or passage.place != last.place:
        return _uncertain(passage, last.place, "the gauge released it, which this journal did not order")
    if passage.unfit == FaultCode.TWO_SHAFTS.name and last.passed < 2:
        # They may have left one by one, with a reset in between.
        return _uncertain(passage, last.place, f"two lay on the rollers, and the chute saw {last.passed} pass")
    if last.passed:
        return Move(Do.NOTE_IN_BIN, passage.shaft, last.place, last.passed)
    if _is_put_in(passage):
        return Move(Do.NOTE_TAKEN_OUT, passage.shaft, words="a person took it out, as asked")
    return _uncertain(passage, last.place, "the chute did not see it pass")


def _is_put_in(passage: Transit) -> bool:
    """Whether it is a check standard that a person put in by hand."""
    return passage.standard is not None and passage.source == Source.SEATED.name


def _uncertain(passage: Transit, place: int | None, words: str) -> Move:
    return Move(Do.NOTE_UNCERTAIN, passage.shaft, place, words=words)


def _jammed(now: Snapshot) -> Move | None:
    """A shaft that left hopper or slot and did not arrive: it is not the one that comes once the gauge is cleared."""
    passage, gauge = now.passage, now.gauge
    if passage is None or passage.stage is not TransitStage.ORDERED or gauge.fault is not FaultCode.JAM:
        return None
    if gauge.seated or gauge.in_gauge is not None:
        return None
    return Move(Do.NOTE_TAKEN_OUT, passage.shaft, words="it jammed on its way in: take it out by hand")


def _faulted(now: Snapshot) -> Move | None:
    gauge = now.gauge
    if gauge.state is State.STANDING:
        return Move(Do.CLEAR_FAULT)  # a calibration was left off: the head goes home
    if gauge.state is not State.FAULTED:
        return None
    if now.wanted.person or gauge.fault in SELF_CLEARING:
        return Move(Do.CLEAR_FAULT, code=None if gauge.fault is None else gauge.fault.name)
    why = "a fault stopped it before this host came" if gauge.fault is None else describe(gauge.fault)
    return _call(f"the gauge stands still: {why}", gauge.fault, None if now.passage is None else now.passage.shaft)


def _at_odds(now: Snapshot) -> Move | None:
    """At rest a sound gauge is IDLE with no number, or LOADED with one; anything else falls through to a person."""
    fits = State.IDLE if now.gauge.in_gauge is None else State.LOADED
    return None if now.gauge.state is fits else _unexplained(now)


def _somebody_elses(now: Snapshot) -> Move | None:
    """A shaft whose number is not that of the open one, or of none."""
    here, passage = now.gauge.in_gauge, now.passage
    if here is None or (passage is not None and passage.shaft == here):
        return None
    return _call(f"the gauge holds shaft {here}, which this journal does not know: take it out and reset the gauge")


def _empty_handed(now: Snapshot) -> Move | None:
    """No shaft is on its way."""
    if now.passage is not None:
        return None
    gauge, wanted = now.gauge, now.wanted
    if wanted.standard is not None and wanted.standard_source is Source.SEATED:
        if wanted.person and gauge.seated:
            return Move(Do.ORDER, source=Source.SEATED, standard=wanted.standard)
        return _call(f"put check standard {wanted.standard} into the gauge, and nothing else")
    if gauge.seated:
        if wanted.attended and not wanted.person:
            return _call("a shaft lies in the gauge: take it out, or leave it in to be measured as one of the stock")
        return Move(Do.ORDER, source=Source.SEATED)
    if wanted.standard is not None:
        if not gauge.slot:
            return _call(f"check standard {wanted.standard} is due and not in its slot: put it there")
        return Move(Do.ORDER, source=Source.SLOT, standard=wanted.standard)
    if wanted.finish or not gauge.hopper:
        return Move(Do.FINISH, words=wanted.finish or "the hopper is empty")
    return Move(Do.ORDER, source=Source.HOPPER)


def _ordered(now: Snapshot) -> Move | None:
    """A shaft was to be fed; the order may have come to nothing, or its answer."""
    passage, gauge = now.passage, now.gauge
    if passage is None or passage.stage is not TransitStage.ORDERED:
        return None
    if gauge.in_gauge is not None:
        return Move(Do.NOTE_IN_GAUGE, passage.shaft, words=_unfit(gauge) or "")
    if gauge.seated:
        return Move(Do.ADOPT, passage.shaft)
    if gauge.fault is FaultCode.HOPPER_EMPTY:
        return Move(Do.NOTE_NO_SHAFT, passage.shaft, words="nothing was there to be fed")
    if passage.source == Source.SEATED.name or now.wanted.finish:
        return Move(Do.NOTE_NO_SHAFT, passage.shaft, words="it is not there, and none was fed for it")
    return Move(Do.FEED, passage.shaft, source=Source[passage.source])


def _unfit(gauge: Identify) -> str | None:
    return gauge.fault.name if gauge.fault in UNFIT else None


def _on_the_rollers(now: Snapshot) -> Move | None:
    """The open shaft lies in the gauge, under its number."""
    passage, gauge = now.passage, now.gauge
    if passage is None or gauge.in_gauge != passage.shaft:
        return None
    if passage.unfit or _unfit(gauge):
        return _release(now, passage, now.recheck)
    if now.course is None:
        return Move(Do.JUDGE if now.archived else Do.MEASURE, passage.shaft)
    if passage.stage is TransitStage.LEAVING:
        return _release(now, passage, Route(place=passage.place))
    if now.course.again:
        return Move(Do.MEASURE, passage.shaft)
    return _release(now, passage, now.course)


def _release(now: Snapshot, passage: Transit, course: Route) -> Move:
    if _is_put_in(passage) and not now.wanted.person:  # a chute is no place for a check standard that people handle
        return _call(f"take check standard {passage.standard} out of the gauge")
    if course.place is None:
        return Move(Do.CALL_PERSON, passage.shaft, words=course.words, code=FaultCode.BIN_FULL.name, full=course.full)
    return Move(Do.RELEASE, passage.shaft, course.place)


def _out_of_sight(now: Snapshot) -> Move | None:
    """The open shaft was in the gauge; the gauge has forgotten its number, or it is gone."""
    passage, gauge = now.passage, now.gauge
    if passage is None:
        return None
    if gauge.seated:
        return Move(Do.ADOPT, passage.shaft)
    if passage.stage is not TransitStage.LEAVING:
        return Move(Do.NOTE_TAKEN_OUT, passage.shaft, words="it is not in the gauge, and nobody ordered it to leave")
    last = gauge.last_release
    began = last is not None and last.shaft == passage.shaft
    why = "the gauge stopped while it was leaving" if began else "the gauge has no record of letting it go"
    return _uncertain(passage, passage.place, why)


RULES: tuple[Callable[[Snapshot], Move | None], ...] = (
    _readings, _left, _jammed, _faulted, _at_odds, _somebody_elses, _empty_handed, _ordered,
    _on_the_rollers, _out_of_sight,
)  # fmt: skip
