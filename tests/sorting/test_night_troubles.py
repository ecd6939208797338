"""Troubles of a night: shafts, gauge, line, disk, clock, people; each ends or waits in a state that is reported."""

import re
import sqlite3
from dataclasses import replace
from unittest import mock

import pytest
from midspan.archive.reader import read_archive
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ArchiveError
from midspan.decision.decision import Outcome
from midspan.sorting import actions as act
from midspan.sorting.loop import AS_ASKED, AT_ONCE
from midspan.sorting.notices import Kind
from midspan.sorting.plan import Standard
from midspan.store.transit import RunEventKind, TransitStage
from midspan.wire.records import FaultCode, State
from night_rig import BAR, CRACKED, RECHECK, REJECTED, RETURN, SOFTER, STIFFER, Rig, plan_with
from pretend import STANDARD, Axe, World, readings

pytestmark = pytest.mark.slow

GOOD = {"a": 500.0, "b": 501.0, "c": 502.0, "d": 508.0}


def a_rig(folder, plan=None, ask=None, **changes):
    """Return a rig with four good shafts in the hopper."""
    given = {"spines": GOOD, "hopper": list(changes.get("spines", GOOD))}
    world = World(**{**given, **changes})
    if world.slot is not None:
        world.spines = {**world.spines, STANDARD: world.spines.get(STANDARD, 500.0)}
    return Rig(folder, world, plan or plan_with(), ask)


def codes(rig):
    """Return the codes of the journal's events."""
    return [event.code for event in rig.events() if event.code is not None]


def stages(rig):
    """Return how the way of each shaft ended."""
    return [transit.stage for transit in rig.transits()]


# Shafts


def test_two_that_come_at_once_go_to_recheck_unmeasured_and_both_are_counted(tmp_path):
    rig = a_rig(tmp_path, two_at_once={"b"})
    assert rig.sort().is_over
    assert rig.world.went == {"a": STIFFER, "b": RECHECK, "c": RECHECK, "d": SOFTER}
    assert "b" not in rig.gauge.measured
    pair = rig.transits()[1]
    assert (pair.unfit, pair.passed, pair.result) == ("TWO_SHAFTS", 2, None)
    assert codes(rig) == ["TWO_SHAFTS"]
    rig.check_ledger()


def test_one_that_is_too_short_goes_to_recheck_unmeasured(tmp_path):
    rig = a_rig(tmp_path, short={"c"})
    assert rig.sort().is_over
    assert rig.world.went["c"] == RECHECK
    assert rig.gauge.measured == ["a", "b", "d"]
    assert codes(rig) == ["SHAFT_SHORT"]


def test_one_that_the_chute_did_not_see_is_uncertain_and_its_place_is_to_be_recounted(tmp_path):
    rig = a_rig(tmp_path, unseen={"b"})
    assert rig.sort().is_over
    assert rig.check_ledger() == 1
    unseen = rig.transits()[1]
    assert (unseen.stage, unseen.place) == (TransitStage.UNCERTAIN, STIFFER)


def test_a_chute_sensor_that_sees_nothing_stops_the_night(tmp_path):
    rig = a_rig(tmp_path, plan_with(standard=[BAR]), unseen={"a", "b", "c", "d"}, slot=STANDARD)
    ending = rig.sort()
    assert not ending.is_over
    assert "chute" in ending.words
    assert " 3 " in ending.words
    assert rig.gauge.measured[-1] == STANDARD  # the chute saw it, which does not take the stop back
    assert rig.world.hopper == ["d"]
    assert rig.sort().is_over  # a person looked and goes on
    assert rig.check_ledger() == 4


@pytest.mark.parametrize(
    ("causes", "went", "measured"),
    [
        (["CELL_STUCK"], STIFFER, 2),  # once: cleared, and measured again
        (["CELL_STUCK", "CELL_STUCK"], RECHECK, 2),
        (["NO_CONTACT", "NO_CONTACT"], RECHECK, 2),
        (["HOST_SILENT", "HOST_SILENT", "HOST_SILENT"], STIFFER, 4),  # says nothing of the shaft
        (["HOST_SILENT", "NO_CONTACT"], STIFFER, 3),
    ],
)
def test_a_cycle_cut_short_is_measured_again_as_often_as_the_plan_says(tmp_path, causes, went, measured):
    rig = a_rig(tmp_path, cut_short={"b": list(causes)})
    assert rig.sort().is_over
    assert rig.world.went["b"] == went
    assert rig.gauge.measured.count("b") == measured
    assert codes(rig) == causes
    rig.check_ledger()


