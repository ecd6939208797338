"""The check of a running gauge: sound readings, noisy wiring, guards and sensors that fail."""

import json
import math

import numpy as np
import pytest
from answering import Answering
from commands_rig import complaint, midspan
from device_rig import DEVICE
from midspan.archive.raw_run import RawRun
from midspan.base.errors import DeviceFault
from midspan.board.check import Gear, LookOver
from midspan.board.operator import Person
from midspan.board.signal_tests import SignalOutcome, level, noise_check
from midspan.wire.records import FeederReport, Identify, Phase, State

INTERVAL_US = 12315
SETTLING, OUT_OF_STEP, GAP_BEFORE = 1, 4, 8


def run_of(counts, press=0, rotate=0, status=0, gaps_us=INTERVAL_US, cause=None):
    """Return the run of a program of the check with these columns; a single number fills a column."""
    n = len(counts)
    column = lambda value: np.broadcast_to(np.asarray(value), n).astype(np.int64)  # noqa: E731
    tick_us = np.concatenate([[0], np.cumsum(np.broadcast_to(gaps_us, n - 1))]).astype(np.int64)
    return RawRun(
        shaft=1, label="", started_ms=0, gauge="bench", firmware="1", runtime="none", boot=1, count_min=-(2**23),
        count_max=2**23 - 1, complete=cause is None, cause=cause, duration_ms=1, sampling_ms=1, interval_us=12500,
        segments=((Phase.BENCH, n),), tick_us=tick_us, rotate_steps=column(rotate), press_steps=column(press),
        counts=np.asarray(counts).astype(np.int64), status=column(status).astype(np.int16), marks=np.zeros(0, int),
    )  # fmt: skip


def noisy(scatter, n=2000, seed=3):
    return 50_000 + np.random.default_rng(seed).normal(0, scatter, n)


def test_scatter_rate_and_middle_are_those_put_in():
    found = level(run_of(noisy(45.0)))
    assert found.rate_hz == pytest.approx(1e6 / INTERVAL_US)
    assert found.scatter == pytest.approx(45.0, rel=0.08)  # a robust scatter of 2000 is known to 3 %
    assert found.middle == pytest.approx(50_000, abs=5)
    assert (found.missing, found.out_of_step, found.saturated) == (0.0, 0, 0)


def test_a_drift_and_a_few_spikes_do_not_count_as_scatter():
    counts = noisy(45.0) + np.linspace(0, 5000, 2000)
    counts[::100] += 200_000
    assert level(run_of(counts)).scatter == pytest.approx(45.0, rel=0.1)


def test_readings_of_the_motion_are_told_from_those_at_rest():
    still, moving = noisy(45.0, 400, 1), noisy(400.0, 400, 2)
    run = run_of(np.concatenate([moving, still]), press=np.concatenate([np.arange(400), np.full(400, 399)]),
                 status=np.concatenate([np.full(400, SETTLING), np.zeros(400)]))  # fmt: skip
    assert level(run).scatter == pytest.approx(45.0, rel=0.15)
    assert level(run, moving=True).scatter == pytest.approx(400.0, rel=0.15)


def test_lost_and_spoilt_words_are_counted():
    status = np.zeros(1000, int)
    status[::100], status[5:8] = GAP_BEFORE, OUT_OF_STEP
    gaps_us = np.where(status[1:] & GAP_BEFORE, 3 * INTERVAL_US, INTERVAL_US)
    found = level(run_of(noisy(45.0, 1000), status=status, gaps_us=gaps_us))
    assert found.missing == pytest.approx(0.01)
    assert found.out_of_step == 3
    assert found.rate_hz == pytest.approx(1e6 / INTERVAL_US)  # what is missing does not slow the converter


@pytest.mark.parametrize(
    ("scatter", "outcome"), [(45.0, SignalOutcome.GOOD), (600.0, SignalOutcome.LOOK), (0.0, SignalOutcome.LOOK)]
)
def test_noise_is_judged_against_the_gauges_own_limit_and_a_dead_cell_is_no_quiet_one(scatter, outcome):
    assert noise_check("noise", level(run_of(noisy(scatter))), 1_700_000).outcome is outcome


class StandIn:
    """A gauge whose readings scatter as given; `tells` are the answers of its sensors in turn.

    As a gauge does, it moves its head away from home only after a zero taken there.
    """

    def __init__(self, off=45.0, held=45.0, turning=45.0, moving=45.0, zero_shift=0.0, cause=None, guards=0, places=0,
                 refuses=True, tells=(True, False) * 3, state=State.IDLE, held_shaft=None, free_bytes=60_000,
                 longest_turn_us=2500, down_speed_most=6000):  # fmt: skip
        self.noise = [off, held]
        self.turning, self.moving, self.zero_shift, self.cause, self.refuses = (
            turning,
            moving,
            zero_shift,
            cause,
            refuses,
        )
        self.given = {
            "guards": guards, "state": state, "held_shaft": held_shaft, "free_bytes": free_bytes,
            "longest_turn_us": longest_turn_us, "down_speed_most": down_speed_most, "runtime": "micropython",
        }  # fmt: skip
        self.places, self.tells, self.taken, self.homed, self.guard = places, list(tells), 0, 0, ""
        self.zeroed, self.fastest = False, 0

    def identify(self):
        told = self.tells.pop(0) if self.places and self.tells and self.looking else False
        known = dict.fromkeys(Identify.__dataclass_fields__)
        known |= {"interval_us": 12500, "count_limit": 1_700_000, "fault": None, **self.given}
        feeder = FeederReport(None, told, told, told, self.places, None) if self.places else None
        return Identify(**(known | {"feeder": feeder}))

    def settled(self):
        self.looking = False
        found = self.identify()
        self.looking = True
        return found

    def run(self, shaft, label, steps, stand=False):
        if self.guard and self.refuses:
            raise DeviceFault("the gauge does not move for Program", code=self.guard)
        assert stand
        self.taken += 1
        assert shaft == self.taken
        for step in steps:
            self.zeroed = self.zeroed or step.zero
            assert self.zeroed or not step.press_steps
            self.fastest = max(self.fastest, step.press_speed)
        if step.rotate_steps:
            return run_of(noisy(self.turning, 500), rotate=np.arange(500))
        if step.press_steps:
            return run_of(noisy(self.moving, 500), press=np.arange(500))
        quiet = self.noise.pop(0) if self.noise else 45.0
        shift = self.zero_shift if self.homed else 0.0
        return run_of(noisy(quiet, 400) + shift, cause=self.cause)

    def acknowledge(self, shaft):
        assert shaft == self.taken

    def end_bench(self):
        self.homed += 1
        self.zeroed = False


