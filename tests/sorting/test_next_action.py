"""The next action over every combination: what must never be done, and what is done in the plain cases.

What is held: a shaft leaves only after its readings and its verdict are on the disk, never are there two, and no bin is
guessed.
"""

from dataclasses import replace
from itertools import product
from typing import get_args

import pytest
from gauges import FED, changed
from midspan.sorting import actions as act
from midspan.sorting.next_action import SELF_CLEARING, Route, Snapshot, Wanted, next_action
from midspan.store.transit import Transit, TransitStage, WayStep
from midspan.wire.records import FaultCode, LastRelease, Source, State

OURS, OTHER, PLACE, RECHECK = 7, 8, 3, 9
AT_REST = [State.IDLE, State.LOADED, State.HOLDING, State.FAULTED, State.STANDING]
FAULTS = [None, *(FaultCode[name] for name in (
    "HOPPER_EMPTY", "SHAFT_SHORT", "TWO_SHAFTS", "JAM", "CELL_STUCK"))]  # fmt: skip
RELEASES = [None, LastRelease(OTHER, PLACE, True, 1), LastRelease(OURS, PLACE, False, 0), LastRelease(OURS, 5, True, 1)]
RELEASES += [LastRelease(OURS, place, True, passed) for place in (PLACE, RECHECK) for passed in range(3)]
PLAIN = changed(FED, gauge="bench", boot=4, places=9)
BEFORE_END = {
    TransitStage.ORDERED: (),
    TransitStage.IN_GAUGE: (WayStep(TransitStage.IN_GAUGE, 1),),
    TransitStage.MEASURING: (
        WayStep(TransitStage.IN_GAUGE, 1),
        WayStep(TransitStage.MEASURING, 2, archive_bytes=10),
    ),
    TransitStage.JUDGED: (
        WayStep(TransitStage.MEASURING, 2, archive_bytes=10),
        WayStep(TransitStage.JUDGED, 3, result=1),
    ),
    TransitStage.LEAVING: (
        WayStep(TransitStage.JUDGED, 3, result=1),
        WayStep(TransitStage.LEAVING, 4, place=PLACE),
    ),
}
UNFIT = (WayStep(TransitStage.IN_GAUGE, 1, words="TWO_SHAFTS"),)
ROUTES = [
    (False, None),
    (True, None),
    (True, Route(again=True)),
    (True, Route(place=PLACE)),
    (True, Route(place=6)),
]
ROUTES += [(True, Route(words="place 3 is full", full=(3,)))]


def a_transit(steps, source="HOPPER", standard=None):
    return Transit(OURS, 1, source, standard, 0, steps)


TRANSITS = [a_transit(steps) for steps in (*BEFORE_END.values(), UNFIT)]
TRANSITS += [a_transit((*UNFIT, WayStep(TransitStage.LEAVING, 4, place=RECHECK)))]
TRANSITS += [a_transit(steps, "SLOT", "bar 7") for steps in BEFORE_END.values()]
TRANSITS += [a_transit(steps, "SEATED", "bar 8") for steps in BEFORE_END.values()]
RECHECK_ROUTE = Route(place=RECHECK)


def gauges(in_gauges, helds, releases):
    for state, here, held, seated, fault, last in product(AT_REST, in_gauges, helds, (0, 1), FAULTS, releases):
        yield changed(
            PLAIN, state=state, in_gauge=here, held_shaft=held, seated=bool(seated), fault=fault, last_release=last
        )


def snapshots_on_the_way():
    found = list(gauges((None, OURS, OTHER), (None, OURS, OTHER), RELEASES))
    for gauge, transit, (archived, route) in product(found, TRANSITS, ROUTES):
        yield Snapshot(gauge, transit, archived, route, RECHECK_ROUTE)


def snapshots_in_between():
    wants = [
        Wanted(finish, standard, source, person, attended)
        for finish, standard, source, person, attended in product(
            ("", "enough"), (None, "bar 7"), (Source.SLOT, Source.SEATED), (False, True), (False, True)
        )
    ]
    found = list(gauges((None, OTHER), (None, OTHER), RELEASES[:2]))
    for gauge, hopper, slot, wanted in product(found, (False, True), (False, True), wants):
        yield Snapshot(changed(gauge, hopper=hopper, slot=slot), None, False, None, RECHECK_ROUTE, wanted)


