"""No program drives the gauge past the device's own limits, whatever it asks for and whatever goes wrong meanwhile.

Force, place and speed are those of the simulated mechanics, not of the device's counts.
"""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
from device_rig import Rig, board, home, mechanics, program, records, rows, standard_steps, step
from hypothesis import event, given, settings
from hypothesis import strategies as st

FACE = board.Board
STEPS_PER_MM = 400
ZERO = step("ZERO_BEFORE", readings=5, settle_readings=2, zero=True)
SLIP = FACE.PRESS_LIMIT // home.SLIP_PART
LIMITS = {
    "phase": (0, 255),
    "press_steps": (0, FACE.PRESS_LIMIT),
    "from_step": (0, 0),
    "until_count": (1, FACE.COUNT_LIMIT),
    "rotate_steps": (-(2**20), 2**20),
    "readings": (0, FACE.READINGS - 7),
    "settle_readings": (0, 100),
    "press_speed": (1, FACE.DOWN_SPEED_MAX),
    "rotate_speed": (1, FACE.ROTATE_SPEED_MAX),
}


def refused(rig: Rig, steps: list[dict[str, Any]], shaft: int = 1, stand: bool = False) -> tuple[str | None, str]:
    """Return refusal and field of the reply to a program."""
    reply = rig.ask("Program", shaft=shaft, stand=stand, steps=steps)
    return reply["refusal"], reply["field"]


def ready(**truths: Any) -> Rig:
    """Return a greeted device at home with a shaft."""
    rig = Rig({"gauge": truths, "shafts": [{"number": 1}]})
    rig.ready()
    return rig


# Refusals


@pytest.mark.parametrize("field", LIMITS)
def test_each_field_is_refused_by_name_just_outside_its_range(field: str) -> None:
    low, high = LIMITS[field]
    usual = {"press_steps": 100, "rotate_speed": FACE.ROTATE_SPEED_MAX}

    def made(value: int) -> list[program.Step]:
        return [program.Step(list(s.values())) for s in (ZERO, step("BENCH") | usual | {field: value})]

    for value in (low, high):
        program.check(made(value), FACE, True, False)
    for value in (low - 1, high + 1):
        with pytest.raises(program.RefusalError) as caught:
            program.check(made(value), FACE, True, False)
        code = records.BUFFER_TOO_SMALL if field == "readings" and value > low else records.OUT_OF_RANGE
        assert caught.value.args == (code, f"1.{field}")


@pytest.mark.parametrize(
    ("steps", "field"),
    [
        ([], "steps"),
        ([step("BENCH")] * 33, "steps"),
        ([step("BENCH", press_steps=1)], "0.press_steps"),
        ([ZERO, step("BENCH", press_steps=100), step("BENCH", readings=5, zero=True)], "2.zero"),
        ([ZERO, step("BENCH", press_steps=0, from_step=0, readings=5, zero=True)], "1.zero"),
        ([step("BENCH", zero=True)], "0.zero"),
        ([ZERO, step("BENCH", press_steps=-FACE.PRESS_LIMIT - 1, from_step=0)], "1.press_steps"),
        ([step("BENCH", from_step=0)], "0.from_step"),
        ([step("BENCH", unreached="JAM")], "0.unreached"),
        ([step("BENCH", press_steps=0, press_speed=FACE.PRESS_SPEED_MAX + 1)], "0.press_speed"),
        ([step("BENCH", rotate_steps=2000, rotate_speed=6)], "0.rotate_speed"),
        ([*[step("BENCH")] * 31, step(256)], "31.phase"),
    ],
)
def test_a_refused_program_is_answered_by_step_and_field_and_moves_nothing(
    steps: list[dict[str, Any]], field: str
) -> None:
    rig = ready()
    before = rig.board.press.at, rig.board.rotate.at
    assert refused(rig, steps) == ("OUT_OF_RANGE", field)
    rig.run(0.5)
    assert (rig.state, rig.board.press.at, rig.board.rotate.at) == ("IDLE", *before)


def test_the_way_home_may_be_faster_than_the_way_down() -> None:
    rig = ready()
    fast = FACE.PRESS_SPEED_MAX
    assert refused(rig, [ZERO, step("BENCH", press_steps=100, press_speed=fast)]) == ("OUT_OF_RANGE", "1.press_speed")
    end = rig.run_program([ZERO, step("BENCH", press_steps=3000), step("LIFT", press_steps=0, press_speed=fast)])
    assert end["complete"]