def test_instrument_faults_in_a_row_stop_the_night_with_the_next_shaft_still_in_the_hopper(tmp_path):
    rig = a_rig(tmp_path, cut_short={name: ["CELL_SILENT"] * 2 for name in GOOD})
    ending = rig.sort()
    assert ending.words.startswith("3 ")
    assert codes(rig) == ["CELL_SILENT"] * 6
    assert rig.world.hopper == ["d"]
    assert rig.world.went == dict.fromkeys("abc", RECHECK)


def test_a_crack_goes_to_its_own_place_whatever_the_bands_say(tmp_path):
    rig = a_rig(tmp_path, hysteresis={"b": 0.02})
    assert rig.sort().is_over
    assert rig.world.went["b"] == CRACKED
    (told,) = rig.events(RunEventKind.FAULT)
    assert told.code == "CRACK_SUSPECTED"
    assert told.shaft == rig.transits()[1].shaft


# Places


def small_places(**holds):
    """Return the plan's places with other sizes."""
    return [
        {**place, "holds": holds.get(f"p{place['number']}", place.get("holds"))} if "holds" in place else place
        for place in PLACES
    ]


PLACES = plan_with().model_dump(mode="json", exclude_none=True)["place"]


def test_a_full_place_hands_its_shafts_to_recheck_and_says_so(tmp_path):
    rig = a_rig(tmp_path, plan_with(place=small_places(p1=2)))
    assert rig.sort().is_over
    assert rig.world.went == {"a": STIFFER, "b": STIFFER, "c": RECHECK, "d": SOFTER}
    (full,) = rig.events(RunEventKind.FULL)
    assert full.place == STIFFER
    assert re.findall(r"place \d \(\w+\)", full.words) == ["place 1 (500)", "place 3 (recheck)"]


def test_when_recheck_is_full_too_the_shaft_stays_in_the_gauge_until_a_person_emptied_them(tmp_path):
    plan = plan_with(place=small_places(p1=1, p3=1))
    rig = a_rig(tmp_path, plan)
    ending = rig.sort()
    assert re.findall(r"place \d \(\w+\)", ending.words) == ["place 1 (500)", "place 3 (recheck)"]
    assert ending.options == " --emptied 1 --emptied 3"
    assert rig.world.rollers == ["c"]
    overflow = rig.events(RunEventKind.FULL)[0].words
    assert rig.notices.told == [
        (Kind.NEEDS_PERSON, overflow),
        (Kind.NEEDS_PERSON, ending.words),
        (Kind.STOPPED, ending.words),
    ]
    assert rig.sort().words == ending.words  # nobody emptied them

    def emptied(night):
        night.emptied(STIFFER)
        night.emptied(RECHECK)

    assert rig.sort(before=emptied).is_over
    assert rig.world.went == {"a": STIFFER, "b": RECHECK, "c": STIFFER, "d": SOFTER}
    assert rig.gauge.measured == ["a", "b", "c", "d"]
    rig.check_ledger()


def test_in_an_attended_night_the_person_who_empties_is_asked(tmp_path):
    asked = []

    def ask(words):
        asked.append(words)
        return True

    rig = a_rig(tmp_path, plan_with(place=small_places(p1=1, p3=1), sort={"attended": True}), ask)
    assert rig.sort().is_over
    assert [re.findall(r"place \d", words) for words in asked] == [["place 1", "place 3"]]
    assert [event.place for event in rig.events(RunEventKind.EMPTIED)] == [STIFFER, RECHECK]


# The gauge


@pytest.mark.parametrize(("call", "code"), [("feed", "JAM"), ("release", "JAM"), ("release", "BIN_FULL")])
def test_what_needs_eyes_stops_the_night_and_the_next_one_goes_on(tmp_path, call, code):
    rig = a_rig(tmp_path)
    rig.gauge.faults.append((call, FaultCode[code]))
    ending = rig.sort()
    assert not ending.is_over
    assert f"{code}: " in ending.words
    assert rig.notices.told == [(Kind.NEEDS_PERSON, ending.words), (Kind.STOPPED, ending.words)]
    assert ending.options == " --clear-fault"
    assert rig.sort().words == ending.words  # nobody looked
    assert rig.sort(before=lambda night: night.looked_after()).is_over
    assert rig.check_ledger() == 0
    assert len(rig.world.went) == 4