def nothing_is_in(gauge):
    return not gauge.feeder.seated and gauge.feeder.in_gauge is None and gauge.held_shaft is None


def check(snapshot, action):
    """Everything that must hold of any action in any snapshot."""
    gauge, transit, wanted = snapshot.gauge, snapshot.transit, snapshot.wanted
    feeder = gauge.feeder
    if gauge.held_shaft is not None:  # readings first, and never forgotten before they are kept and judged
        assert isinstance(action, act.RescueReadings | act.FetchReadings | act.JudgeReadings | act.ForgetReadings)
        assert action.shaft == gauge.held_shaft
    match action:
        case act.OrderShaft():
            assert transit is None
            assert gauge.state is State.IDLE
            assert (action.source is Source.SEATED) == feeder.seated
            assert nothing_is_in(gauge) or action.source is Source.SEATED
        case act.FeedShaft():
            assert nothing_is_in(gauge)
            assert gauge.state is State.IDLE
            assert (transit.stage, action.shaft, action.source.name) == (TransitStage.ORDERED, OURS, transit.source)
            assert action.source is not Source.SEATED
        case act.AdoptShaft():
            assert feeder.seated
            assert (feeder.in_gauge, gauge.held_shaft, gauge.state) == (None, None, State.IDLE)
            assert action.shaft == transit.shaft
        case act.MeasureShaft():
            assert (feeder.in_gauge, gauge.held_shaft, gauge.state) == (transit.shaft, None, State.LOADED)
            assert not snapshot.archived or snapshot.route.again
        case act.FetchReadings():
            assert not snapshot.archived
            assert gauge.held_shaft == transit.shaft
        case act.RescueReadings():
            assert transit is None or transit.shaft != gauge.held_shaft
        case act.JudgeReadings():
            assert snapshot.archived
            assert snapshot.route is None
        case act.ForgetReadings():
            assert snapshot.archived
            assert snapshot.route is not None
        case act.ReleaseShaft():
            assert (feeder.in_gauge, gauge.held_shaft, gauge.state) == (transit.shaft, None, State.LOADED)
            unfit = transit.unfit is not None or gauge.fault in (FaultCode.SHAFT_SHORT, FaultCode.TWO_SHAFTS)
            if action.place == RECHECK:
                assert unfit
            else:
                assert snapshot.archived
                assert snapshot.route is not None
                assert not unfit
                assert action.place == (
                    transit.place if transit.stage is TransitStage.LEAVING else snapshot.route.place
                )
            assert transit.source != "SEATED" or transit.standard is None or wanted.person
        case act.NoteInBin():
            last = feeder.last_release
            assert nothing_is_in(gauge)
            assert (last.shaft, last.done) == (transit.shaft, True)
            assert last.passed == action.passed >= (2 if transit.unfit else 1)
            assert (transit.stage, transit.place, action.place) == (TransitStage.LEAVING, last.place, last.place)
        case act.NoteUncertain():
            assert nothing_is_in(gauge)
            assert action.place is not None
            assert transit.stage is TransitStage.LEAVING or feeder.last_release.shaft == transit.shaft
        case act.NoteTakenOut():
            assert nothing_is_in(gauge)
            assert transit.stage is not TransitStage.LEAVING or (transit.standard and feeder.last_release.passed == 0)
        case act.NoteNoShaft():
            assert nothing_is_in(gauge)
            assert transit.stage is TransitStage.ORDERED
        case act.NoteInGauge():
            assert (transit.stage, feeder.in_gauge) == (TransitStage.ORDERED, transit.shaft)
        case act.ClearFault():
            own = gauge.fault in SELF_CLEARING
            assert gauge.state is State.STANDING or (gauge.state is State.FAULTED and (wanted.person or own))
        case act.CallPerson():
            assert action.words
        case act.FinishRun():
            assert transit is None
            assert nothing_is_in(gauge)
            assert gauge.state is State.IDLE
            assert action.words
            assert wanted.finish or not feeder.hopper
            assert wanted.standard is None