# Faults that a program can have


def test_a_place_beyond_the_limit_that_only_the_device_can_know_is_not_gone_to() -> None:
    rig = ready()
    down = step("BENCH", press_steps=100)
    end = rig.run_program([ZERO, down, step("BENCH", press_steps=FACE.PRESS_LIMIT, from_step=1)])
    assert end["cause"] == "TRAVEL_LIMIT"
    assert [rig.last("Fault")[key] for key in ("step", "detail")] == [2, FACE.PRESS_LIMIT + 100]


def test_a_step_that_takes_too_long_ends_the_program() -> None:
    rig = ready()
    rig.begin([ZERO, step("BENCH", press_steps=2000, readings=1000)])
    rig.run(1)
    words = rig.board.mechanics.sample
    taken = 0

    def out_of_step_in_two_of_three() -> tuple[int, int]:
        nonlocal taken
        taken += 1
        return words()[0], taken % 3 == 0

    rig.board.mechanics.sample = out_of_step_in_two_of_three
    rig.run_to("HOLDING")
    rig.run(0.1)
    assert rig.last("EndOfShaft")["cause"] == "STEP_OVERTIME"
    assert [rig.last("Fault")[key] for key in ("step", "state")] == [1, "RUNNING"]
    most_ms = 1000 * (1 + 12 + 4)  # half a second of the press, 12.5 s of readings, in whole seconds
    assert most_ms - 1000 < rig.last("Fault")["detail"] <= most_ms + 50


@pytest.mark.parametrize(
    ("unreached", "ends"), [("NO_CONTACT", "NO_CONTACT"), ("TRAVEL_LIMIT", "TRAVEL_LIMIT"), (None, None)]
)
def test_a_load_that_does_not_come_is_the_fault_that_the_step_names(unreached: str | None, ends: str | None) -> None:
    rig = ready()
    end = rig.run_program([ZERO, step("BENCH", press_steps=1000, until_count=9000, unreached=unreached)])
    assert end["cause"] == unreached


# Any program


def bound_n(speed_mm_s: float, seconds: float) -> float:
    """Return the force that SPEC.md's section 9 allows with a speed downwards and a time to notice, N."""
    way_mm = speed_mm_s * seconds + speed_mm_s**2 / (2 * FACE.PRESS_ACCELERATION / STEPS_PER_MM)
    return (FACE.COUNT_LIMIT + board.COUNT_PER_MM * way_mm) / mechanics.COUNT_PER_N


NOTICE_S = FACE.INTERVAL_US / 1e6 * (2 + board.FILTER / 2) + board.LOOP_S
STUCK_S = FACE.INTERVAL_US / 1e6 * 6 + board.LOOP_S  # until equal counts are noticed
QUEUED_S = 0.050  # of motion, when the loop hangs