def test_a_persons_leave_holds_for_one_clearing(tmp_path):
    rig = a_rig(tmp_path)
    rig.gauge.faults += [("feed", FaultCode.JAM), ("release", FaultCode.JAM)]
    rig.world.went["a"], rig.world.hopper = "taken", ["b", "c", "d"]
    assert not rig.sort(before=lambda night: night.looked_after()).is_over
    ending = rig.sort(before=lambda night: night.looked_after())
    assert "JAM" in ending.words
    assert rig.world.rollers == ["b"]
    assert rig.sort(before=lambda night: night.looked_after()).is_over


def test_only_a_persons_word_lets_the_same_night_go_on(tmp_path):
    rig = a_rig(tmp_path, plan_with(sort={"attended": True}), ask=lambda words: True)
    rig.gauge.faults.append(("feed", FaultCode.JAM))
    assert rig.sort().is_over
    assert rig.check_ledger() == 0


def test_an_open_lid_ends_an_unattended_night_and_is_asked_about_in_an_attended_one(tmp_path):
    rig = a_rig(tmp_path, lid=True)
    ending = rig.sort()
    assert (ending.is_over, ending.options) == (False, "")
    assert rig.events()[0].code == "LID_OPEN"
    assert rig.world.went == {}

    def ask(words):
        rig.world.lid = False
        return True

    rig.world.lid, rig.ask = True, ask
    assert rig.sort().is_over
    rig.check_ledger()


def test_a_lid_that_is_open_when_the_fault_is_to_be_cleared_is_asked_about_again(tmp_path):
    asked = []

    def ask(words):
        asked.append(words)
        rig.world.lid = len(asked) < 3
        return True

    rig = a_rig(tmp_path, plan_with(sort={"attended": True}), ask, cut_short={"a": ["LID_OPEN"]})
    rig.gauge.faults.append(("feed", FaultCode.LID_OPEN))
    rig.world.lid = True
    assert rig.sort().is_over
    assert len(asked) >= 3
    assert rig.check_ledger() == 0


def test_readings_of_a_shaft_that_nobody_here_knows_are_kept_once(tmp_path):
    rig = a_rig(tmp_path)
    rig.gauge.held = replace(readings(503.0, 0.0, 3), shaft=77, boot=1)
    rig.gauge.state = type(rig.gauge.state).HOLDING
    assert rig.sort().is_over
    assert [run.shaft for run in read_archive(rig.setup.archive)].count(77) == 1
    assert min(transit.shaft for transit in rig.transits()) == 1 or 78
    rig.gauge.held = replace(readings(503.0, 0.0, 3), shaft=77, boot=1)  # as when the host died before it said so
    rig.gauge.state = type(rig.gauge.state).HOLDING
    rig.sort()
    assert [run.shaft for run in read_archive(rig.setup.archive)].count(77) == 1


def test_wherever_a_host_dies_readings_of_an_unknown_shaft_are_kept_and_judged_once(tmp_path):
    def lived(name, axe):
        rig = a_rig(tmp_path / name, spines={})
        rig.folder.mkdir()
        rig.gauge.held = replace(readings(503.0, 0.0, 3), shaft=77, boot=1)
        rig.gauge.state = State.HOLDING
        rig.sort(axe)
        rig.sort()
        assert [run.shaft for run in read_archive(rig.setup.archive)] == [77]
        with rig.setup.store.open() as store:
            assert [past.decision.outcome for past in store.history(77)] == [Outcome.ACCEPTED]
        assert rig.gauge.held is None

    quiet = Axe()
    lived("quiet", quiet)
    for k in range(1, quiet.count + 1):
        lived(str(k), Axe(k))


def test_a_shaft_taken_out_by_hand_is_told_as_taken_out(tmp_path):
    rig = a_rig(tmp_path)

    def take_out(action):
        if isinstance(action, act.NoteInGauge) and rig.world.rollers == ["b"]:
            rig.world.rollers = []
            rig.world.went["b"] = "taken"
            rig.gauge.reset()

    rig.shown = mock.Mock(append=take_out)
    assert rig.sort().is_over
    assert stages(rig)[1] is TransitStage.TAKEN_OUT
    assert rig.world.went["c"] == STIFFER


