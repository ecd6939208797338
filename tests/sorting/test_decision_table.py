"""The decision table of a sorting run, row by row: what is known, and the one action that follows.

Each row differs in one thing from a neighbour, so that every condition is seen from both sides. What a person reads
is not part of it.
"""

from dataclasses import fields, replace

import pytest
from midspan.sorting import actions as act
from midspan.sorting.next_action import Route, Snapshot, Wanted, next_action
from midspan.store.transit import Step, Transit, TransitStage
from midspan.wire.records import FaultCode, LastRelease, Source, State
from test_next_action import BEFORE_END, OTHER, OURS, PLACE, PLAIN, RECHECK

ORDERED, IN_GAUGE, MEASURING, JUDGED, LEAVING = (BEFORE_END[stage] for stage in (
    TransitStage.ORDERED, TransitStage.IN_GAUGE, TransitStage.MEASURING, TransitStage.JUDGED, TransitStage.LEAVING,
))  # fmt: skip
BAR = "bar 7"
LOADED = {"state": State.LOADED, "in_gauge": OURS, "seated": True}
HOLDING = {**LOADED, "state": State.HOLDING, "held_shaft": OURS}
FAULTED = {"state": State.FAULTED}


def shaft(steps, source="HOPPER", standard=None):
    return Transit(OURS, 1, source, standard, 0, steps)


def unfit(code, *more):
    return shaft((Step(TransitStage.IN_GAUGE, 1, words=code), *more))


def let_go(place=PLACE, passed=1, *, done=True, number=OURS):
    return {"last_release": LastRelease(number, place, done, passed)}


def outline(action):
    """Return an action as its kind and all that it says but its words."""
    return (type(action), *(getattr(action, field.name) for field in fields(action) if field.name != "words"))


def call(code=None, shaft=None, full=()):
    return (act.CallPerson, code, shaft, full)


TO_RECHECK = Step(TransitStage.LEAVING, 4, place=RECHECK)