BETWEEN = {act.RescueReadings, act.ClearFault, act.OrderShaft, act.CallPerson, act.FinishRun}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("snapshots", "made"),
    [
        (snapshots_on_the_way, set(get_args(act.Action)) - {act.OrderShaft, act.FinishRun}),
        (snapshots_in_between, BETWEEN),
    ],
)
def test_no_snapshot_leads_to_an_action_that_must_never_be_made(snapshots, made):
    seen = set()
    for snapshot in snapshots():
        action = next_action(snapshot)
        check(snapshot, action)
        seen.add(type(action))
    assert seen == made


# The plain cases, each as it comes in a night or after something died


def action_for(transit=None, *, archived=False, route=None, wanted=None, **gauge):
    return next_action(Snapshot(changed(PLAIN, **gauge), transit, archived, route, RECHECK_ROUTE, wanted or Wanted()))


LOADED = {"state": State.LOADED, "in_gauge": OURS, "seated": True}
HOLDING = {"state": State.HOLDING, "in_gauge": OURS, "seated": True, "held_shaft": OURS}
LEAVES = a_transit(BEFORE_END[TransitStage.LEAVING])


@pytest.mark.parametrize(
    ("kind", "transit", "gauge"),
    [
        (act.OrderShaft, None, {}),
        (act.FinishRun, None, {"hopper": False}),
        (act.OrderShaft, None, {"seated": True, "hopper": False}),
        (act.FeedShaft, a_transit(()), {}),
        (act.NoteInGauge, a_transit(()), LOADED),
        (act.AdoptShaft, a_transit(()), {"seated": True}),  # the device was reset while the shaft rolled in
        (act.NoteNoShaft, a_transit(()), {"fault": FaultCode.HOPPER_EMPTY}),
        (act.NoteTakenOut, a_transit(()), {"state": State.FAULTED, "fault": FaultCode.JAM}),
        (act.CallPerson, None, {"state": State.FAULTED, "fault": FaultCode.JAM}),
        (act.MeasureShaft, a_transit(BEFORE_END[TransitStage.IN_GAUGE]), LOADED),
        (
            act.MeasureShaft,
            a_transit(BEFORE_END[TransitStage.MEASURING]),
            LOADED,
        ),  # reset while measuring: the readings are gone
        (act.FetchReadings, a_transit(BEFORE_END[TransitStage.MEASURING]), HOLDING),
        (act.AdoptShaft, a_transit(BEFORE_END[TransitStage.MEASURING]), {"seated": True}),
        (act.NoteTakenOut, a_transit(BEFORE_END[TransitStage.MEASURING]), {}),
        (act.ReleaseShaft, a_transit(UNFIT), LOADED),
        (act.RescueReadings, None, {**HOLDING, "held_shaft": OTHER, "in_gauge": None}),
        (act.NoteInBin, LEAVES, {"last_release": LastRelease(OURS, PLACE, True, 1)}),
        (act.NoteUncertain, LEAVES, {"last_release": LastRelease(OURS, PLACE, True, 0)}),
        (act.NoteUncertain, LEAVES, {"last_release": LastRelease(OURS, PLACE, False, 0)}),
        (act.NoteUncertain, LEAVES, {"last_release": LastRelease(OTHER, PLACE, True, 1)}),
        (act.AdoptShaft, LEAVES, {"last_release": LastRelease(OURS, PLACE, False, 0), "seated": True}),
        (act.ClearFault, None, {"state": State.FAULTED, "fault": FaultCode.CELL_STUCK}),
        (act.ClearFault, None, {"state": State.STANDING}),
    ],
)
def test_a_plain_case(kind, transit, gauge):
    assert isinstance(action_for(transit, **gauge), kind)


