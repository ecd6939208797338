"""The cycle plan against what its steps and counts mean in millimetres, newtons, turns and seconds."""

import numpy as np
import pytest
from midspan.measurement.cycle_plan import plan_for
from midspan.wire.records import Identify
from synthetic import LOAD_N, paper_calibration

CAL = paper_calibration(
    force={"newton_per_count": 9e-6, "newton_per_count2": 1e-14},
    travel={"mm_per_step": 0.002, "clearance_mm": 31.0},
    rotation={"steps_per_turn": 1600.0, "u_relative": 0.02},
)


def gauge(**changes):
    values = dict.fromkeys(Identify.__slots__, 0)
    return Identify(**values | {"interval_us": 12500, "press_limit_steps": 60_000} | changes)


PLAN = plan_for(CAL, gauge())


def test_depths_are_a_tenth_of_the_standard_load_and_all_of_it():
    for counts, share in ((PLAN.light_count, 0.1), (PLAN.full_count, 1.0)):
        assert 9e-6 * counts + 1e-14 * counts**2 == pytest.approx(share * LOAD_N, abs=1e-5)


def test_travels_in_millimetres():
    steps = np.array([PLAN.clearance_steps, PLAN.travel_steps, PLAN.takeup_steps])
    assert (steps * 0.002).tolist() == pytest.approx([31.0, 75.0, 0.25])


def test_no_travel_goes_beyond_the_end_of_the_screw():
    assert plan_for(CAL, gauge(press_limit_steps=20_000)).travel_steps == 20_000


def test_a_shaft_that_slips_as_far_as_allowed_still_turns_twice():
    # Two standard uncertainties of slip more than two turns.
    assert PLAN.turn_steps == PLAN.turn_again_steps == 3328
    assert PLAN.turn_steps / (1600 * (1 + 2 * 0.02)) == pytest.approx(2.0)
    uneven = paper_calibration(rotation={"steps_per_turn": 1600.3, "u_relative": 0.02})
    assert plan_for(uneven, gauge()).turn_steps / (1600.3 * 1.04) >= 2.0


def test_a_quarter_of_a_turn_seats_the_shaft():
    assert PLAN.seat_steps == 400


def test_speeds_in_millimetres_and_readings_a_second():
    assert (PLAN.press_speed * 0.002, PLAN.approach_speed * 0.002) == pytest.approx((16.0, 6.0))
    # 160 readings a turn at 80 readings a second: half a turn a second.
    assert PLAN.rotate_speed == 800
    assert plan_for(CAL, gauge(interval_us=25_000)).rotate_speed == 400
    uneven = paper_calibration(rotation={"steps_per_turn": 1603.0})
    assert plan_for(uneven, gauge()).rotate_speed == 802  # 801.5 a second


def test_the_slowest_roller_still_turns():
    slow = paper_calibration(rotation={"steps_per_turn": 21.0})
    assert plan_for(slow, gauge(interval_us=2_000_000)).rotate_speed == 1


def test_readings_of_a_zero_and_those_that_only_settle():
    assert (PLAN.zero_readings, PLAN.settle_readings) == (40, 5)