def test_a_shaft_that_lay_in_the_gauge_before_is_sorted_as_one_of_the_stock(tmp_path):
    rig = a_rig(tmp_path)
    rig.world.rollers, rig.world.hopper = ["d"], ["a", "b", "c"]
    assert rig.sort().is_over
    assert (rig.transits()[0].source, rig.world.went["d"]) == ("SEATED", SOFTER)
    rig.check_ledger()


def test_a_gauge_that_does_not_get_on_calls_a_person(tmp_path):
    rig = a_rig(tmp_path)
    rig.gauge.feed = lambda shaft, source, on_event=None: rig.gauge.settled()  # accepted, and nothing comes of it
    ending = rig.sort()
    assert not ending.is_over
    assert "feed shaft" in ending.words
    assert rig.transits()[0].is_open


def test_a_shaft_that_jams_on_its_way_in_is_named_and_never_counted_as_the_next_one(tmp_path):
    rig = a_rig(tmp_path)
    rig.gauge.faults.append(("feed", FaultCode.JAM))
    rig.world.went["a"] = "taken by the person"
    rig.world.hopper.remove("a")
    assert not rig.sort().is_over
    rig.gauge.clear_fault()
    assert rig.sort().is_over
    jammed, *others = rig.transits()
    assert jammed.stage is TransitStage.TAKEN_OUT
    assert "jam" in jammed.steps[-1].words
    assert [rig.world.numbers[other.shaft] for other in others] == [["b"], ["c"], ["d"]]


# The line


def test_a_cable_that_is_pulled_and_put_back_is_told_and_costs_nothing(tmp_path):
    rig = a_rig(tmp_path)

    def pull(action):
        if len(rig.world.went) == 2 and not rig.reconnector.gone and rig.reconnector.opens == 1:
            rig.gauge.lost_calls, rig.reconnector.gone = 1, 4

    rig.shown = mock.Mock(append=pull)
    assert rig.sort().is_over
    assert rig.reconnector.opens == 6
    (told,) = rig.events(RunEventKind.FAULT)
    assert told.code == "PORT_LOST"
    assert rig.check_ledger() == 0


def test_a_gauge_that_stays_away_is_waited_for_then_a_person_is_called_then_the_night_stops(tmp_path):
    rig = a_rig(tmp_path)

    def pull(action):
        rig.gauge.lost_calls, rig.reconnector.gone = 1, 10_000

    rig.shown = mock.Mock(append=pull)
    ending = rig.sort()
    assert not ending.is_over
    assert 30 * 60 <= rig.time.count_s < 32 * 60  # stop.wait_minutes
    assert [kind for kind, _ in rig.notices.told] == [Kind.NEEDS_PERSON, Kind.STOPPED]
    assert max(rig.time.slept) <= 0.5  # Ctrl-C is heard meanwhile
    rig.reconnector.gone, rig.gauge.lost_calls, rig.shown = 0, 0, []
    assert rig.sort().is_over
    rig.check_ledger()


# The disk and the store


def test_a_full_disk_keeps_the_shaft_in_the_gauge_until_there_is_room(tmp_path):
    rig = a_rig(tmp_path)
    whole, left = ArchiveWriter.append, [5]

    def append(writer, run):
        left[0] -= 1
        if 0 <= left[0] < 4:
            writer.close()
            raise ArchiveError(f"{writer.path}: no room") from OSError(28, "No space left on device")
        return whole(writer, run)

    with mock.patch.object(ArchiveWriter, "append", append):
        assert rig.sort().is_over
    assert codes(rig) == ["DISK_FULL"]
    assert rig.gauge.measured == ["a", "b", "c", "d"]  # never twice: the gauge kept the readings
    assert rig.check_ledger() == 0


def test_a_locked_database_is_waited_for(tmp_path):
    rig = a_rig(tmp_path)
    other = []

    def lock(action):
        if isinstance(action, act.MeasureShaft) and rig.gauge.measured == ["a", "b"]:
            other.append(sqlite3.connect(rig.setup.store.file))
            other[0].execute("BEGIN IMMEDIATE")

    waited = rig.time.sleep

    def sleep(seconds):
        waited(seconds)
        if rig.time.slept[10:]:
            other[0].rollback()

    rig.shown, rig.time.sleep = mock.Mock(append=lock), sleep
    assert rig.sort().is_over
    other[0].close()
    assert codes(rig) == ["STORE_LOCKED"]
    assert rig.gauge.measured == ["a", "b", "c", "d"]
    assert rig.check_ledger() == 0