def test_a_pair_of_which_the_chute_saw_one_is_uncertain():
    pair = a_transit((*UNFIT, WayStep(TransitStage.LEAVING, 4, place=RECHECK)))
    found = [action_for(pair, last_release=LastRelease(OURS, RECHECK, True, passed)) for passed in range(3)]
    assert [type(action) for action in found] == [act.NoteUncertain, act.NoteUncertain, act.NoteInBin]
    assert " 1 " in found[1].words


def test_what_is_archived_is_never_measured_or_fetched_again():
    measuring = a_transit(BEFORE_END[TransitStage.MEASURING])
    assert isinstance(action_for(measuring, archived=True, **HOLDING), act.JudgeReadings)
    assert isinstance(action_for(measuring, archived=True, **LOADED), act.JudgeReadings)
    judged = a_transit(BEFORE_END[TransitStage.JUDGED])
    assert isinstance(action_for(judged, archived=True, route=Route(place=PLACE), **HOLDING), act.ForgetReadings)
    action = action_for(judged, archived=True, route=Route(place=PLACE), **LOADED)
    assert action == act.ReleaseShaft(OURS, PLACE)


def test_a_full_place_keeps_the_shaft_in_the_gauge_and_calls_a_person():
    judged = a_transit(BEFORE_END[TransitStage.JUDGED])
    action = action_for(judged, archived=True, route=Route(words="place 3 is full", full=(3,)), **LOADED)
    assert action == act.CallPerson("place 3 is full", "BIN_FULL", OURS, (3,))


def test_only_a_person_lets_the_gauge_move_again_after_lid_stop_or_jam():
    eyes = "LID_OPEN EMERGENCY_STOP JAM BIN_FULL HOME_NOT_FOUND INTERNAL CONFIGURATION HOME_STUCK FORCE_REVERSED"
    for code in eyes.split():
        faulted = {"state": State.FAULTED, "fault": FaultCode[code]}
        assert isinstance(action_for(**faulted), act.CallPerson)
        assert action_for(**faulted).code == code
        assert isinstance(action_for(wanted=Wanted(person=True), **faulted), act.ClearFault)


def test_check_standards_come_from_the_slot_or_from_a_hand():
    due = Wanted(standard="bar 7")
    action = action_for(wanted=due)
    assert action == act.OrderShaft(Source.SLOT, "bar 7")
    assert isinstance(action_for(wanted=due, slot=False), act.CallPerson)
    assert action_for(wanted=due, seated=True).standard is None  # what lies there is one of the stock
    by_hand = Wanted(standard="bar 7", standard_source=Source.SEATED, attended=True)
    assert "bar 7" in action_for(wanted=by_hand, seated=True).words
    action = action_for(wanted=replace(by_hand, person=True), seated=True)
    assert action == act.OrderShaft(Source.SEATED, "bar 7")


def test_a_standard_put_in_by_hand_is_taken_out_by_hand():
    judged = a_transit(BEFORE_END[TransitStage.JUDGED], "SEATED", "bar 8")
    route = Route(place=6)
    assert (
        action_for(judged, archived=True, route=route, **LOADED).words == "take check standard bar 8 out of the gauge"
    )
    action = action_for(judged, archived=True, route=route, wanted=Wanted(person=True), **LOADED)
    assert action == act.ReleaseShaft(OURS, 6)
    leaving = a_transit(BEFORE_END[TransitStage.LEAVING], "SEATED", "bar 8")
    assert isinstance(action_for(leaving, last_release=LastRelease(OURS, PLACE, True, 0)), act.NoteTakenOut)


def test_in_an_attended_run_a_shaft_that_lies_there_is_asked_about():
    assert isinstance(action_for(seated=True, wanted=Wanted(attended=True)), act.CallPerson)
    assert isinstance(action_for(seated=True, wanted=Wanted(attended=True, person=True)), act.OrderShaft)


def test_a_wish_to_end_is_heard_when_the_gauge_is_empty():
    enough = Wanted(finish="enough")
    assert action_for(wanted=enough).words == "enough"
    assert isinstance(
        action_for(a_transit(BEFORE_END[TransitStage.IN_GAUGE]), wanted=enough, **LOADED), act.MeasureShaft
    )
    assert isinstance(action_for(a_transit(()), wanted=enough), act.NoteNoShaft)
