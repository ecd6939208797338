"""Ramped moves in whole numbers: exact ends, bounded speed and acceleration, stops that stay within the move."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest
from device_rig import board, stepper
from hypothesis import given
from hypothesis import strategies as st

STEPS = st.integers(-20000, 20000)
SPEED = st.integers(1, 32767)
ACCELERATION = st.sampled_from([4000, 8000, 200000])


class OneAxis:
    """Board with a motor and a clock."""

    def __init__(self) -> None:
        self.now_us = 0
        self.axis = board.Axis(0, lambda: self.now_us)
        self.fed: list[tuple[int, int]] = []

    def feed(self, direction: int, segments: Any, pairs: int) -> None:
        assert not self.axis.moving(), "a move began while another went on"
        self.fed = [(segments[2 * i], segments[2 * i + 1]) for i in range(pairs)]
        self.axis.feed(direction, segments, pairs)

    def halt(self) -> None:
        self.axis.halt()

    def moving(self) -> bool:
        return self.axis.moving()

    def position(self) -> int:
        return self.axis.at

    def pass_us(self, us: int) -> None:
        self.now_us += us
        self.axis.advance(self.now_us)


def axis(acceleration: int = 8000) -> tuple[OneAxis, stepper.Stepper]:
    fake_board = OneAxis()
    return fake_board, stepper.Stepper(fake_board, acceleration, 0, 20000)


@given(st.integers(0, 2**30 - 1))
def test_root_is_the_whole_square_root(number: int) -> None:
    assert stepper.root(number) == math.isqrt(number)


@given(STEPS, SPEED, ACCELERATION)
def test_a_move_ends_exactly(steps: int, speed: int, acceleration: int) -> None:
    fake_board, motor = axis(acceleration)
    motor.move(steps, speed)
    fake_board.pass_us(10**12)
    assert (motor.position(), motor.moving()) == (steps, False)


@given(STEPS, SPEED, ACCELERATION)
def test_speed_and_ramp_keep_their_bounds(steps: int, speed: int, acceleration: int) -> None:
    fake_board, motor = axis(acceleration)
    motor.move(steps, speed)
    assert len(fake_board.fed) <= stepper.PAIRS
    for period, count in fake_board.fed:
        assert count > 0
        assert period >= 1000000 // speed
    done = 0
    for period, count in fake_board.fed:  # v^2 = 2 a s from either end, with one step to spare: steps are whole
        done += count
        allowed = 2 * acceleration * (1 + min(done, abs(steps) - (done - count)))
        assert (1e6 / (period + 1)) ** 2 <= allowed


@given(st.integers(400, 20000), st.integers(50, 8000))
def test_a_move_rises_cruises_and_falls(steps: int, speed: int) -> None:
    fake_board, motor = axis()
    motor.move(steps, speed)
    periods = [period for period, _ in fake_board.fed]
    fastest = periods.index(min(periods))
    assert all(a >= b for a, b in pairwise(periods[: fastest + 1]))
    assert all(a <= b for a, b in pairwise(periods[fastest:]))
    if steps > speed**2 / 8000 + 1:
        assert min(periods) == 1000000 // speed


@given(st.integers(-20000, 20000).filter(bool), st.integers(1, 12000), st.floats(0, 1), ACCELERATION)
def test_a_stop_ends_within_the_move(steps: int, speed: int, when: float, acceleration: int) -> None:
    fake_board, motor = axis(acceleration)
    motor.move(steps, speed)
    fake_board.pass_us(int(when * sum(period * count for period, count in fake_board.fed)))
    at = motor.position()
    motor.stop()
    fake_board.pass_us(10**12)
    assert not motor.moving()
    ramp = abs(motor.position() - at)
    assert abs(motor.position()) <= abs(steps)
    assert ramp <= speed**2 / (2 * acceleration) + 1


def test_a_halt_stops_where_it_is() -> None:
    fake_board, motor = axis()
    motor.move(5000, 1000)
    fake_board.pass_us(10**6)
    at = motor.position()
    assert 800 < at < 1000
    motor.halt()
    fake_board.pass_us(10**6)
    assert (motor.position(), motor.moving()) == (at, False)


def test_steady_only_after_the_first_ramp() -> None:
    fake_board, motor = axis(8000)
    motor.move(5000, 400)  # the ramp takes 400^2 / (2 * 8000) = 10 steps
    assert not motor.steady(motor.position())
    assert not motor.steady(9)
    assert motor.steady(10)
    fake_board.pass_us(10**12)
    motor.move(-5000, 400)
    assert not motor.steady(4991)
    assert motor.steady(4990)


@pytest.mark.parametrize("target", [-1, 20001])
def test_a_target_outside_the_limits_is_refused(target: int) -> None:
    fake_board, motor = axis()
    with pytest.raises(stepper.TravelError):
        motor.move_to(target, 1000)
    assert not fake_board.axis.moving()


@given(st.integers(-(2**27), 2**27 - 1), st.integers(-(2**26), 2**26))
def test_a_way_is_the_same_wherever_the_count_goes_round(begun: int, steps: int) -> None:
    assert stepper.near(stepper.near(begun + steps) - begun) == steps


def test_positions_count_from_the_origin() -> None:
    fake_board, motor = axis()
    motor.move(-300, 1000)
    assert motor.rising()
    fake_board.pass_us(10**9)
    motor.set_origin()
    assert motor.position() == 0
    motor.move_to(700, 1000)
    assert not motor.rising()
    fake_board.pass_us(10**9)
    assert (fake_board.axis.at, motor.position(), motor.located(0)) == (400, 700, 300)