class Watch:
    """Watch over a gauge from the side, at every turn of its loop: places, forces, speeds, and the readings taken.

    Each of the `troubles` is (when, what, how much): from a turn on, or, below 0, from a force in N on.
    """

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.troubles: list[tuple[int, str, int]] = []
        self.turn = self.lost = self.hangs = 0
        self.deepest = self.highest = rig.board.press.steps()
        self.stood = rig.board.press.at
        self.force_n = 0.0
        self.taken: list[tuple[int, int, int]] = []
        self._idle, rig.board.idle = rig.board.idle, self._watched_idle
        self._sample, rig.device.gauge.sample = rig.device.gauge.sample, self._watched_sample
        for axis, fastest in ((rig.board.press, FACE.PRESS_SPEED_MAX), (rig.board.rotate, FACE.ROTATE_SPEED_MAX)):
            self._limit(axis, fastest)

    def _limit(self, axis: Any, fastest: int) -> None:
        play = axis.play

        def watched(direction: int, piece: Any, pieces: int, ramp: Any, ramps: int) -> bool:
            down = axis is self.rig.board.press and direction > 0
            if axis is self.rig.board.press and not axis.moving():
                self.stood = axis.at
            limit = FACE.DOWN_SPEED_MAX if down else fastest
            periods = [*piece[: 2 * pieces : 2], *ramp[: 2 * ramps : 2]]
            assert all(period >= 1e6 / limit for period in periods)
            return play(direction, piece, pieces, ramp, ramps)

        axis.play = watched

    def _watched_sample(self, tick_us: int, word: int, in_step: int, rotate: int, press: int) -> None:
        if self.rig.state == "RUNNING":
            self.taken.append((tick_us, word - 2**24 if word & 0x800000 else word, rotate))
        self._sample(tick_us, word, in_step, rotate, press)

    def _watched_idle(self) -> bool:
        for trouble in [t for t in self.troubles if (t[0] <= self.turn if t[0] >= 0 else -t[0] <= self.force_n)]:
            self.troubles.remove(trouble)
            self._strike(*trouble[1:])
        self.turn += 1
        going = self._idle()
        self._look()
        return going

    def _look(self) -> None:
        steps = self.rig.board.press.steps()
        self.deepest, self.highest = max(self.deepest, steps), min(self.highest, steps)
        self.force_n = max(self.force_n, abs(self.rig.board.mechanics.head()[1]))

    def _strike(self, what: str, amount: int) -> None:
        rig = self.rig
        truths = rig.board.mechanics.truths
        if what in ("open", "closed"):
            rig.board.home_broken = what
        elif what == "lost steps":
            # A motor that stalls stays behind, by less than it was to go since it last stood.
            gone = rig.board.press.at - self.stood if rig.board.press.moving() else 0
            lost = int(math.copysign(min(amount, abs(gone)), gone))
            rig.board.press.lost += lost
            self.lost += abs(lost)
        elif what == "hang":
            rig.board.mechanics.hang_s = amount / 1000
            self.hangs += 1
        elif what == "silent host":
            rig.keep_alive = False
        elif what == "lid":
            rig.board.world.inputs |= 64
        elif what == "stop":
            rig.send("Command", order="STOP")
        elif what == "silent cell":
            truths["drop_chance"] = 1.0
        elif what == "stuck cell":
            truths["repeat_chance"] = 1.0
        else:
            truths["zero_count"] = 9e6  # beyond what the converter can say


WHEN = st.integers(0, 700) | st.integers(-15, -1)
TROUBLE = st.one_of(
    st.tuples(WHEN, st.sampled_from([
        "open", "closed", "silent host", "lid", "stop", "silent cell", "stuck cell", "saturated cell"
    ]), st.just(0)),
    st.tuples(WHEN, st.just("lost steps"), st.integers(0, SLIP)),
    st.tuples(WHEN, st.just("hang"), st.integers(1, 2900)),
)  # fmt: skip
SHAFT = st.fixed_dictionaries(
    {"number": st.just(1), "spine_thou": st.sampled_from([150.0, 300.0, 500.0, 1500.0])},
    optional={
        "fault": st.sampled_from([
            "soft", "stiff_jam", "cell_silent", "cell_stuck", "cell_out_of_step", "cell_saturated",
        ]),
        "bow_mm": st.floats(0, 3),
    },
)  # fmt: skip
CONTENTS = st.one_of(
    st.just({}),
    SHAFT.map(lambda shaft: {"shafts": [shaft]}),
    st.floats(-3, 7.7).map(lambda mm: {"bench": [{"number": -1, "kind": "rigid", "height_mm": mm}]}),
)
TRUTHS = st.fixed_dictionaries(
    {
        "filter": st.sampled_from(["none", "average4", "sinc3"]),
        "count_per_n": st.sampled_from([mechanics.COUNT_PER_N] * 3 + [-mechanics.COUNT_PER_N]),
        "spike_chance": st.sampled_from([0.0, 0.0, 0.02]),
    }
)
GOOD_STEP = st.fixed_dictionaries(
    {
        "phase": st.integers(0, 255),
        "press_steps": st.none() | st.integers(0, 6000) | st.integers(0, FACE.PRESS_LIMIT),
        "from_step": st.none(),
        "until_count": st.none() | st.integers(1, FACE.COUNT_LIMIT),
        "unreached": st.sampled_from([None, "NO_CONTACT", "TRAVEL_LIMIT"]),
        "rotate_steps": st.just(0) | st.integers(-2000, 2000),
        "readings": st.integers(0, 20),
        "settle_readings": st.integers(0, 8),
        "zero": st.just(False),
        "press_speed": st.just(FACE.DOWN_SPEED_MAX) | st.integers(1000, FACE.DOWN_SPEED_MAX),
        "rotate_speed": st.integers(100, FACE.ROTATE_SPEED_MAX),
    }
)
FROM_STEP = GOOD_STEP.flatmap(
    lambda good: st.tuples(st.integers(-6000, 6000), st.integers(0, 3)).map(
        lambda drawn: good | {"press_steps": drawn[0], "from_step": drawn[1]}
    )
)
INT = st.integers(-(2**31), 2**31 - 1)
HOSTILE = {
    "phase": INT, "press_steps": INT, "from_step": INT | st.integers(-1, 40), "until_count": INT | st.integers(-1, 3),
    "unreached": st.sampled_from(records.FAULT_CODES), "rotate_steps": INT, "readings": INT | st.integers(0, 3000),
    "settle_readings": INT | st.integers(0, 101), "zero": st.just(True), "press_speed": INT | st.integers(0, 13000),
    "rotate_speed": INT | st.integers(-1, 5000),
}  # fmt: skip
HOSTILE_STEP = st.tuples(GOOD_STEP, st.fixed_dictionaries({}, optional=HOSTILE)).map(lambda pair: pair[0] | pair[1])
STEPS = st.one_of(
    st.lists(GOOD_STEP | FROM_STEP, max_size=12).map(lambda steps: [ZERO, ZERO, ZERO, ZERO, *steps]),
    st.lists(st.sampled_from(standard_steps()) | GOOD_STEP, max_size=12).map(lambda steps: [ZERO, *steps]),
    st.just(standard_steps()),
    st.tuples(st.lists(GOOD_STEP, max_size=38), HOSTILE_STEP).map(lambda drawn: [ZERO, *drawn[0], drawn[1]]),
)