# Transit, what the gauge says, what else is known (archived, route, wanted), action.
READINGS = [
    (shaft(MEASURING), HOLDING, {}, (act.FetchReadings, OURS)),
    (shaft(MEASURING), {**HOLDING, "held_shaft": OTHER}, {}, (act.RescueReadings, OTHER)),
    (None, {**HOLDING, "held_shaft": OTHER}, {}, (act.RescueReadings, OTHER)),
    (shaft(MEASURING), HOLDING, {"archived": True}, (act.JudgeReadings, OURS)),
    (shaft(JUDGED), HOLDING, {"archived": True, "route": Route(place=6)}, (act.ForgetReadings, OURS)),
    (shaft(JUDGED), {**HOLDING, **FAULTED, "fault": FaultCode.JAM}, {}, (act.FetchReadings, OURS)),
]
LEFT = [
    (shaft(LEAVING), let_go(), {}, (act.NoteInBin, OURS, PLACE, 1)),
    (shaft(LEAVING), let_go(passed=2), {}, (act.NoteInBin, OURS, PLACE, 2)),
    (shaft(LEAVING), let_go(passed=0), {}, (act.NoteUncertain, OURS, PLACE)),
    (shaft(LEAVING), let_go(done=False), {}, (act.NoteUncertain, OURS, PLACE)),
    (shaft(LEAVING), let_go(number=OTHER), {}, (act.NoteUncertain, OURS, PLACE)),
    (shaft(LEAVING), {}, {}, (act.NoteUncertain, OURS, PLACE)),
    (shaft(LEAVING), let_go(place=5), {}, (act.NoteUncertain, OURS, 5)),
    (shaft(JUDGED), let_go(), {}, (act.NoteUncertain, OURS, PLACE)),
    (shaft(JUDGED), let_go(number=OTHER), {}, (act.NoteTakenOut, OURS)),
    (shaft(LEAVING), {**let_go(), "seated": True}, {}, (act.AdoptShaft, OURS)),
    (
        shaft(LEAVING),
        {**let_go(), **LOADED},
        {"archived": True, "route": Route(place=6)},
        (act.ReleaseShaft, OURS, PLACE),
    ),
    (unfit("TWO_SHAFTS", TO_RECHECK), let_go(RECHECK, 1), {}, (act.NoteUncertain, OURS, RECHECK)),
    (unfit("TWO_SHAFTS", TO_RECHECK), let_go(RECHECK, 2), {}, (act.NoteInBin, OURS, RECHECK, 2)),
    (unfit("SHAFT_SHORT", TO_RECHECK), let_go(RECHECK, 1), {}, (act.NoteInBin, OURS, RECHECK, 1)),
    (shaft(LEAVING, "SEATED", BAR), let_go(passed=0), {}, (act.NoteTakenOut, OURS)),
    (shaft(LEAVING, "SEATED", BAR), let_go(), {}, (act.NoteInBin, OURS, PLACE, 1)),
    (shaft(LEAVING, "SEATED"), let_go(passed=0), {}, (act.NoteUncertain, OURS, PLACE)),
    (shaft(LEAVING, "SLOT", BAR), let_go(passed=0), {}, (act.NoteUncertain, OURS, PLACE)),
    (shaft(LEAVING), {**let_go(), **FAULTED, "fault": FaultCode.JAM}, {}, (act.NoteInBin, OURS, PLACE, 1)),
]
JAM = {**FAULTED, "fault": FaultCode.JAM}
FAULTS = [
    (shaft(ORDERED), JAM, {}, (act.NoteTakenOut, OURS)),
    (shaft(ORDERED), {**JAM, "seated": True}, {}, call("JAM", OURS)),
    (shaft(ORDERED), {**JAM, "in_gauge": OURS}, {}, call("JAM", OURS)),
    (shaft(IN_GAUGE), JAM, {}, call("JAM", OURS)),
    (shaft(ORDERED), {**FAULTED, "fault": FaultCode.LID_OPEN}, {}, call("LID_OPEN", OURS)),
    (None, JAM, {}, call("JAM")),
    (None, FAULTED, {}, call()),
    (shaft(IN_GAUGE), FAULTED, {}, call(None, OURS)),
    (None, JAM, {"wanted": Wanted(person=True)}, (act.ClearFault,)),
    (None, FAULTED, {"wanted": Wanted(person=True)}, (act.ClearFault,)),
    (None, {"state": State.STANDING}, {}, (act.ClearFault,)),
    (shaft(IN_GAUGE), {**LOADED, "state": State.STANDING}, {}, (act.ClearFault,)),
    (None, {"state": State.LOADED}, {}, call()),
    (None, {"in_gauge": OURS}, {}, call()),
    (shaft(IN_GAUGE), {"in_gauge": OURS}, {}, call()),
    (shaft(IN_GAUGE), {"state": State.LOADED}, {}, call()),
    (shaft(IN_GAUGE), {**LOADED, "state": State.HOLDING}, {}, call()),
    (shaft(IN_GAUGE), {**LOADED, "in_gauge": OTHER}, {}, call()),
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
    (shaft(ORDERED), {}, {}, (act.FeedShaft, OURS, Source.HOPPER)),
    (shaft(ORDERED, "SLOT", BAR), {}, {}, (act.FeedShaft, OURS, Source.SLOT)),
    (shaft(ORDERED, "SEATED"), {}, {}, (act.NoteNoShaft, OURS)),
    (shaft(ORDERED), {}, {"wanted": Wanted(finish="enough")}, (act.NoteNoShaft, OURS)),
    (shaft(ORDERED), {"fault": FaultCode.HOPPER_EMPTY}, {}, (act.NoteNoShaft, OURS)),
    (shaft(ORDERED), {"fault": FaultCode.STOPPED_BY_HOST}, {}, (act.FeedShaft, OURS, Source.HOPPER)),
    (shaft(ORDERED), SEATED, {}, (act.AdoptShaft, OURS)),
    (shaft(ORDERED), {**SEATED, "fault": FaultCode.HOPPER_EMPTY}, {}, (act.AdoptShaft, OURS)),
    (shaft(ORDERED), LOADED, {}, (act.NoteInGauge, OURS, None)),
    (shaft(ORDERED), {**LOADED, "fault": FaultCode.HOPPER_EMPTY}, {}, (act.NoteInGauge, OURS, None)),
    (shaft(ORDERED), {**LOADED, "fault": FaultCode.TWO_SHAFTS}, {}, (act.NoteInGauge, OURS, "TWO_SHAFTS")),
    (shaft(ORDERED), {**LOADED, "fault": FaultCode.SHAFT_SHORT}, {}, (act.NoteInGauge, OURS, "SHAFT_SHORT")),
]
KEPT, THERE = {"archived": True}, {"archived": True, "route": Route(place=6)}
FULL = Route(words="full", full=(3, 4))
ON_THE_ROLLERS = [
    (shaft(IN_GAUGE), LOADED, {}, (act.MeasureShaft, OURS)),
    (shaft(MEASURING), LOADED, {}, (act.MeasureShaft, OURS)),
    (shaft(MEASURING), LOADED, KEPT, (act.JudgeReadings, OURS)),
    (shaft(JUDGED), LOADED, THERE, (act.ReleaseShaft, OURS, 6)),
    (shaft(JUDGED), LOADED, {**KEPT, "route": Route(again=True)}, (act.MeasureShaft, OURS)),
    (shaft(JUDGED), LOADED, {**KEPT, "route": FULL}, call("BIN_FULL", OURS, (3, 4))),
    (shaft(LEAVING), LOADED, THERE, (act.ReleaseShaft, OURS, PLACE)),
    (unfit("TWO_SHAFTS"), LOADED, {}, (act.ReleaseShaft, OURS, RECHECK)),
    (unfit("SHAFT_SHORT"), LOADED, {}, (act.ReleaseShaft, OURS, RECHECK)),
    (unfit("TWO_SHAFTS"), LOADED, {"recheck": FULL}, call("BIN_FULL", OURS, (3, 4))),
    (shaft(IN_GAUGE), {**LOADED, "fault": FaultCode.SHAFT_SHORT}, {}, (act.ReleaseShaft, OURS, RECHECK)),
    (shaft(IN_GAUGE), {**LOADED, "fault": FaultCode.HOPPER_EMPTY}, {}, (act.MeasureShaft, OURS)),
    (shaft(JUDGED, "SEATED", BAR), LOADED, THERE, call()),
    (shaft(JUDGED, "SEATED", BAR), LOADED, {**THERE, "wanted": Wanted(person=True)}, (act.ReleaseShaft, OURS, 6)),
    (shaft(JUDGED, "SEATED"), LOADED, THERE, (act.ReleaseShaft, OURS, 6)),
    (shaft(JUDGED, "SLOT", BAR), LOADED, THERE, (act.ReleaseShaft, OURS, 6)),
]
OUT_OF_SIGHT = [
    (shaft(IN_GAUGE), {}, {}, (act.NoteTakenOut, OURS)),
    (shaft(JUDGED), {}, THERE, (act.NoteTakenOut, OURS)),
    (shaft(JUDGED), SEATED, THERE, (act.AdoptShaft, OURS)),
    (shaft(LEAVING), SEATED, THERE, (act.AdoptShaft, OURS)),
]


def action_for(transit, gauge, archived=False, route=None, recheck=Route(place=RECHECK), wanted=Wanted()):  # noqa: B008
    return next_action(Snapshot(replace(PLAIN, **gauge), transit, archived, route, recheck, wanted))


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
    action = action_for(shaft(IN_GAUGE), {**FAULTED, "fault": code})
    assert outline(action) == ((act.ClearFault,) if code.name in CLEARED_ALONE else call(code.name, OURS))


def test_reasons_for_not_knowing_where_a_shaft_is_differ():
    gauges = ({}, let_go(done=False), let_go(passed=0), let_go(place=5))
    assert len({action_for(shaft(LEAVING), gauge).words for gauge in gauges}) == len(gauges)
    assert action_for(None, EMPTY).words != action_for(None, EMPTY, wanted=Wanted(finish="enough")).words == "enough"


def test_an_action_is_named_in_small_words():
    assert act.action_words(act.ForgetReadings(1)) == "forget readings"
