"""The decision table of a sorting run, row by row: what is known, and the one action that follows.

Each row differs in one thing from a neighbour, so that every condition is seen from both sides. What a person reads
is not part of it.
"""

from dataclasses import fields, replace

import pytest
from gauges import changed
from midspan.sorting import actions as act
from midspan.sorting.next_action import Route, Snapshot, Wanted, next_action
from midspan.store.transit import TransitStage, WayStep
from midspan.wire.records import FaultCode, LastRelease, Source, State
from test_next_action import BEFORE_END, OTHER, OURS, PLACE, PLAIN, RECHECK, a_transit

ORDERED, IN_GAUGE, MEASURING, JUDGED, LEAVING = (BEFORE_END[stage] for stage in (
    TransitStage.ORDERED, TransitStage.IN_GAUGE, TransitStage.MEASURING, TransitStage.JUDGED, TransitStage.LEAVING,
))  # fmt: skip
BAR = "bar 7"
LOADED = {"state": State.LOADED, "in_gauge": OURS, "seated": True}
HOLDING = {**LOADED, "state": State.HOLDING, "held_shaft": OURS}
FAULTED = {"state": State.FAULTED}


def unfit(code, *more):
    return a_transit((WayStep(TransitStage.IN_GAUGE, 1, words=code), *more))


def let_go(place=PLACE, passed=1, *, done=True, number=OURS):
    return {"last_release": LastRelease(number, place, done, passed)}


def outline(action):
    """Return an action as its kind and all that it says but its words."""
    return (type(action), *(getattr(action, field.name) for field in fields(action) if field.name != "words"))


def call(code=None, shaft=None, full=()):
    return (act.CallPerson, code, shaft, full)


TO_RECHECK = WayStep(TransitStage.LEAVING, 4, place=RECHECK)