def most_seconds(steps: list[dict[str, Any]]) -> float:
    """Return the time within which a program has ended in any case, the way home after it included."""
    seconds = 0.0
    for s in steps:
        seconds += FACE.PRESS_LIMIT / s["press_speed"] + (s["readings"] + s["settle_readings"]) * 0.0125
        seconds += abs(s["rotate_steps"]) / s["rotate_speed"] + s["rotate_speed"] / FACE.ROTATE_ACCELERATION + 5
    return seconds + 2 * FACE.PRESS_LIMIT / FACE.HOME_SPEED + 10


def assert_safe(watch: Watch, steps: list[dict[str, Any]]) -> None:
    """Check greatest force and outermost places of what was watched."""
    down = [s["press_speed"] for s in steps if s["press_steps"] is not None]
    speed_mm_s = max([0, *down]) / STEPS_PER_MM
    stuck = watch.rig.board.mechanics.truths["repeat_chance"] or watch.rig.board.mechanics._shaft.fault == "cell_stuck"
    notice_s = STUCK_S if stuck else NOTICE_S
    assert watch.force_n <= bound_n(speed_mm_s, notice_s + watch.hangs * (NOTICE_S + QUEUED_S))
    assert watch.deepest <= FACE.PRESS_LIMIT + watch.lost
    assert watch.highest >= -SLIP // 2 - home.LOST_STEPS_MOST - watch.lost


def ended(watch: Watch, seconds: float) -> str:
    """Run until a program has ended; return the state."""
    rig = watch.rig
    until_us = rig.board.now_us + int(1e6 * seconds)
    while rig.state in ("RUNNING", "RETRACTING"):
        assert rig.board.now_us < until_us, rig.state
        rig.step()
    watch.troubles.clear()
    rig.keep_alive = True
    rig.run(0.2)
    return rig.state


def assert_head_is_where_it_says(watch: Watch) -> None:
    """Check that the head stands where the state says, as far as a home wire and a rotor allow."""
    rig = watch.rig
    assert not rig.board.press.moving()
    assert not rig.board.rotate.moving()
    state, steps = rig.greet()["state"], rig.board.press.steps()
    if state == "STANDING":
        assert abs(steps - rig.device.gauge.press.position()) <= watch.lost
    elif state == "HOLDING":
        assert abs(steps) <= SLIP
        assert rig.board.home_broken == "closed" or abs(steps) <= home.LOST_STEPS_MOST
    else:
        assert state == "FAULTED"
        assert rig.faults()