def test_a_database_that_stays_locked_stops_the_night_with_the_shaft_in_the_gauge(tmp_path):
    rig = a_rig(tmp_path)
    other = []

    def lock(action):
        if isinstance(action, act.MeasureShaft):
            other.append(sqlite3.connect(rig.setup.store.file))
            other[0].execute("BEGIN IMMEDIATE")

    rig.shown = mock.Mock(append=lock)
    ending = rig.sort()
    assert str(rig.setup.store) in ending.words
    assert rig.notices.told == [(Kind.NEEDS_PERSON, ending.words), (Kind.STOPPED, ending.words)]
    assert rig.world.rollers == ["a"]
    other[0].close()
    rig.shown = []
    assert rig.sort().is_over
    assert rig.gauge.measured == ["a", "b", "c", "d"]
    assert rig.check_ledger() == 0


# People and clocks


def test_a_wish_to_end_finishes_the_shaft_in_hand_and_checks_once_more(tmp_path):
    rig = a_rig(tmp_path, plan_with(standard=[BAR]), slot=STANDARD)
    begun = []

    def show(action):
        if rig.gauge.measured == [STANDARD, "a"]:
            begun[0].finish()

    rig.shown = mock.Mock(append=show)
    ending = rig.sort(before=begun.append)
    assert (ending.is_over, ending.words) == (False, AS_ASKED)
    assert rig.gauge.measured == [STANDARD, "a", STANDARD]
    assert rig.world.went == {"a": STIFFER}
    assert rig.world.slot == STANDARD
    rig.shown = []
    assert rig.sort().is_over
    rig.check_ledger()


def test_ctrl_c_twice_stops_at_once_and_the_next_host_goes_on(tmp_path):
    rig = a_rig(tmp_path)
    stopped = []
    rig.gauge.stop = lambda: stopped.append(True)

    def show(action):
        if isinstance(action, act.JudgeReadings) and not stopped:
            raise KeyboardInterrupt

    rig.shown = mock.Mock(append=show)
    ending = rig.sort()
    assert (ending.is_over, ending.words, stopped) == (False, AT_ONCE, [True])
    assert rig.sort().is_over
    assert rig.gauge.measured == ["a", "b", "c", "d"]
    assert rig.check_ledger() == 0


def test_a_clock_that_jumps_is_told(tmp_path):
    rig = a_rig(tmp_path)

    def jump(action):
        if isinstance(action, act.JudgeReadings) and rig.gauge.measured == ["a", "b"]:
            rig.time.wall_s -= 3600

    rig.shown = mock.Mock(append=jump)
    assert rig.sort().is_over
    (told,) = rig.events(RunEventKind.CLOCK)
    assert told.code == "CLOCK_JUMP"
    assert " -3600 s" in told.words
    rig.check_ledger()


def test_a_notice_that_fails_is_noted_and_stops_nothing(tmp_path):
    rig = a_rig(tmp_path)
    rig.notices.failures.append("webhook 1")
    assert rig.sort().is_over
    assert [event.words for event in rig.events(RunEventKind.NOTICE)] == ["webhook 1"]


@pytest.mark.parametrize(
    ("stop", "number", "left"), [({"shafts": 2}, "2 shafts", 2), ({"hours": 0.001}, "0.001 hours", 3)]
)
def test_the_plan_ends_the_night(tmp_path, stop, number, left):
    rig = a_rig(tmp_path, plan_with(stop=stop))
    ending = rig.sort()
    assert (ending.is_over, len(rig.world.hopper)) == (True, left)
    assert ending.words.startswith(number)


# Check standards


def test_standards_are_checked_at_the_start_every_so_often_and_at_the_end(tmp_path):
    rig = a_rig(tmp_path, plan_with(standard=[BAR], checks={"every_shafts": 2}), slot=STANDARD)
    assert rig.sort().is_over
    assert rig.gauge.measured == [STANDARD, "a", "b", STANDARD, "c", "d", STANDARD]
    with rig.journal() as journal:
        checks = journal.checks(gauge="paper")
    assert [check.good for check in checks] == [True] * 3
    assert [transit.place for transit in rig.transits() if transit.standard] == [RETURN] * 3


