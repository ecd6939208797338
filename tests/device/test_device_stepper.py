"""Ramped moves in whole numbers, handed out in pieces: exact ends, bounded speed and acceleration, stops in the move.

The motor here is a model of its own: it plays what it was given in exact time, reads some pairs ahead as the real one
does, and keeps each run from rest to rest.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from device_rig import board, stepper
from hypothesis import given
from hypothesis import strategies as st

STEPS = st.integers(-20000, 20000)
SPEED = st.integers(1, 32767)
ACCELERATION = st.sampled_from([4000, 8000, 200000])
PROMPT_MS = st.integers(1, 12)
LATE_MS = st.lists(st.sampled_from([1, 2, 5, 12, 12, 12, 25, 60, 300]), min_size=1, max_size=20)
AHEAD = 3  # pairs
QUEUED_US = 50000  # before the ramp
LEAST = 24  # steps so long that the rule in time does not hold: two pieces of eight, and what is read ahead


class Motor:
    """Motor that plays (period, steps) pairs; `runs` are the periods of the steps made from each rest to the next."""

    def __init__(self) -> None:
        self.now_us = self.due_us = 0
        self.at = self.direction = 0
        self.runs: list[list[int]] = []
        self.queue: list[list[int]] = []  # the present pair first
        self.piece = self.ramp = 0  # index in the queue of the last piece's first pair, and of its ramp's

    def play(self, direction: int, piece: Any, pieces: int, ramp: Any, ramps: int) -> bool:
        assert direction in (1, -1)
        if not self.queue:
            if pieces:  # a ramp alone goes on with the speed of before
                self.runs.append([])
            self.direction, self.ramp = direction, 0
            self.due_us = self.now_us + (piece[0] if pieces else ramp[0] if ramps else 0)
        elif direction != self.direction or not self.due():
            return False
        pairs = [[piece[2 * i], piece[2 * i + 1]] for i in range(pieces)]
        brake = [[ramp[2 * i], ramp[2 * i + 1]] for i in range(ramps)]
        assert all(count > 0 and period > 0 for period, count in pairs + brake)
        self.queue = self.queue[: self.ramp] + pairs + brake
        self.piece, self.ramp = self.ramp, self.ramp + pieces
        return True

    def due(self) -> bool:
        return not self.queue or (self.piece <= AHEAD and self.ramp > AHEAD + 1)

    def halt(self) -> None:
        self.queue = []

    def moving(self) -> bool:
        return bool(self.queue)

    def position(self) -> int:
        return self.at

    def pass_us(self, us: int) -> None:
        self.now_us += us
        while self.queue and self.due_us <= self.now_us:
            self.at += self.direction
            self.runs[-1].append(self.queue[0][0])
            self.queue[0][1] -= 1
            if not self.queue[0][1]:
                self.queue.pop(0)
                self.piece -= 1
                self.ramp -= 1
            if self.queue:
                self.due_us += self.queue[0][0]


def axis(acceleration: int = 8000) -> tuple[Motor, stepper.Stepper]:
    motor = Motor()
    return motor, stepper.Stepper(motor, acceleration)


def follow(motor: Motor, moved: stepper.Stepper, turns_ms: list[int]) -> None:
    """Give the axis turns of the loop, again and again, until its move is over."""
    turns = 0
    while moved.moving():
        motor.pass_us(1000 * turns_ms[turns % len(turns_ms)])
        moved.poll()
        turns += 1
        assert turns < 50000


def way(steps: int, speed: int) -> int:
    """Return steps that a speed makes in four seconds at most: slower moves only take longer."""
    return max(-4 * speed, min(4 * speed, steps))


def hold_speed_and_ramps(motor: Motor, speed: int, acceleration: int) -> None:
    """Hold every step between rest and rest to the speed and to v^2 = 2 a s from either end.

    A level has the speed of its middle, so half a level and a step are to spare; slow motors need no ramp.
    """
    for run in motor.runs:
        assert all(period * speed >= 10**6 for period in run)
        for i, period in enumerate(run):
            steps_s = 1e6 / period
            allowed = 2 * acceleration * (2 + min(i, len(run) - 1 - i))
            assert steps_s <= 500 or max(0.0, steps_s - speed / 32) ** 2 <= allowed


@given(SPEED, ACCELERATION, st.integers(1, 2**22))
def test_the_highest_speed_is_the_ordered_one_or_half_of_the_way_brakes(
    speed: int, acceleration: int, steps: int
) -> None:
    assert stepper.peak(speed, acceleration, steps) == min(speed, math.isqrt(acceleration * steps))


@given(STEPS, SPEED, ACCELERATION, PROMPT_MS)
def test_a_prompt_loop_makes_a_move_in_one_run(steps: int, speed: int, acceleration: int, turn_ms: int) -> None:
    steps = way(steps, speed)
    motor, moved = axis(acceleration)
    moved.move(steps, speed)
    follow(motor, moved, [turn_ms])
    assert (moved.position(), motor.at, len(motor.runs)) == (steps, steps, 1 if steps else 0)
    hold_speed_and_ramps(motor, speed, acceleration)


@given(STEPS, SPEED, ACCELERATION, LATE_MS)
def test_a_loop_that_comes_late_loses_no_step_and_ends_exactly(
    steps: int, speed: int, acceleration: int, turns_ms: list[int]
) -> None:
    steps = way(steps, speed)
    motor, moved = axis(acceleration)
    moved.move(steps, speed)
    follow(motor, moved, turns_ms)
    assert (moved.position(), motor.moving()) == (steps, False)
    assert sum(len(run) for run in motor.runs) == abs(steps)  # never back
    hold_speed_and_ramps(motor, speed, acceleration)


@given(STEPS.filter(bool), SPEED, ACCELERATION, st.integers(0, 300), PROMPT_MS)
def test_a_loop_that_hangs_for_ever_lets_the_motor_brake(
    steps: int, speed: int, acceleration: int, hangs: int, turn_ms: int
) -> None:
    steps = way(steps, speed)
    motor, moved = axis(acceleration)
    moved.move(steps, speed)
    for _ in range(hangs):
        motor.pass_us(1000 * turn_ms)
        moved.poll()
    at, at_us = motor.at, motor.now_us
    motor.pass_us(10**8)
    ramp = speed * speed // (2 * acceleration) + 1
    assert not motor.moving()
    assert abs(motor.at - at) <= max(QUEUED_US * speed // 10**6, LEAST) + ramp
    assert abs(motor.at) <= abs(steps)
    ramp_us = 0 if speed <= 500 else 10**6 * speed // acceleration + 16 * 10**6 // speed
    assert motor.due_us - at_us <= max(QUEUED_US, LEAST * 10**6 // speed) + 2 * ramp_us
    hold_speed_and_ramps(motor, speed, acceleration)
    follow(motor, moved, [100])  # it lives again
    assert (moved.position(), moved.moving()) == (steps, False)


@given(st.integers(400, 20000), st.integers(501, 8000))
def test_a_move_rises_cruises_and_falls(steps: int, speed: int) -> None:
    motor, moved = axis()
    moved.move(steps, speed)
    follow(motor, moved, [10])
    (periods,) = motor.runs
    fastest = periods.index(min(periods))
    assert all(a >= b for a, b in pairwise(periods[: fastest + 1]))
    assert all(a <= b for a, b in pairwise(periods[fastest:]))
    if steps > speed**2 / 8000 + 1:
        assert min(periods) == math.ceil(1e6 / speed)


@given(STEPS.filter(bool), st.integers(1, 12000), st.integers(0, 3000), st.integers(0, 100), ACCELERATION)
def test_a_stop_ends_within_the_move_by_a_ramp(
    steps: int, speed: int, when_ms: int, again_ms: int, acceleration: int
) -> None:
    motor, moved = axis(acceleration)
    moved.move(steps, speed)
    for _ in range(when_ms // 10):
        motor.pass_us(10000)
        moved.poll()
    at, runs = motor.at, len(motor.runs)
    moved.stop()
    motor.pass_us(1000 * again_ms)
    moved.stop()  # while it brakes: it goes on braking
    follow(motor, moved, [10])
    assert not motor.moving()
    assert abs(motor.at) <= abs(steps)
    assert abs(motor.at - at) <= speed**2 / (2 * acceleration) + 1 + max(6 * speed / 1000, 3)
    assert len(motor.runs) == runs  # it never paused
    assert sum(len(run) for run in motor.runs) == abs(motor.at)
    hold_speed_and_ramps(motor, speed, acceleration)


@given(STEPS.filter(bool), SPEED, st.integers(0, 500), ACCELERATION)
def test_a_halt_stops_where_it_is(steps: int, speed: int, turns: int, acceleration: int) -> None:
    motor, moved = axis(acceleration)
    moved.move(steps, speed)
    for _ in range(turns):
        motor.pass_us(3000)
        moved.poll()
    at = motor.at
    moved.halt()
    for _ in range(5):
        motor.pass_us(10**6)
        moved.poll()
    assert (moved.position(), moved.moving()) == (at, False)


@given(STEPS.filter(bool), st.integers(300, 12000), ACCELERATION, LATE_MS)
def test_it_is_steady_only_where_the_speed_was_constant(
    steps: int, speed: int, acceleration: int, turns_ms: list[int]
) -> None:
    motor, moved = axis(acceleration)
    moved.move(way(steps, speed), speed)
    while moved.moving():
        for ms in turns_ms:
            motor.pass_us(1000 * ms)
            begun = motor.at - motor.direction * len(motor.runs[-1])
            run = motor.runs[-1]
            cruise = min(run, default=0)
            for done in range(max(1, len(run) - 300), len(run)):  # what was latched since the last turn, before poll
                if moved.steady(begun + motor.direction * done):
                    assert {run[done - 1], run[done]} & {cruise, math.ceil(1e6 / speed)}
            moved.poll()


def test_steady_between_the_ramps() -> None:
    motor, moved = axis(8000)
    for begun, direction in ((0, 1), (5000, -1)):
        moved.move(direction * 5000, 800)  # a ramp takes 800^2 / (2 * 8000) = 40 steps
        places = [begun + direction * done for done in (0, 39, 40, 45)]
        assert [moved.steady(place) for place in places] == [False, False, False, False]  # not yet handed out
        for _ in range(300):
            motor.pass_us(10000)
            moved.poll()
        assert [moved.steady(place) for place in places] == [False, False, True, True]
        follow(motor, moved, [10])
        assert moved.steady(begun + direction * 4960)
        assert not moved.steady(begun + direction * 4961)


def test_a_slow_move_is_steady_from_its_first_step_to_its_last() -> None:
    motor, moved = axis(8000)
    moved.move(300, 400)
    follow(motor, moved, [10])
    assert all(moved.steady(place) for place in range(301))
    assert set(motor.runs[0]) == {2500}


@given(st.integers(-(2**27), 2**27 - 1), st.integers(-(2**26), 2**26))
def test_a_way_is_the_same_wherever_the_count_goes_round(begun: int, steps: int) -> None:
    assert stepper.near(stepper.near(begun + steps) - begun) == steps


def test_positions_count_from_the_origin() -> None:
    motor, moved = axis()
    moved.move(-300, 1000)
    follow(motor, moved, [10])
    moved.set_origin()
    assert moved.position() == 0
    moved.move(700 - moved.position(), 1000)
    follow(motor, moved, [10])
    assert (motor.at, moved.position(), moved.located(0)) == (400, 700, 300)


@given(STEPS, SPEED, ACCELERATION, LATE_MS, st.one_of(st.none(), st.integers(0, 100)))
def test_the_rehearsals_motor_is_where_the_model_is_at_every_turn(
    steps: int, speed: int, acceleration: int, turns_ms: list[int], stops: int | None
) -> None:
    motor, moved = axis(acceleration)
    played = board.Axis(0, lambda: motor.now_us)
    other = stepper.Stepper(played, acceleration)
    for each in (moved, other):
        each.move(way(steps, speed), speed)
    for turn in range(150):
        motor.pass_us(1000 * turns_ms[turn % len(turns_ms)])
        played.advance(motor.now_us)
        assert (played.at, played.moving(), played.due()) == (motor.at, motor.moving(), motor.due())
        for each in (moved, other):
            each.poll()
            if turn == stops:
                each.stop()
        if played.moving():
            assert played.when(1) == motor.due_us
            assert played.direction() == motor.direction