def assert_nothing_is_lost(watch: Watch, seed: int) -> None:
    """Check that each reading came once, after the loss of some blocks on the line and their resending."""
    rig = watch.rig
    line, blocks = random.Random(seed), rig.all("Readings")
    heard = [block for block in blocks if line.random() < 0.7]
    missing = [block["block"] for block in blocks if block not in heard]
    rig.records.clear()
    if missing:
        assert rig.ask("Resend", shaft=1, blocks=missing)["refusal"] is None
        rig.run(1)
    again = rig.all("Readings")
    assert sorted(block["block"] for block in again) == missing
    whole = sorted([*heard, *again], key=lambda block: int(block["block"]))
    assert [block["block"] for block in whole] == list(range(len(whole)))
    got = rows(whole)
    assert [(row["tick_us"], row["counts"]) for row in got] == [(tick, count) for tick, count, _ in watch.taken]
    assert len({row["rotate_steps"] - rotate for row, (_, _, rotate) in zip(got, watch.taken, strict=True)}) <= 1


def assert_a_person_gets_on(watch: Watch) -> None:
    """Check that a mended gauge finds its home again after CLEAR_FAULT, and that a broken one ends FAULTED."""
    rig = watch.rig
    rig.board.home_broken = None
    rig.board.world.inputs &= ~64
    rig.records.clear()
    if rig.state in ("FAULTED", "STANDING"):
        assert rig.order("CLEAR_FAULT")["refusal"] is None
        until_us = rig.board.now_us + 30_000_000
        while rig.state in ("HOMING", "RETRACTING"):
            assert rig.board.now_us < until_us, rig.state
            rig.step()
        if rig.state == "FAULTED":
            assert all(code.startswith("CELL") for code in rig.faults())
        else:
            assert (rig.state, rig.board.press.steps()) == ("IDLE", 0)
    assert rig.state in ("IDLE", "LOADED", "FAULTED")


def put_to(state: str, contents: dict[str, Any], truths: dict[str, Any]) -> Rig:
    """Return a greeted device in a state from which a program can begin."""
    feeder = {"hopper": [1]} if state == "LOADED" else {"places": 0, "guards": 3, "hopper": []}
    rig = Rig({"gauge": truths | {"start_mm": 0.1}, "feeder": feeder} | contents)
    rig.ready()
    if state == "LOADED":
        rig.feed(1)
    if state == "STANDING":
        rig.run_program([ZERO, step("BENCH", press_steps=1)], 7, stand=True)
        rig.acknowledge(7)
    assert rig.state == state
    rig.records.clear()
    return rig


@pytest.mark.slow
@settings(max_examples=300)
@given(
    st.sampled_from(["IDLE", "IDLE", "STANDING", "LOADED"]), CONTENTS, TRUTHS, STEPS, st.booleans(),
    st.lists(TROUBLE, max_size=2), st.integers(0, 9),
)  # fmt: skip
def test_any_program_keeps_within_the_limits_says_where_the_head_is_and_loses_no_reading(
    state: str, contents: dict[str, Any], truths: dict[str, Any], steps: list[dict[str, Any]], stand: bool,
    troubles: list[tuple[int, str, int]], seed: int,
) -> None:  # fmt: skip
    if state == "LOADED":
        contents = {"shafts": [{"number": 1}]} | contents
    rig = put_to(state, contents, truths)
    watch = Watch(rig)
    refusal, field = refused(rig, steps, stand=stand)
    event(f"refused: {refusal}")
    if refusal is not None:
        assert field
        rig.run(0.3)
        assert rig.all("Event") == []
        assert watch.deepest == watch.highest
        return
    watch.troubles = list(troubles)
    end_state = ended(watch, most_seconds(steps) + 3 * len(troubles))
    end = rig.last("EndOfShaft")
    event(f"{end_state}: {end['cause']}")
    assert len(rig.all("EndOfShaft")) == 1
    assert "INTERNAL" not in rig.faults()
    assert (end["cause"] is None) == end["complete"]
    assert end["readings"] == len(watch.taken)
    assert_safe(watch, steps)
    assert_head_is_where_it_says(watch)
    assert_nothing_is_lost(watch, seed)
    rig.acknowledge()
    assert_a_person_gets_on(watch)
