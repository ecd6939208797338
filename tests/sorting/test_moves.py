"""The next move over every combination: what must never be done, and what is done in the plain cases.

What is held: a shaft leaves only after its readings and its verdict are on the disk, never are there two, and no bin is
guessed.
"""

from dataclasses import replace
from itertools import product

import pytest
from midspan.sorting.next_action import SELF_CLEARING, Do, Route, Snapshot, Wanted, next_move
from midspan.store.passage import Step, Transit, TransitStage
from midspan.wire import schema
from midspan.wire.records import FaultCode, Identify, LastRelease, Source, State

OURS, OTHER, PLACE, RECHECK = 7, 8, 3, 9
AT_REST = [State.IDLE, State.LOADED, State.HOLDING, State.FAULTED, State.STANDING]
FAULTS = [None, *(FaultCode[name] for name in (
    "HOPPER_EMPTY", "SHAFT_SHORT", "TWO_SHAFTS", "JAM", "CELL_STUCK"))]  # fmt: skip
RELEASES = [None, LastRelease(OTHER, PLACE, True, 1), LastRelease(OURS, PLACE, False, 0), LastRelease(OURS, 5, True, 1)]
RELEASES += [LastRelease(OURS, place, True, passed) for place in (PLACE, RECHECK) for passed in range(3)]
PLAIN = Identify(
    1, 2, schema.fingerprint(), "bench", "1", "none", 4, State.IDLE, None, 0, 0, 12500, -(2**23), 2**23 - 1, 1_500_000,
    90_000, 3000, 60_000, None, False, True, True, 9, 3, None, None, 2100,
)  # fmt: skip
BEFORE_END = {
    TransitStage.ORDERED: (),
    TransitStage.IN_GAUGE: (Step(TransitStage.IN_GAUGE, 1),),
    TransitStage.MEASURING: (Step(TransitStage.IN_GAUGE, 1), Step(TransitStage.MEASURING, 2, archive_bytes=10)),
    TransitStage.JUDGED: (Step(TransitStage.MEASURING, 2, archive_bytes=10), Step(TransitStage.JUDGED, 3, result=1)),
    TransitStage.LEAVING: (Step(TransitStage.JUDGED, 3, result=1), Step(TransitStage.LEAVING, 4, place=PLACE)),
}
UNFIT = (Step(TransitStage.IN_GAUGE, 1, words="TWO_SHAFTS"),)
COURSES = [
    (False, None),
    (True, None),
    (True, Route(again=True)),
    (True, Route(place=PLACE)),
    (True, Route(place=6)),
]
COURSES += [(True, Route(words="place 3 is full", full=(3,)))]


def a_passage(steps, source="HOPPER", standard=None):
    return Transit(OURS, 1, source, standard, 0, steps)


PASSAGES = [a_passage(steps) for steps in (*BEFORE_END.values(), UNFIT)]
PASSAGES += [a_passage((*UNFIT, Step(TransitStage.LEAVING, 4, place=RECHECK)))]
PASSAGES += [a_passage(steps, "SLOT", "bar 7") for steps in BEFORE_END.values()]
PASSAGES += [a_passage(steps, "SEATED", "bar 8") for steps in BEFORE_END.values()]
RECHECKS = Route(place=RECHECK)


def gauges(in_gauges, helds, releases):
    for state, here, held, seated, fault, last in product(AT_REST, in_gauges, helds, (0, 1), FAULTS, releases):
        yield replace(
            PLAIN, state=state, in_gauge=here, held_shaft=held, seated=bool(seated), fault=fault, last_release=last
        )


def situations_on_the_way():
    found = list(gauges((None, OURS, OTHER), (None, OURS, OTHER), RELEASES))
    for gauge, passage, (archived, course) in product(found, PASSAGES, COURSES):
        yield Snapshot(gauge, passage, archived, course, RECHECKS)


def situations_in_between():
    wishes = [
        Wanted(finish, standard, source, person, attended)
        for finish, standard, source, person, attended in product(
            ("", "enough"), (None, "bar 7"), (Source.SLOT, Source.SEATED), (False, True), (False, True)
        )
    ]
    found = list(gauges((None, OTHER), (None, OTHER), RELEASES[:2]))
    for gauge, hopper, slot, wanted in product(found, (False, True), (False, True), wishes):
        yield Snapshot(replace(gauge, hopper=hopper, slot=slot), None, False, None, RECHECKS, wanted)


