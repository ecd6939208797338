"""The simulated board by itself: what a hung loop, a motor halted too fast, a broken wire and a crystal do to it.

The words and positions are read as the device code reads them.
"""

from __future__ import annotations

import math
import subprocess
from itertools import pairwise

import pytest
from device_rig import NEAR
from rehearsal_rig import DEVICE, MICROPYTHON, FakeLink, Step, board, board_of, move, needs_micropython, samples, world

SHAFT = {"number": 1, "spine_thou": 500.0}
PLAIN = {"places": 0, "guards": 0, "hopper": []}


def scenario(happenings: dict | None = None, **truths: object) -> dict:
    """Return a plain gauge with a shaft."""
    return {"gauge": NEAR | truths, "shafts": [SHAFT], "feeder": PLAIN | (happenings or {})}


# A loop that hangs


def test_a_hung_loop_leaves_the_motors_running_and_loses_samples() -> None:
    made = board_of(scenario({"hang": [[0.2, 1.0]]}))
    move(made.press, 4000, 500)  # takes 2 s
    before = samples(made, 0.15)
    while made.now_us < 1_000_000:
        begun_us = made.now_us
        made.idle()
    assert made.now_us - begun_us >= 1_000_000  # in a single turn of the loop
    assert made.press.position() == made.now_us // 500
    assert made.press.moving()
    late = []
    row = [0] * 5
    while made.cell_take(row):
        late.append(row[0])
    assert len(late) == board.WAITING_SAMPLES
    assert late[-1] < before[-1][0] + (board.WAITING_SAMPLES + 2) * made.INTERVAL_US


def test_a_watchdog_resets_the_board_and_stops_its_motors() -> None:
    made = board_of(scenario({"hang": [[0.2, 9.0]]}, watchdog_ms=700))
    move(made.press, 8000, 500)
    with pytest.raises(world.Reset):
        samples(made, 2.0)
    assert made.now_us == pytest.approx(900_000, abs=made.INTERVAL_US)
    assert not made.press.moving()
    assert made.press.steps() == made.now_us // 500


def test_after_a_reset_the_head_is_where_it_was() -> None:
    given = scenario({"reset": [1.5], "lid": [[1.8, 9.0]], "guards": 1}, noise_count=0.0)
    made = board_of(given)
    move(made.press, 5000, 200)
    with pytest.raises(world.Reset):
        samples(made, 2.0)
    made.press.halt()
    again = board.Board(given, FakeLink(), 8, 0, made)
    assert again.ticks_us() == 0
    assert again.press.steps() == 5000
    samples(again, 0.2)
    assert again.mechanics.head() == made.mechanics.head()
    assert again.mechanics.head()[1] > 1
    assert again.inputs() == 0
    samples(again, 0.5)
    assert again.inputs() == 64  # the lid: the world's time goes on


def test_a_loop_can_hang_at_a_force() -> None:
    made = board_of(scenario({}, hang_at_n=4.0, hang_s=0.5, noise_count=0.0))
    move(made.press, 9000, 200)
    samples(made, 1.0)
    assert made.mechanics.head()[1] < 4.0
    while made.mechanics.head()[1] < 4.0:
        begun_us = made.now_us
        made.idle()
    assert made.now_us - begun_us > 500_000
    begun_us = made.now_us
    made.idle()
    assert made.now_us - begun_us < 2 * made.INTERVAL_US  # it hangs once


# A motor that is halted too fast


@pytest.mark.parametrize(
    ("period_us", "pull_in_steps_s", "overrun"),
    [
        (100, 16000, 0),
        (100, 10000, 0),
        (100, 8000, 64),  # (10000^2 - 8000^2) / (2 * 800000) = 22.5 steps
        (50, 8000, 256),  # (20000^2 - 8000^2) / (2 * 800000) = 210 steps, v^2 / 2a
    ],
)
@pytest.mark.parametrize("direction", [1, -1])
def test_a_rotor_runs_on_when_it_is_halted_above_its_pull_in_speed(
    period_us: int, pull_in_steps_s: int, overrun: int, direction: int
) -> None:
    made = board_of(scenario(pull_in_steps_s=pull_in_steps_s))
    move(made.press, direction * 9000, period_us)
    samples(made, 0.1)
    made.press.halt()
    assert made.press.steps() - made.press.position() == direction * overrun


def test_a_rotor_runs_on_when_its_steps_end_without_a_ramp() -> None:
    made = board_of(scenario(pull_in_steps_s=8000))
    move(made.press, 900, 100)
    samples(made, 0.2)
    assert (made.press.position(), made.press.steps()) == (900, 964)
    move(made.press, 900, 125)
    samples(made, 0.2)
    assert (made.press.position(), made.press.steps()) == (1800, 1864)