# Transit, what the gauge says, what else is known (archived, route, wanted), action.
READINGS = [
    (a_transit(MEASURING), HOLDING, {}, (act.FetchReadings, OURS)),
    (a_transit(MEASURING), {**HOLDING, "held_shaft": OTHER}, {}, (act.RescueReadings, OTHER)),
    (None, {**HOLDING, "held_shaft": OTHER}, {}, (act.RescueReadings, OTHER)),
    (a_transit(MEASURING), HOLDING, {"archived": True}, (act.JudgeReadings, OURS)),
    (a_transit(JUDGED), HOLDING, {"archived": True, "route": Route(place=6)}, (act.ForgetReadings, OURS)),
    (a_transit(JUDGED), {**HOLDING, **FAULTED, "fault": FaultCode.JAM}, {}, (act.FetchReadings, OURS)),
]
LEFT = [
    (a_transit(LEAVING), let_go(), {}, (act.NoteInBin, OURS, PLACE, 1)),
    (a_transit(LEAVING), let_go(passed=2), {}, (act.NoteInBin, OURS, PLACE, 2)),
    (a_transit(LEAVING), let_go(passed=0), {}, (act.NoteUncertain, OURS, PLACE)),
    (a_transit(LEAVING), let_go(done=False), {}, (act.NoteUncertain, OURS, PLACE)),
    (a_transit(LEAVING), let_go(number=OTHER), {}, (act.NoteUncertain, OURS, PLACE)),
    (a_transit(LEAVING), {}, {}, (act.NoteUncertain, OURS, PLACE)),
    (a_transit(LEAVING), let_go(place=5), {}, (act.NoteUncertain, OURS, 5)),
    (a_transit(JUDGED), let_go(), {}, (act.NoteUncertain, OURS, PLACE)),
    (a_transit(JUDGED), let_go(number=OTHER), {}, (act.NoteTakenOut, OURS)),
    (a_transit(LEAVING), {**let_go(), "seated": True}, {}, (act.AdoptShaft, OURS)),
    (
        a_transit(LEAVING),
        {**let_go(), **LOADED},
        {"archived": True, "route": Route(place=6)},
        (act.ReleaseShaft, OURS, PLACE),
    ),
    (unfit("TWO_SHAFTS", TO_RECHECK), let_go(RECHECK, 1), {}, (act.NoteUncertain, OURS, RECHECK)),
    (unfit("TWO_SHAFTS", TO_RECHECK), let_go(RECHECK, 2), {}, (act.NoteInBin, OURS, RECHECK, 2)),
    (unfit("SHAFT_SHORT", TO_RECHECK), let_go(RECHECK, 1), {}, (act.NoteInBin, OURS, RECHECK, 1)),
    (a_transit(LEAVING, "SEATED", BAR), let_go(passed=0), {}, (act.NoteTakenOut, OURS)),
    (a_transit(LEAVING, "SEATED", BAR), let_go(), {}, (act.NoteInBin, OURS, PLACE, 1)),
    (a_transit(LEAVING, "SEATED"), let_go(passed=0), {}, (act.NoteUncertain, OURS, PLACE)),
    (a_transit(LEAVING, "SLOT", BAR), let_go(passed=0), {}, (act.NoteUncertain, OURS, PLACE)),
    (a_transit(LEAVING), {**let_go(), **FAULTED, "fault": FaultCode.JAM}, {}, (act.NoteInBin, OURS, PLACE, 1)),
]
JAM = {**FAULTED, "fault": FaultCode.JAM}
FAULTS = [
    (a_transit(ORDERED), JAM, {}, (act.NoteTakenOut, OURS)),
    (a_transit(ORDERED), {**JAM, "seated": True}, {}, call("JAM", OURS)),
    (a_transit(ORDERED), {**JAM, "in_gauge": OURS}, {}, call("JAM", OURS)),
    (a_transit(IN_GAUGE), JAM, {}, call("JAM", OURS)),
    (a_transit(ORDERED), {**FAULTED, "fault": FaultCode.LID_OPEN}, {}, call("LID_OPEN", OURS)),
    (None, JAM, {}, call("JAM")),
    (None, FAULTED, {}, call()),
    (a_transit(IN_GAUGE), FAULTED, {}, call(None, OURS)),
    (None, JAM, {"wanted": Wanted(person=True)}, (act.ClearFault,)),
    (None, FAULTED, {"wanted": Wanted(person=True)}, (act.ClearFault,)),
    (None, {"state": State.STANDING}, {}, (act.ClearFault,)),
    (a_transit(IN_GAUGE), {**LOADED, "state": State.STANDING}, {}, (act.ClearFault,)),
    (None, {"state": State.LOADED}, {}, call()),
    (None, {"in_gauge": OURS}, {}, call()),
    (a_transit(IN_GAUGE), {"in_gauge": OURS}, {}, call()),
    (a_transit(IN_GAUGE), {"state": State.LOADED}, {}, call()),
    (a_transit(IN_GAUGE), {**LOADED, "state": State.HOLDING}, {}, call()),
    (a_transit(IN_GAUGE), {**LOADED, "in_gauge": OTHER}, {}, call()),
    (None, {"feeder": None}, {}, call()),
    (a_transit(IN_GAUGE), {"feeder": None}, {}, call()),
    (a_transit(LEAVING), {"feeder": None}, {}, call()),
    (a_transit(ORDERED), {"feeder": None}, {}, call()),
    (a_transit(ORDERED), {"feeder": None, **JAM}, {}, call("JAM", OURS)),
    (a_transit(MEASURING), {"feeder": None, "held_shaft": OURS}, {}, (act.FetchReadings, OURS)),
    (None, LOADED, {}, call()),
]
SLOT, HAND = Wanted(standard=BAR), Wanted(standard=BAR, standard_source=Source.SEATED)
SEATED, EMPTY = {"seated": True}, {"hopper": False}
NEXT_SHAFT = [
    (None, {}, {}, (act.OrderShaft, Source.HOPPER, None)),
    (None, EMPTY, {}, (act.FinishRun,)),
    (None, {}, {"wanted": Wanted(finish="enough")}, (act.FinishRun,)),
    (None, SEATED, {}, (act.OrderShaft, Source.SEATED, None)),
    (None, {**SEATED, **EMPTY}, {}, (act.OrderShaft, Source.SEATED, None)),
    (None, SEATED, {"wanted": Wanted(finish="enough")}, (act.OrderShaft, Source.SEATED, None)),
    (None, SEATED, {"wanted": Wanted(attended=True)}, call()),
    (None, SEATED, {"wanted": Wanted(attended=True, person=True)}, (act.OrderShaft, Source.SEATED, None)),
    (None, SEATED, {"wanted": Wanted(person=True)}, (act.OrderShaft, Source.SEATED, None)),
    (None, {}, {"wanted": Wanted(attended=True)}, (act.OrderShaft, Source.HOPPER, None)),
    (None, {}, {"wanted": SLOT}, (act.OrderShaft, Source.SLOT, BAR)),
    (None, EMPTY, {"wanted": SLOT}, (act.OrderShaft, Source.SLOT, BAR)),
    (None, {}, {"wanted": replace(SLOT, finish="enough")}, (act.OrderShaft, Source.SLOT, BAR)),
    (None, {"slot": False}, {"wanted": SLOT}, call()),
    (None, {"slot": False}, {}, (act.OrderShaft, Source.HOPPER, None)),
    (None, SEATED, {"wanted": SLOT}, (act.OrderShaft, Source.SEATED, None)),
    (None, {}, {"wanted": HAND}, call()),
    (None, SEATED, {"wanted": HAND}, call()),
    (None, {}, {"wanted": replace(HAND, person=True)}, call()),
    (None, SEATED, {"wanted": replace(HAND, person=True)}, (act.OrderShaft, Source.SEATED, BAR)),
    (None, {}, {"wanted": Wanted(standard_source=Source.SEATED)}, (act.OrderShaft, Source.HOPPER, None)),
]
ON_ITS_WAY_IN = [
    (a_transit(ORDERED), {}, {}, (act.FeedShaft, OURS, Source.HOPPER)),
    (a_transit(ORDERED, "SLOT", BAR), {}, {}, (act.FeedShaft, OURS, Source.SLOT)),
    (a_transit(ORDERED, "SEATED"), {}, {}, (act.NoteNoShaft, OURS)),
    (a_transit(ORDERED), {}, {"wanted": Wanted(finish="enough")}, (act.NoteNoShaft, OURS)),
    (a_transit(ORDERED), {"fault": FaultCode.HOPPER_EMPTY}, {}, (act.NoteNoShaft, OURS)),
    (a_transit(ORDERED), {"fault": FaultCode.STOPPED_BY_HOST}, {}, (act.FeedShaft, OURS, Source.HOPPER)),
    (a_transit(ORDERED), SEATED, {}, (act.AdoptShaft, OURS)),
    (a_transit(ORDERED), {**SEATED, "fault": FaultCode.HOPPER_EMPTY}, {}, (act.AdoptShaft, OURS)),
    (a_transit(ORDERED), LOADED, {}, (act.NoteInGauge, OURS, None)),
    (a_transit(ORDERED), {**LOADED, "fault": FaultCode.HOPPER_EMPTY}, {}, (act.NoteInGauge, OURS, None)),
    (a_transit(ORDERED), {**LOADED, "fault": FaultCode.TWO_SHAFTS}, {}, (act.NoteInGauge, OURS, "TWO_SHAFTS")),
    (a_transit(ORDERED), {**LOADED, "fault": FaultCode.SHAFT_SHORT}, {}, (act.NoteInGauge, OURS, "SHAFT_SHORT")),
]
KEPT, THERE = {"archived": True}, {"archived": True, "route": Route(place=6)}
FULL = Route(words="full", full=(3, 4))
ON_THE_ROLLERS = [
    (a_transit(IN_GAUGE), LOADED, {}, (act.MeasureShaft, OURS)),
    (a_transit(MEASURING), LOADED, {}, (act.MeasureShaft, OURS)),
    (a_transit(MEASURING), LOADED, KEPT, (act.JudgeReadings, OURS)),
    (a_transit(JUDGED), LOADED, THERE, (act.ReleaseShaft, OURS, 6)),
    (a_transit(JUDGED), LOADED, {**KEPT, "route": Route(again=True)}, (act.MeasureShaft, OURS)),
    (a_transit(JUDGED), LOADED, {**KEPT, "route": FULL}, call("BIN_FULL", OURS, (3, 4))),
    (a_transit(LEAVING), LOADED, THERE, (act.ReleaseShaft, OURS, PLACE)),
    (unfit("TWO_SHAFTS"), LOADED, {}, (act.ReleaseShaft, OURS, RECHECK)),
    (unfit("SHAFT_SHORT"), LOADED, {}, (act.ReleaseShaft, OURS, RECHECK)),
    (unfit("TWO_SHAFTS"), LOADED, {"recheck": FULL}, call("BIN_FULL", OURS, (3, 4))),
    (a_transit(IN_GAUGE), {**LOADED, "fault": FaultCode.SHAFT_SHORT}, {}, (act.ReleaseShaft, OURS, RECHECK)),
    (a_transit(IN_GAUGE), {**LOADED, "fault": FaultCode.HOPPER_EMPTY}, {}, (act.MeasureShaft, OURS)),
    (a_transit(JUDGED, "SEATED", BAR), LOADED, THERE, call()),
    (a_transit(JUDGED, "SEATED", BAR), LOADED, {**THERE, "wanted": Wanted(person=True)}, (act.ReleaseShaft, OURS, 6)),
    (a_transit(JUDGED, "SEATED"), LOADED, THERE, (act.ReleaseShaft, OURS, 6)),
    (a_transit(JUDGED, "SLOT", BAR), LOADED, THERE, (act.ReleaseShaft, OURS, 6)),
]
OUT_OF_SIGHT = [
    (a_transit(IN_GAUGE), {}, {}, (act.NoteTakenOut, OURS)),
    (a_transit(JUDGED), {}, THERE, (act.NoteTakenOut, OURS)),
    (a_transit(JUDGED), SEATED, THERE, (act.AdoptShaft, OURS)),
    (a_transit(LEAVING), SEATED, THERE, (act.AdoptShaft, OURS)),
]


