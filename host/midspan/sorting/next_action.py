"""Decides what a night does next: a pure function of what the gauge says, what the journal knows and what is wanted.

The same rules hold in a quiet night and after anything died: the loop greets, asks here, does the one thing, notes it,
and greets again. Nothing rests on a message that may be lost. RULES are asked in order and the first that knows an
action decides; where none does, a person is called. A shaft that the gauge may hold is never joined by a second one,
none leaves without a stored verdict and its readings on the disk (but for `recheck`, where shafts go that cannot be
measured), and a place that a shaft may have fallen into unseen is named, not guessed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from midspan.sorting import actions as act
from midspan.sorting.actions import Action
from midspan.store.transit import Transit, TransitStage
from midspan.wire.fault_texts import describe
from midspan.wire.records import FaultCode, Identify, Source, State


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
    """All that the next action depends on.

    `archived`: the readings of the open shaft's newest measurement are whole on the disk. `route` is that of its
    verdict; None without a stored verdict whose readings are there. `recheck` is the route of what cannot be measured.
    """

    gauge: Identify
    transit: Transit | None
    archived: bool
    route: Route | None
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


def next_action(snapshot: Snapshot) -> Action:
    """Decide on the one thing to do now."""
    for rule in RULES:
        action = rule(snapshot)
        if action is not None:
            return action
    return _unexplained(snapshot)


def _call(words: str, code: FaultCode | None = None, shaft: int | None = None) -> Action:
    return act.CallPerson(words, None if code is None else code.name, shaft)


def _unexplained(snapshot: Snapshot) -> Action:
    return _call(f"the gauge is {snapshot.gauge.state.name} and nothing explains why: look at it, then reset it")


def _readings(snapshot: Snapshot) -> Action | None:
    """Readings come first: the gauge would lose them."""
    held, transit = snapshot.gauge.held_shaft, snapshot.transit
    if held is None:
        return None
    if transit is None or transit.shaft != held:
        return act.RescueReadings(held)
    if not snapshot.archived:
        return act.FetchReadings(held)
    return act.JudgeReadings(held) if snapshot.route is None else act.ForgetReadings(held)


def _left(snapshot: Snapshot) -> Action | None:
    """A release that the gauge has on record as done, fault or not."""
    transit, gauge, last = snapshot.transit, snapshot.gauge, snapshot.gauge.last_release
    if transit is None or last is None or last.shaft != transit.shaft or not last.done:
        return None
    if gauge.seated or gauge.in_gauge is not None:
        return None  # done means clear rollers: the record is of another time
    if transit.stage is not TransitStage.LEAVING or transit.place != last.place:
        return _uncertain(transit, last.place, "the gauge released it, which this journal did not order")
    if transit.unfit == FaultCode.TWO_SHAFTS.name and last.passed < 2:
        # They may have left one by one, with a reset in between.
        return _uncertain(transit, last.place, f"two lay on the rollers, and the chute saw {last.passed} pass")
    if last.passed:
        return act.NoteInBin(transit.shaft, last.place, last.passed)
    if _is_put_in(transit):
        return act.NoteTakenOut(transit.shaft, "a person took it out, as asked")
    return _uncertain(transit, last.place, "the chute did not see it pass")


def _is_put_in(transit: Transit) -> bool:
    """True when it is a check standard that a person put in by hand."""
    return transit.standard is not None and transit.source == Source.SEATED.name


def _uncertain(transit: Transit, place: int | None, words: str) -> Action:
    return act.NoteUncertain(transit.shaft, place, words)


def _jammed(snapshot: Snapshot) -> Action | None:
    """A shaft that left hopper or slot and did not arrive: it is not the one that comes once the gauge is cleared."""
    transit, gauge = snapshot.transit, snapshot.gauge
    if transit is None or transit.stage is not TransitStage.ORDERED or gauge.fault is not FaultCode.JAM:
        return None
    if gauge.seated or gauge.in_gauge is not None:
        return None
    return act.NoteTakenOut(transit.shaft, "it jammed on its way in: take it out by hand")


def _faulted(snapshot: Snapshot) -> Action | None:
    gauge = snapshot.gauge
    if gauge.state is State.STANDING:
        return act.ClearFault()  # a calibration was left off: the head goes home
    if gauge.state is not State.FAULTED:
        return None
    if snapshot.wanted.person or gauge.fault in SELF_CLEARING:
        return act.ClearFault()
    why = "a fault stopped it before this host came" if gauge.fault is None else describe(gauge.fault)
    shaft = None if snapshot.transit is None else snapshot.transit.shaft
    return _call(f"the gauge stands still: {why}", gauge.fault, shaft)


def _at_odds(snapshot: Snapshot) -> Action | None:
    """At rest a sound gauge is IDLE with no number, or LOADED with one; anything else falls through to a person."""
    fits = State.IDLE if snapshot.gauge.in_gauge is None else State.LOADED
    return None if snapshot.gauge.state is fits else _unexplained(snapshot)


def _somebody_elses(snapshot: Snapshot) -> Action | None:
    """A shaft whose number is not that of the open one, or of none."""
    here, transit = snapshot.gauge.in_gauge, snapshot.transit
    if here is None or (transit is not None and transit.shaft == here):
        return None
    return _call(f"the gauge holds shaft {here}, which this journal does not know: take it out and reset the gauge")


def _empty_handed(snapshot: Snapshot) -> Action | None:
    """No shaft is on its way."""
    if snapshot.transit is not None:
        return None
    gauge, wanted = snapshot.gauge, snapshot.wanted
    if wanted.standard is not None and wanted.standard_source is Source.SEATED:
        if wanted.person and gauge.seated:
            return act.OrderShaft(Source.SEATED, wanted.standard)
        return _call(f"put check standard {wanted.standard} into the gauge, and nothing else")
    if gauge.seated:
        if wanted.attended and not wanted.person:
            return _call("a shaft lies in the gauge: take it out, or leave it in to be measured as one of the stock")
        return act.OrderShaft(Source.SEATED)
    if wanted.standard is not None:
        if not gauge.slot:
            return _call(f"check standard {wanted.standard} is due and not in its slot: put it there")
        return act.OrderShaft(Source.SLOT, wanted.standard)
    if wanted.finish or not gauge.hopper:
        return act.FinishRun(wanted.finish or "the hopper is empty")
    return act.OrderShaft(Source.HOPPER)


def _ordered(snapshot: Snapshot) -> Action | None:
    """A shaft was to be fed; the order may have come to nothing, or its answer."""
    transit, gauge = snapshot.transit, snapshot.gauge
    if transit is None or transit.stage is not TransitStage.ORDERED:
        return None
    if gauge.in_gauge is not None:
        return act.NoteInGauge(transit.shaft, _unfit(gauge))
    if gauge.seated:
        return act.AdoptShaft(transit.shaft)
    if gauge.fault is FaultCode.HOPPER_EMPTY:
        return act.NoteNoShaft(transit.shaft, "nothing was there to be fed")
    if transit.source == Source.SEATED.name or snapshot.wanted.finish:
        return act.NoteNoShaft(transit.shaft, "it is not there, and none was fed for it")
    return act.FeedShaft(transit.shaft, Source[transit.source])


def _unfit(gauge: Identify) -> str | None:
    return gauge.fault.name if gauge.fault in UNFIT else None


def _on_the_rollers(snapshot: Snapshot) -> Action | None:
    """The open shaft lies in the gauge, under its number."""
    transit, gauge = snapshot.transit, snapshot.gauge
    if transit is None or gauge.in_gauge != transit.shaft:
        return None
    if transit.unfit or _unfit(gauge):
        return _release(snapshot, transit, snapshot.recheck)
    if snapshot.route is None:
        return act.JudgeReadings(transit.shaft) if snapshot.archived else act.MeasureShaft(transit.shaft)
    if transit.stage is TransitStage.LEAVING:
        return _release(snapshot, transit, Route(place=transit.place))
    if snapshot.route.again:
        return act.MeasureShaft(transit.shaft)
    return _release(snapshot, transit, snapshot.route)


def _release(snapshot: Snapshot, transit: Transit, route: Route) -> Action:
    if _is_put_in(transit) and not snapshot.wanted.person:
        # A chute is no place for a check standard that people handle.
        return _call(f"take check standard {transit.standard} out of the gauge")
    if route.place is None:
        return act.CallPerson(route.words, FaultCode.BIN_FULL.name, transit.shaft, route.full)
    return act.ReleaseShaft(transit.shaft, route.place)


def _out_of_sight(snapshot: Snapshot) -> Action | None:
    """The open shaft was in the gauge; the gauge has forgotten its number, or it is gone."""
    transit, gauge = snapshot.transit, snapshot.gauge
    if transit is None:
        return None
    if gauge.seated:
        return act.AdoptShaft(transit.shaft)
    if transit.stage is not TransitStage.LEAVING:
        return act.NoteTakenOut(transit.shaft, "it is not in the gauge, and nobody ordered it to leave")
    last = gauge.last_release
    began = last is not None and last.shaft == transit.shaft
    why = "the gauge stopped while it was leaving" if began else "the gauge has no record of letting it go"
    return _uncertain(transit, transit.place, why)


RULES: tuple[Callable[[Snapshot], Action | None], ...] = (
    _readings, _left, _jammed, _faulted, _at_odds, _somebody_elses, _empty_handed, _ordered,
    _on_the_rollers, _out_of_sight,
)  # fmt: skip