def drift_after(rig, shafts, thou):
    """Let the gauge drift once a number of shafts were sorted."""

    def drift(action):
        if len(rig.world.went) == shafts:
            rig.world.drift_thou = thou

    rig.shown = mock.Mock(append=drift)


@pytest.mark.parametrize("bad_check", ["stop", "continue"])
def test_a_bad_check_makes_every_shaft_since_the_last_good_one_suspect(tmp_path, bad_check):
    plan = plan_with(standard=[BAR], checks={"every_shafts": 2, "bad_check": bad_check})
    rig = a_rig(tmp_path, plan, slot=STANDARD, spines={**GOOD, "e": 503.0})
    drift_after(rig, 3, 2.0)  # between c and d
    ending = rig.sort()
    with rig.journal() as journal:
        checks, suspects = journal.checks(gauge="paper"), journal.suspects(1)
    bad = [check.shaft for check in checks if not check.good]
    numbers = {rig.world.numbers[number][0]: number for number in suspects}
    assert (set(numbers) if bad_check == "stop" else set(numbers) - {"e"}) == {"c", "d"}
    assert suspects[numbers["c"]][0] == bad[0]
    (told, *_) = rig.events(RunEventKind.CHECK)
    assert (told.code, told.shaft) == ("CHECK_OUT_OF_CONTROL", bad[0])
    assert " +2.0" in told.words
    if bad_check == "stop":
        assert ("bar 7" in ending.words, " +2.0" in ending.words) == (True, True)
        assert rig.world.hopper == ["e"]
    else:
        assert ending.is_over
        assert set(numbers) == {"c", "d", "e"}  # e lies between two bad checks
        called = [words for kind, words in rig.notices.told if kind == Kind.NEEDS_PERSON]
        assert len(called) == 1  # the second bad check is no news
        assert ("bar 7" in called[0], " +2.0" in called[0]) == (True, True)
    assert rig.world.slot == STANDARD


def test_after_a_bad_check_the_next_host_checks_before_it_goes_on(tmp_path):
    rig = a_rig(tmp_path, plan_with(standard=[BAR]), slot=STANDARD)
    rig.world.drift_thou = 2.0
    assert not rig.sort().is_over
    assert rig.gauge.measured == [STANDARD]
    assert not rig.sort().is_over
    assert rig.gauge.measured == [STANDARD] * 2
    rig.world.drift_thou = 0.0
    assert rig.sort().is_over
    assert rig.gauge.measured[:4] == [STANDARD] * 3 + ["a"]


def test_a_standard_that_cannot_be_measured_is_a_bad_check(tmp_path):
    rig = a_rig(tmp_path, plan_with(standard=[BAR]), slot=STANDARD, cut_short={STANDARD: ["NO_CONTACT"] * 2})
    ending = rig.sort()
    assert "NO_CONTACT" in ending.words
    assert rig.gauge.measured == [STANDARD] * 2
    assert rig.world.slot == STANDARD


def test_a_standard_that_is_not_in_its_slot_calls_a_person(tmp_path):
    rig = a_rig(tmp_path, plan_with(standard=[BAR]))
    ending = rig.sort()
    assert not ending.is_over
    assert ("bar 7" in ending.words, "slot" in ending.words) == (True, True)
    assert rig.world.went == {}


def test_a_standard_that_comes_by_hand_goes_by_hand(tmp_path):
    bar = Standard(**{**BAR, "name": "bar 8", "from": "hand"})
    asked = []

    def ask(words):
        asked.append(words)
        assert "bar 8" in words
        rig.world.rollers = [STANDARD] if words.startswith("put") else []
        return True

    plan = plan_with(sort={"attended": True}, standard=[bar.model_dump(by_alias=True)])
    rig = a_rig(tmp_path, plan, ask)
    rig.world.spines = {**rig.world.spines, STANDARD: 500.0}
    assert rig.sort().is_over
    assert rig.gauge.measured == [STANDARD, "a", "b", "c", "d", STANDARD]
    assert [words.split()[0] for words in asked] == ["put", "take", "put", "take"]
    assert [transit.stage for transit in rig.transits() if transit.standard] == [TransitStage.TAKEN_OUT] * 2
    assert REJECTED not in rig.world.went.values()