def action_for(transit, gauge, archived=False, route=None, recheck=Route(place=RECHECK), wanted=Wanted()):  # noqa: B008
    return next_action(Snapshot(changed(PLAIN, **gauge), transit, archived, route, recheck, wanted))


@pytest.mark.parametrize(
    ("transit", "gauge", "known", "expected"),
    [*READINGS, *LEFT, *FAULTS, *NEXT_SHAFT, *ON_ITS_WAY_IN, *ON_THE_ROLLERS, *OUT_OF_SIGHT],
)
def test_what_is_known_leads_to_one_action(transit, gauge, known, expected):
    assert outline(action_for(transit, gauge, **known)) == expected


# A cell or a press that failed a shaft: going home harms nobody. All else needs eyes.
CLEARED_ALONE = {"CELL_SILENT", "CELL_STUCK", "CELL_OUT_OF_STEP", "CELL_SATURATED", "FORCE_LIMIT", "LOST_STEPS"}


@pytest.mark.parametrize("code", list(FaultCode))
def test_each_fault_is_cleared_alone_or_calls_a_person(code):
    action = action_for(a_transit(IN_GAUGE), {**FAULTED, "fault": code})
    assert outline(action) == ((act.ClearFault,) if code.name in CLEARED_ALONE else call(code.name, OURS))


def test_reasons_for_not_knowing_where_a_shaft_is_differ():
    gauges = ({}, let_go(done=False), let_go(passed=0), let_go(place=5))
    assert len({action_for(a_transit(LEAVING), gauge).words for gauge in gauges}) == len(gauges)
    assert action_for(None, EMPTY).words != action_for(None, EMPTY, wanted=Wanted(finish="enough")).words == "enough"


def test_an_action_is_named_in_small_words():
    assert act.action_words(act.ForgetReadings(1)) == "forget readings"