def nothing_is_in(gauge):
    return not gauge.seated and gauge.in_gauge is None and gauge.held_shaft is None


def check(now, move):
    """Everything that must hold of any move in any situation."""
    gauge, passage, wanted = now.gauge, now.passage, now.wanted
    if gauge.held_shaft is not None:  # readings first, and never forgotten before they are kept and judged
        assert move.do in (Do.RESCUE, Do.FETCH, Do.JUDGE, Do.ACKNOWLEDGE)
        assert move.shaft == gauge.held_shaft
    match move.do:
        case Do.ORDER:
            assert passage is None
            assert gauge.state is State.IDLE
            assert (move.source is Source.SEATED) == gauge.seated
            assert nothing_is_in(gauge) or move.source is Source.SEATED
        case Do.FEED:
            assert nothing_is_in(gauge)
            assert gauge.state is State.IDLE
            assert (passage.stage, move.shaft, move.source.name) == (TransitStage.ORDERED, OURS, passage.source)
            assert move.source is not Source.SEATED
        case Do.ADOPT:
            assert gauge.seated
            assert (gauge.in_gauge, gauge.held_shaft, gauge.state) == (None, None, State.IDLE)
            assert move.shaft == passage.shaft
        case Do.MEASURE:
            assert (gauge.in_gauge, gauge.held_shaft, gauge.state) == (passage.shaft, None, State.LOADED)
            assert not now.archived or now.course.again
        case Do.FETCH:
            assert not now.archived
            assert gauge.held_shaft == passage.shaft
        case Do.RESCUE:
            assert passage is None or passage.shaft != gauge.held_shaft
        case Do.JUDGE:
            assert now.archived
            assert now.course is None
        case Do.ACKNOWLEDGE:
            assert now.archived
            assert now.course is not None
        case Do.RELEASE:
            assert (gauge.in_gauge, gauge.held_shaft, gauge.state) == (passage.shaft, None, State.LOADED)
            unfit = passage.unfit is not None or gauge.fault in (FaultCode.SHAFT_SHORT, FaultCode.TWO_SHAFTS)
            if move.place == RECHECK:
                assert unfit
            else:
                assert now.archived
                assert now.course is not None
                assert not unfit
                assert move.place == (passage.place if passage.stage is TransitStage.LEAVING else now.course.place)
            assert passage.source != "SEATED" or passage.standard is None or wanted.person
        case Do.NOTE_IN_BIN:
            last = gauge.last_release
            assert nothing_is_in(gauge)
            assert (last.shaft, last.done) == (passage.shaft, True)
            assert last.passed == move.passed >= (2 if passage.unfit else 1)
            assert (passage.stage, passage.place, move.place) == (TransitStage.LEAVING, last.place, last.place)
        case Do.NOTE_UNCERTAIN:
            assert nothing_is_in(gauge)
            assert move.place is not None
            assert passage.stage is TransitStage.LEAVING or gauge.last_release.shaft == passage.shaft
        case Do.NOTE_TAKEN_OUT:
            assert nothing_is_in(gauge)
            assert passage.stage is not TransitStage.LEAVING or (passage.standard and gauge.last_release.passed == 0)
        case Do.NOTE_NO_SHAFT:
            assert nothing_is_in(gauge)
            assert passage.stage is TransitStage.ORDERED
        case Do.NOTE_IN_GAUGE:
            assert (passage.stage, gauge.in_gauge) == (TransitStage.ORDERED, passage.shaft)
        case Do.CLEAR_FAULT:
            own = gauge.fault in SELF_CLEARING
            assert gauge.state is State.STANDING or (gauge.state is State.FAULTED and (wanted.person or own))
        case Do.CALL_PERSON:
            assert move.words
        case Do.FINISH:
            assert passage is None
            assert nothing_is_in(gauge)
            assert gauge.state is State.IDLE
            assert move.words
            assert wanted.finish or not gauge.hopper
            assert wanted.standard is None


