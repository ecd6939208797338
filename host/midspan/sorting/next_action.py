"""Decide on the next action of a night: a pure function of the gauge's answer, the journal, and what is wanted.

The same rules hold in a quiet night and after any failure: the loop greets, decides here, carries out one action, notes
it, and greets again. Nothing rests on a message that may be lost. RULES are asked in order and the first that returns
an action decides; if no rule does, a person is called. A shaft that the gauge may hold is never joined by a second. No
shaft leaves without a stored verdict and its readings on the disk, except into `recheck`, for shafts that cannot be
measured. A place that a shaft may have fallen into unseen is named, not guessed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from midspan.sorting import actions as act
from midspan.sorting.actions import Action
from midspan.store.transit import Transit, TransitStage
from midspan.wire.fault_texts import describe
from midspan.wire.records import FaultCode, FeederReport, Identify, Source, State


@dataclass(frozen=True, slots=True)
class Route:
    """Where a judged shaft goes.

    Parameters
    ----------
    again : bool
        True if it is to be measured again.
    place : int | None
        Number of its place, None for no place.
    words : str
        What is full and what to do, for people; empty if the usual place has room.
    full : tuple[int, ...]
        Numbers of the places that are full.
    """

    again: bool = False
    place: int | None = None
    words: str = ""
    full: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is wanted besides the next shaft.

    Parameters
    ----------
    finish : str
        Reason to end the run, empty to go on.
    standard : str | None
        Name of the check standard to measure, None for no check.
    standard_source : Source
        Where the standard comes from.
    person : bool
        True if a person looked after the last call.
    attended : bool
        True if a person is there to be asked.
    """

    finish: str = ""
    standard: str | None = None
    standard_source: Source = Source.SLOT
    person: bool = False
    attended: bool = False


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything that the next action depends on.

    Parameters
    ----------
    gauge : Identify
        The gauge's newest answer.
    transit : Transit | None
        The shaft on its way, None for no shaft.
    archived : bool
        True if the readings of its newest measurement are whole on the disk.
    route : Route | None
        Route by its verdict; None without a stored verdict whose readings are there.
    recheck : Route
        Route of a shaft that cannot be measured.
    wanted : Wanted
        What is wanted besides the next shaft.
    """

    gauge: Identify
    transit: Transit | None
    archived: bool
    route: Route | None
    recheck: Route
    wanted: Wanted = Wanted()


# Faults that the host clears by itself: cell or press failed on a shaft, and homing the press harms nobody. All other
# faults need a person's eyes, because hands, shafts or splinters may be where the gauge moves.
SELF_CLEARING = frozenset(
    {
        FaultCode.CELL_SILENT, FaultCode.CELL_STUCK, FaultCode.CELL_OUT_OF_STEP, FaultCode.CELL_SATURATED,
        FaultCode.FORCE_LIMIT, FaultCode.LOST_STEPS,
    }
)  # fmt: skip
UNFIT = frozenset({FaultCode.SHAFT_SHORT, FaultCode.TWO_SHAFTS})  # the shaft on the rollers cannot be measured


def next_action(snapshot: Snapshot) -> Action:
    """Return the one action to carry out now.

    Parameters
    ----------
    snapshot : Snapshot
        Everything it depends on.

    Returns
    -------
    Action
        The action.
    """
    for rule in RULES:
        action = rule(snapshot)
        if action is not None:
            return action
    return _unexplained(snapshot)


def _call(words: str, code: FaultCode | None = None, shaft: int | None = None) -> Action:
    """Return a call for a person."""
    return act.CallPerson(words, None if code is None else code.name, shaft)


def _unexplained(snapshot: Snapshot) -> Action:
    """Return the call for a person where no rule applies."""
    return _call(f"the gauge is {snapshot.gauge.state.name} for no known reason: look at it, then reset it")


def _readings(snapshot: Snapshot) -> Action | None:
    """Return what to do about readings that the gauge holds; they come first, because the gauge would lose them."""
    held, transit = snapshot.gauge.held_shaft, snapshot.transit
    if held is None:
        return None
    if transit is None or transit.shaft != held:
        return act.RescueReadings(held)
    if not snapshot.archived:
        return act.FetchReadings(held)
    return act.JudgeReadings(held) if snapshot.route is None else act.ForgetReadings(held)


def _left(snapshot: Snapshot) -> Action | None:
    """Return how to note a release that the gauge has on record as done, with or without a fault."""
    transit, feeder = snapshot.transit, snapshot.gauge.feeder
    last = None if feeder is None else feeder.last_release
    if transit is None or feeder is None or last is None or last.shaft != transit.shaft or not last.done:
        return None
    if feeder.seated or feeder.in_gauge is not None:
        return None  # after a release the rollers are clear, so this record is of another time
    if transit.stage is not TransitStage.LEAVING or transit.place != last.place:
        return _uncertain(transit, last.place, "the gauge released it without an order of this run")
    if transit.unfit == FaultCode.TWO_SHAFTS.name and last.passed < 2:
        # They may have left one by one, with a reset in between.
        return _uncertain(transit, last.place, f"two lay on the rollers, and the chute saw {last.passed} pass")
    if last.passed:
        return act.NoteInBin(transit.shaft, last.place, last.passed)
    if _is_put_in(transit):
        return act.NoteTakenOut(transit.shaft, "a person took it out, as asked")
    return _uncertain(transit, last.place, "the chute did not see it pass")


def _is_put_in(transit: Transit) -> bool:
    """Return True for a check standard that a person put in by hand."""
    return transit.standard is not None and transit.source == Source.SEATED.name


def _uncertain(transit: Transit, place: int | None, words: str) -> Action:
    """Return the note that a shaft may have fallen into a place unseen."""
    return act.NoteUncertain(transit.shaft, place, words)


def _jammed(snapshot: Snapshot) -> Action | None:
    """Return the note on a shaft that left hopper or slot and did not arrive.

    A person takes it out, so it is not the shaft that comes once the gauge is cleared.
    """
    transit, gauge, feeder = snapshot.transit, snapshot.gauge, snapshot.gauge.feeder
    if transit is None or transit.stage is not TransitStage.ORDERED or gauge.fault is not FaultCode.JAM:
        return None
    if feeder is None or feeder.seated or feeder.in_gauge is not None:
        return None
    return act.NoteTakenOut(transit.shaft, "it jammed on its way in: take it out by hand")


def _faulted(snapshot: Snapshot) -> Action | None:
    """Return how to clear a fault, or the call for a person who has to look first."""
    gauge = snapshot.gauge
    if gauge.state is State.STANDING:
        return act.ClearFault()  # a program let the head stand and was left off: it goes home
    if gauge.state is not State.FAULTED:
        return None
    if snapshot.wanted.person or gauge.fault in SELF_CLEARING:
        return act.ClearFault()
    why = "a fault stopped it before this host came" if gauge.fault is None else describe(gauge.fault)
    shaft = None if snapshot.transit is None else snapshot.transit.shaft
    return _call(f"the gauge stands still: {why}", gauge.fault, shaft)


def feeder_of(gauge: Identify) -> FeederReport:
    """Return what the feeder of a gauge sees.

    Parameters
    ----------
    gauge : Identify
        Answer of a gauge with a feeder; without one a person is called before anything asks for it.

    Returns
    -------
    FeederReport
        The report.
    """
    assert gauge.feeder is not None
    return gauge.feeder


def _without_feeder(snapshot: Snapshot) -> Action | None:
    """Return a call if the gauge has no feeder any more: it could not tell where a shaft is."""
    if snapshot.gauge.feeder is not None:
        return None
    return _call("the gauge has no feeder: put the feeder back into the board's file and reset the board")


def _at_odds(snapshot: Snapshot) -> Action | None:
    """Return a call unless a gauge at rest is IDLE without a number, or LOADED with one."""
    fits = State.IDLE if feeder_of(snapshot.gauge).in_gauge is None else State.LOADED
    return None if snapshot.gauge.state is fits else _unexplained(snapshot)


def _somebody_elses(snapshot: Snapshot) -> Action | None:
    """Return a call if the gauge holds a number other than that of the open shaft."""
    here, transit = feeder_of(snapshot.gauge).in_gauge, snapshot.transit
    if here is None or (transit is not None and transit.shaft == here):
        return None
    return _call(f"the gauge holds shaft {here}, which this run does not know: take it out and reset the gauge")


def _empty_handed(snapshot: Snapshot) -> Action | None:
    """Return what to feed, or the end, when no shaft is on its way."""
    if snapshot.transit is not None:
        return None
    feeder, wanted = feeder_of(snapshot.gauge), snapshot.wanted
    if wanted.standard is not None and wanted.standard_source is Source.SEATED:
        if wanted.person and feeder.seated:
            return act.OrderShaft(Source.SEATED, wanted.standard)
        return _call(f"put check standard {wanted.standard} into the gauge, and nothing else")
    if feeder.seated:
        if wanted.attended and not wanted.person:
            return _call("a shaft lies in the gauge: take it out, or leave it in to be measured as one of the stock")
        return act.OrderShaft(Source.SEATED)
    if wanted.standard is not None:
        if not feeder.slot:
            return _call(f"check standard {wanted.standard} is due and not in its slot: put it there")
        return act.OrderShaft(Source.SLOT, wanted.standard)
    if wanted.finish or not feeder.hopper:
        return act.FinishRun(wanted.finish or "the hopper is empty")
    return act.OrderShaft(Source.HOPPER)


def _ordered(snapshot: Snapshot) -> Action | None:
    """Return what to do about a shaft that was to be fed; the order or its answer may have been lost."""
    transit, gauge, feeder = snapshot.transit, snapshot.gauge, feeder_of(snapshot.gauge)
    if transit is None or transit.stage is not TransitStage.ORDERED:
        return None
    if feeder.in_gauge is not None:
        return act.NoteInGauge(transit.shaft, _unfit(gauge))
    if feeder.seated:
        return act.AdoptShaft(transit.shaft)
    if gauge.fault is FaultCode.HOPPER_EMPTY:
        return act.NoteNoShaft(transit.shaft, "nothing was there to be fed")
    if transit.source == Source.SEATED.name or snapshot.wanted.finish:
        return act.NoteNoShaft(transit.shaft, "it is not there, and none was fed for it")
    return act.FeedShaft(transit.shaft, Source[transit.source])


def _unfit(gauge: Identify) -> str | None:
    """Return the code of the fault that keeps a shaft from being measured, None if there is none."""
    return gauge.fault.name if gauge.fault in UNFIT else None


def _on_the_rollers(snapshot: Snapshot) -> Action | None:
    """Return what to do about the open shaft that lies in the gauge under its number."""
    transit, gauge = snapshot.transit, snapshot.gauge
    if transit is None or feeder_of(gauge).in_gauge != transit.shaft:
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
    """Return the release of a shaft, or the call for a person where it cannot go."""
    if _is_put_in(transit) and not snapshot.wanted.person:
        # A check standard that people handle must not fall down the chute.
        return _call(f"take check standard {transit.standard} out of the gauge")
    if route.place is None:
        return act.CallPerson(route.words, FaultCode.BIN_FULL.name, transit.shaft, route.full)
    return act.ReleaseShaft(transit.shaft, route.place)


def _out_of_sight(snapshot: Snapshot) -> Action | None:
    """Return what to do about the open shaft when the gauge has forgotten its number, or the shaft is gone."""
    transit, feeder = snapshot.transit, feeder_of(snapshot.gauge)
    if transit is None:
        return None
    if feeder.seated:
        return act.AdoptShaft(transit.shaft)
    if transit.stage is not TransitStage.LEAVING:
        return act.NoteTakenOut(transit.shaft, "it is no longer in the gauge although no order moved it")
    last = feeder.last_release
    began = last is not None and last.shaft == transit.shaft
    why = "the gauge stopped while it was leaving" if began else "the gauge has no record of letting it go"
    return _uncertain(transit, transit.place, why)


RULES: tuple[Callable[[Snapshot], Action | None], ...] = (
    _readings, _left, _jammed, _faulted, _without_feeder, _at_odds, _somebody_elses, _empty_handed, _ordered,
    _on_the_rollers, _out_of_sight,
)  # fmt: skip