def looked_over(gauge, sees="y", by_itself=False):
    def tries(guard):
        def do(_prompt):
            gauge.guard = guard
            return ""

        return do

    guards = {
        "lid tried": tries("LID_OPEN"), "lid back": tries(""), "emergency stop tried": tries("EMERGENCY_STOP"),
        "emergency stop back": tries(""),
    }  # fmt: skip
    person = Person(Answering({"roller turned": sees, "head went down": sees, **guards}), by_itself=by_itself)
    return {check.name: check for check in LookOver(gauge, person, Gear()).checks()}


def outcomes(found, outcome):
    return {name for name, check in found.items() if check.outcome is outcome}


def test_a_sound_gauge_with_everything_passes_every_check_and_is_left_at_home():
    gauge = StandIn(guards=3, places=5)
    found = looked_over(gauge)
    assert outcomes(found, SignalOutcome.GOOD) == set(found)
    assert len(found) == 19
    assert gauge.homed >= 2


@pytest.mark.parametrize(
    ("sick", "names"),
    [
        ({"off": 900.0}, {"noise, motors off"}),
        ({"held": 200.0}, {"noise, motors held"}),
        ({"turning": 600.0}, {"noise, rollers turning"}),
        ({"moving": 600.0}, {"noise, head moving"}),
        ({"zero_shift": 4000.0}, {"zero"}),
        ({"guards": 3, "refuses": False}, {"lid", "emergency stop"}),
        ({"free_bytes": 9000}, {"memory"}),
        ({"longest_turn_us": 12_000}, {"pace"}),
        ({"places": 5, "tells": (False, False) * 3}, {"sensor seated", "sensor hopper", "sensor slot"}),
        ({"places": 5, "tells": (True, True) * 3}, {"sensor seated", "sensor hopper", "sensor slot"}),
    ],
)
def test_each_sickness_shows_where_it_is(sick, names):
    found = looked_over(StandIn(**sick))
    assert outcomes(found, SignalOutcome.LOOK) == names
    assert all(";" in found[name].words for name in names)  # each says what to do


def test_a_gauge_that_cannot_tell_its_memory_has_it_unseen():
    assert looked_over(StandIn(free_bytes=None))["memory"].outcome is SignalOutcome.UNSEEN


@pytest.mark.parametrize(("most", "speed"), [(6000, 1600), (800, 800)])
def test_the_head_creeps_or_goes_as_fast_as_the_gauge_lets_it(most, speed):
    gauge = StandIn(down_speed_most=most)
    looked_over(gauge)
    assert gauge.fastest == speed  # 4 mm/s of 400 microsteps


def test_a_person_who_sees_it_otherwise_is_believed():
    found = looked_over(StandIn(), sees="n")
    assert outcomes(found, SignalOutcome.LOOK) == {"rotate axis", "press axis"}
    given = json.loads((DEVICE / "board.json").read_text(encoding="utf-8"))
    for axis in ("rotate", "press"):
        assert f"{axis}.forward" in found[f"{axis} axis"].words  # a key that `board config --set` takes
        assert "forward" in given[axis]


def test_what_only_eyes_can_tell_stays_unseen_when_nobody_is_there():
    unseen = outcomes(looked_over(StandIn(guards=3, places=5), by_itself=True), SignalOutcome.UNSEEN)
    assert unseen == {
        "rotate axis",
        "press axis",
        "lid",
        "emergency stop",
        "sensor seated",
        "sensor hopper",
        "sensor slot",
    }


@pytest.mark.parametrize(
    ("sick", "named"),
    [
        ({"cause": "CELL_SILENT"}, "CELL_SILENT"),
        ({"state": State.FAULTED}, "clear-fault"),
        ({"held_shaft": 7}, "shaft 7"),
    ],
)
def test_a_gauge_that_cannot_be_looked_over_says_why(sick, named):
    with pytest.raises(DeviceFault, match=named):
        looked_over(StandIn(**sick))


@pytest.mark.process
def test_the_command_looks_a_simulated_gauge_over_with_nobody_there():
    done = midspan("board", "check", "--port", "rehearsal", "--yes")
    assert done.returncode == 0, done.stdout
    rate = float(done.stdout.split("sample rate")[1].split()[0])
    assert rate == pytest.approx(81.2, abs=0.1)  # 80 a second, and an oscillator that is 1.5 % fast
    scatter = float(done.stdout.split("motors off")[1].split()[0])
    assert scatter == pytest.approx(45, rel=0.2)
    assert not math.isnan(scatter)


def test_a_port_that_is_no_gauge_and_no_board_is_one_line():
    assert "/dev/ttyNothing: " in complaint(midspan("board", "check", "--port", "/dev/ttyNothing"))