BETWEEN = {Do.RESCUE, Do.CLEAR_FAULT, Do.ORDER, Do.CALL_PERSON, Do.FINISH}


@pytest.mark.parametrize(
    ("situations", "made"), [(situations_on_the_way, set(Do) - {Do.ORDER, Do.FINISH}), (situations_in_between, BETWEEN)]
)
def test_no_situation_leads_to_a_move_that_must_never_be_made(situations, made):
    seen = set()
    for now in situations():
        move = next_move(now)
        check(now, move)
        seen.add(move.do)
    assert seen == made


# The plain cases, each as it comes in a night or after something died


def move_for(passage=None, *, archived=False, course=None, wanted=None, **gauge):
    return next_move(Snapshot(replace(PLAIN, **gauge), passage, archived, course, RECHECKS, wanted or Wanted()))


LOADED = {"state": State.LOADED, "in_gauge": OURS, "seated": True}
HOLDING = {"state": State.HOLDING, "in_gauge": OURS, "seated": True, "held_shaft": OURS}
LEAVES = a_passage(BEFORE_END[TransitStage.LEAVING])


@pytest.mark.parametrize(
    ("do", "passage", "gauge"),
    [
        (Do.ORDER, None, {}),
        (Do.FINISH, None, {"hopper": False}),
        (Do.ORDER, None, {"seated": True, "hopper": False}),
        (Do.FEED, a_passage(()), {}),
        (Do.NOTE_IN_GAUGE, a_passage(()), LOADED),
        (Do.ADOPT, a_passage(()), {"seated": True}),  # the device was reset while the shaft rolled in
        (Do.NOTE_NO_SHAFT, a_passage(()), {"fault": FaultCode.HOPPER_EMPTY}),
        (Do.NOTE_TAKEN_OUT, a_passage(()), {"state": State.FAULTED, "fault": FaultCode.JAM}),
        (Do.CALL_PERSON, None, {"state": State.FAULTED, "fault": FaultCode.JAM}),
        (Do.MEASURE, a_passage(BEFORE_END[TransitStage.IN_GAUGE]), LOADED),
        (
            Do.MEASURE,
            a_passage(BEFORE_END[TransitStage.MEASURING]),
            LOADED,
        ),  # reset while measuring: the readings are gone
        (Do.FETCH, a_passage(BEFORE_END[TransitStage.MEASURING]), HOLDING),
        (Do.ADOPT, a_passage(BEFORE_END[TransitStage.MEASURING]), {"seated": True}),
        (Do.NOTE_TAKEN_OUT, a_passage(BEFORE_END[TransitStage.MEASURING]), {}),
        (Do.RELEASE, a_passage(UNFIT), LOADED),
        (Do.RESCUE, None, {**HOLDING, "held_shaft": OTHER, "in_gauge": None}),
        (Do.NOTE_IN_BIN, LEAVES, {"last_release": LastRelease(OURS, PLACE, True, 1)}),
        (Do.NOTE_UNCERTAIN, LEAVES, {"last_release": LastRelease(OURS, PLACE, True, 0)}),
        (Do.NOTE_UNCERTAIN, LEAVES, {"last_release": LastRelease(OURS, PLACE, False, 0)}),
        (Do.NOTE_UNCERTAIN, LEAVES, {"last_release": LastRelease(OTHER, PLACE, True, 1)}),
        (Do.ADOPT, LEAVES, {"last_release": LastRelease(OURS, PLACE, False, 0), "seated": True}),
        (Do.CLEAR_FAULT, None, {"state": State.FAULTED, "fault": FaultCode.CELL_STUCK}),
        (Do.CLEAR_FAULT, None, {"state": State.STANDING}),
    ],
)
def test_a_plain_case(do, passage, gauge):
    assert move_for(passage, **gauge).do is do


def test_a_pair_of_which_the_chute_saw_one_is_uncertain():
    pair = a_passage((*UNFIT, Step(TransitStage.LEAVING, 4, place=RECHECK)))
    found = [move_for(pair, last_release=LastRelease(OURS, RECHECK, True, passed)) for passed in range(3)]
    assert [move.do for move in found] == [Do.NOTE_UNCERTAIN, Do.NOTE_UNCERTAIN, Do.NOTE_IN_BIN]
    assert found[1].words == "two lay on the rollers, and the chute saw 1 pass"