def test_a_motor_with_the_default_reserve_may_be_halted_at_full_speed() -> None:
    made = board_of(scenario())
    move(made.press, 9000, 1_000_000 // board.Board.PRESS_SPEED_MAX)
    samples(made, 0.1)
    made.press.halt()
    assert made.press.steps() == made.press.position()


def test_the_home_switch_closes_where_the_rotor_is() -> None:
    made = board_of(scenario(pull_in_steps_s=1000))
    move(made.press, 4000, 250)
    samples(made, 0.1)
    made.press.halt()
    low = made.press.steps()
    assert low > made.press.position()
    move(made.press, -low + 1, 1000)
    samples(made, 1.0)
    assert not made.home_closed()
    move(made.press, -1, 1000)
    samples(made, 0.1)
    assert made.home_closed()


# Clock, limits, parts


def test_sampling_on_a_crystal_is_commensurate_with_the_steps() -> None:
    made = board_of(scenario(rate_error=0.0, jitter_us=0.0))
    move(made.rotate, 4000, 2500)
    taken = samples(made, 2.0)
    assert {b[0] - a[0] for a, b in pairwise(taken)} == {12500}
    assert {b[3] - a[3] for a, b in pairwise(taken)} == {5}


def test_the_board_queues_samples_as_a_converter_does() -> None:
    made = board_of(scenario())
    for _ in range(10):
        made.idle()
    row, ticks = [0] * 5, []
    while made.cell_take(row):
        ticks.append(row[0])
    assert len(ticks) == board.WAITING_SAMPLES
    assert ticks == sorted(ticks)


def test_the_highest_speed_down_meets_the_bound_of_force() -> None:
    face = board.Board
    v, a = face.DOWN_SPEED_MAX / 400, face.PRESS_ACCELERATION / 400  # mm/s, mm/s^2
    t = face.INTERVAL_US / 1e6 * (2 + 4 / 2) + 0.010  # two readings and half of the filter's four, and the loop
    reached = face.COUNT_LIMIT + 11e6 * (v * t + v * v / (2 * a))
    assert 0.999 < reached / 15e6 <= 1.0
    assert face.DOWN_SPEED_MAX < face.PRESS_SPEED_MAX


def test_the_index_mark_passes_once_a_turn_either_way() -> None:
    made = board_of(scenario(index_mark=True, slip=0.0))
    marks = []

    def turn(steps: int) -> None:
        move(made.rotate, steps, 1000)
        for _ in range(60):
            samples(made, 0.0625)
            mark = [0]
            while made.mark_take(mark):
                marks.append(mark[0])

    turn(2000)
    turn(-2500)
    assert marks == [800, 1600, 1600, 800, 0]


def test_a_head_that_is_down_keeps_the_shaft_and_its_angle() -> None:
    made = board_of(scenario(noise_count=0.0, slip=0.0))
    move(made.press, 5000, 200)
    samples(made, 1.1)
    move(made.rotate, 100, 1000)
    samples(made, 0.2)
    angle, force = made.mechanics.angle, made.mechanics.head()[1]
    assert angle == pytest.approx(math.radians(45))
    made.program_begins(2, [Step(2)])
    samples(made, 0.1)
    assert (made.mechanics.angle, made.mechanics.head()[1]) == (angle, force)
    move(made.press, -5000, 200)
    samples(made, 1.1)
    made.program_begins(2, [Step(2)])
    samples(made, 0.1)
    assert (made.mechanics.angle, made.mechanics.head()[1]) == (0.0, 0.0)


def test_a_plain_gauge_has_no_feeder_and_one_with_places_has() -> None:
    assert board_of({"shafts": [SHAFT]}).feeder is None
    made = board_of({"shafts": [SHAFT], "feeder": {"places": 3}})
    assert made.feeder.places == 3
    made.feeder.release_write(1, 3, False, 0)
    assert made.feeder.release_read() == (1, 3, False, 0)


def test_free_memory_is_what_the_scenario_says() -> None:
    assert board_of(scenario()).free_bytes is None
    assert board_of(scenario(free_bytes=61000)).free_bytes == 61000


@pytest.mark.process
@needs_micropython
def test_micropython_keeps_its_own_module() -> None:
    code = "import sys; sys.path.insert(0, sys.argv[1]); import micropython as m; print(hasattr(m, 'mem_info'))"
    script = [MICROPYTHON, "-c", code, str(DEVICE / "rehearsal")]
    assert subprocess.run(script, capture_output=True, text=True, timeout=60, check=True).stdout.split() == ["True"]