def test_what_is_archived_is_never_measured_or_fetched_again():
    measuring = a_passage(BEFORE_END[TransitStage.MEASURING])
    assert move_for(measuring, archived=True, **HOLDING).do is Do.JUDGE
    assert move_for(measuring, archived=True, **LOADED).do is Do.JUDGE
    judged = a_passage(BEFORE_END[TransitStage.JUDGED])
    assert move_for(judged, archived=True, course=Route(place=PLACE), **HOLDING).do is Do.ACKNOWLEDGE
    move = move_for(judged, archived=True, course=Route(place=PLACE), **LOADED)
    assert (move.do, move.place) == (Do.RELEASE, PLACE)


def test_a_full_place_keeps_the_shaft_in_the_gauge_and_calls_a_person():
    judged = a_passage(BEFORE_END[TransitStage.JUDGED])
    move = move_for(judged, archived=True, course=Route(words="place 3 is full", full=(3,)), **LOADED)
    assert (move.do, move.code, move.full, move.words) == (Do.CALL_PERSON, "BIN_FULL", (3,), "place 3 is full")


def test_only_a_person_lets_the_gauge_move_again_after_lid_stop_or_jam():
    eyes = "LID_OPEN EMERGENCY_STOP JAM BIN_FULL HOME_NOT_FOUND INTERNAL CONFIGURATION HOME_STUCK FORCE_REVERSED"
    for code in eyes.split():
        faulted = {"state": State.FAULTED, "fault": FaultCode[code]}
        assert move_for(**faulted).do is Do.CALL_PERSON
        assert move_for(**faulted).code == code
        assert move_for(wanted=Wanted(person=True), **faulted).do is Do.CLEAR_FAULT


def test_check_standards_come_from_the_slot_or_from_a_hand():
    due = Wanted(standard="bar 7")
    move = move_for(wanted=due)
    assert (move.do, move.source, move.standard) == (Do.ORDER, Source.SLOT, "bar 7")
    assert move_for(wanted=due, slot=False).do is Do.CALL_PERSON
    assert move_for(wanted=due, seated=True).standard is None  # what lies there is one of the stock
    by_hand = Wanted(standard="bar 7", standard_source=Source.SEATED, attended=True)
    assert move_for(wanted=by_hand, seated=True).words == "put check standard bar 7 into the gauge, and nothing else"
    move = move_for(wanted=replace(by_hand, person=True), seated=True)
    assert (move.do, move.source, move.standard) == (Do.ORDER, Source.SEATED, "bar 7")


def test_a_standard_put_in_by_hand_is_taken_out_by_hand():
    judged = a_passage(BEFORE_END[TransitStage.JUDGED], "SEATED", "bar 8")
    course = Route(place=6)
    assert (
        move_for(judged, archived=True, course=course, **LOADED).words == "take check standard bar 8 out of the gauge"
    )
    move = move_for(judged, archived=True, course=course, wanted=Wanted(person=True), **LOADED)
    assert (move.do, move.place) == (Do.RELEASE, 6)
    leaving = a_passage(BEFORE_END[TransitStage.LEAVING], "SEATED", "bar 8")
    assert move_for(leaving, last_release=LastRelease(OURS, PLACE, True, 0)).do is Do.NOTE_TAKEN_OUT


def test_in_an_attended_run_a_shaft_that_lies_there_is_asked_about():
    assert move_for(seated=True, wanted=Wanted(attended=True)).do is Do.CALL_PERSON
    assert move_for(seated=True, wanted=Wanted(attended=True, person=True)).do is Do.ORDER


def test_a_wish_to_end_is_heard_when_the_gauge_is_empty():
    enough = Wanted(finish="enough")
    assert move_for(wanted=enough).words == "enough"
    assert move_for(a_passage(BEFORE_END[TransitStage.IN_GAUGE]), wanted=enough, **LOADED).do is Do.MEASURE
    assert move_for(a_passage(()), wanted=enough).do is Do.NOTE_NO_SHAFT
