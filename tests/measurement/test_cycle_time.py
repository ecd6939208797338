"""The seconds of a cycle's steps against motions integrated, Hooke's law, and the clock of the simulated device."""

import math

import pytest
from gauges import identify
from hypothesis import given
from hypothesis import strategies as st
from in_memory import measured
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.cycle_settings import DEEP, STANDARD, CycleSettings
from midspan.measurement.cycle_time import LATE, AssumedShaft, cycle_seconds
from midspan.wire.records import Phase, Step
from synthetic import paper_calibration

CAL = paper_calibration(travel={"clearance_mm": 6.5}, frame={"give_mm_per_n": 0.0})
GAUGE = identify()
INTERVAL_S = 0.0125
TICK_S = 1e-5


def ridden(distance, speed, acceleration):
    """Return the time of a motion, braked so that it ends at rest: integrated, not by a formula."""
    at = v = time = 0.0
    while at < distance - 1e-6 and time < 100:
        braking = v * v / (2 * acceleration) >= distance - at
        v = max(v - acceleration * TICK_S, 1e-3 * speed) if braking else min(v + acceleration * TICK_S, speed)
        at += v * TICK_S
        time += TICK_S
    return time


def moved(press_steps, speed, rotate_steps=0, rotate_speed=1000):
    return Step(Phase.BENCH, press_steps, None, None, None, rotate_steps, 0, 0, False, speed, rotate_speed)


@given(st.integers(50, 20_000), st.sampled_from([1000, 4000, 8000, 10_000]))
def test_a_motion_of_the_press_takes_its_ramps_and_its_way(distance, speed):
    (seconds,) = cycle_seconds([moved(distance, speed)], GAUGE, CAL)
    assert seconds == pytest.approx(ridden(distance, speed, GAUGE.press_acceleration), rel=5e-3, abs=2e-3)


@given(st.integers(20, 5000), st.sampled_from([500, 1000, 2000]), st.sampled_from([-1, 1]))
def test_a_turn_takes_as_long_either_way(steps, speed, way):
    (seconds,) = cycle_seconds([moved(None, 1, way * steps, speed)], GAUGE, CAL)
    assert seconds == pytest.approx(ridden(steps, speed, GAUGE.rotate_acceleration), rel=5e-3, abs=5e-3)


def test_readings_at_rest_take_their_conversions():
    steps = cycle_steps(CAL, GAUGE, STANDARD)
    (zero,) = [s for s, step in zip(cycle_seconds(steps, GAUGE, CAL), steps, strict=True)
               if step.phase == Phase.ZERO_AFTER]  # fmt: skip
    assert zero == pytest.approx((15 + 5 + LATE) * INTERVAL_S)


@pytest.mark.parametrize(("spine", "gap_mm"), [(300.0, 1.5), (500.0, 0.5), (1000.0, 4.0)])
def test_the_head_goes_as_deep_as_the_shaft_is_soft(spine, gap_mm):
    """Light and full depth by Hooke's law, which holds to 2 % at these deflections (Roark, table 8.1: large ones)."""
    steps = cycle_steps(CAL, GAUGE, STANDARD)
    seconds = dict(zip([Phase(step.phase).name + str(step.press_speed) for step in steps],
                       cycle_seconds(steps, GAUGE, CAL, AssumedShaft(spine, gap_mm)), strict=True))  # fmt: skip
    deep_mm, late_s = spine * 0.0254, 3.5 * INTERVAL_S  # two readings of a filter that is two conversions late
    fast, slow, a = 16.0, 10.0, GAUGE.press_acceleration * 0.0025
    # Thresholds that bring a shaft of 500 thou, 12.7 mm, to rest at a tenth of the load and at all of it.
    light, full = (share - (v * late_s + v**2 / (2 * a)) / 12.7 for share, v in ((0.1, slow), (1.0, fast)))
    found_mm = gap_mm + light * deep_mm
    assert seconds["APPROACH4000"] == pytest.approx(found_mm / slow + 1.5 * slow / a + late_s, rel=0.02)
    overshot_mm = slow * late_s + slow**2 / (2 * a)
    further_mm = (full - light) * deep_mm - overshot_mm
    assert seconds["DEEPEN6400"] == pytest.approx(further_mm / fast + 1.5 * fast / a + late_s, rel=0.03)
    up_mm = 6.5 + gap_mm + light * deep_mm + overshot_mm
    assert seconds["LIFT12000"] == pytest.approx(up_mm / 30 + 30 / a, rel=0.02)


def test_a_shaft_that_lies_high_ends_the_fast_way_down():
    steps = cycle_steps(CAL, GAUGE, STANDARD)
    near, far = (cycle_seconds(steps, GAUGE, CAL, AssumedShaft(500.0, gap_mm)) for gap_mm in (-3.0, 1.5))
    fast, slow = [i for i, step in enumerate(steps) if step.phase == Phase.APPROACH]
    assert near[fast] < far[fast]
    assert near[slow] == pytest.approx(0.0)


@pytest.mark.parametrize("span_mm", [150.0, 1200.0, 1900.0])
def test_every_span_has_a_plan_though_a_long_one_bends_a_soft_shaft_to_the_end_of_the_travel(span_mm):
    other = paper_calibration(travel={"clearance_mm": 6.5}, span={"span_mm": span_mm})
    steps = cycle_steps(other, GAUGE, STANDARD)
    assert all(0 <= seconds < 10 for seconds in cycle_seconds(steps, GAUGE, other, AssumedShaft(1500.0)))


def test_what_is_asked_for_more_takes_longer():
    def whole(settings):
        return math.fsum(cycle_seconds(cycle_steps(CAL, GAUGE, settings), GAUGE, CAL))

    assert whole(STANDARD) < whole(CycleSettings(zero_in_middle=True)) < whole(CycleSettings(back_and_forth=True))
    assert whole(CycleSettings(approach_mm_s=2.0)) > whole(STANDARD)
    assert whole(DEEP) > 1.9 * whole(STANDARD)


@pytest.mark.parametrize(
    ("settings", "spine"),
    [
        (STANDARD, 500.0),
        (STANDARD, 300.0),
        (STANDARD, 1000.0),
        (DEEP, 500.0),
        (CycleSettings(zero_in_middle=True, back_and_forth=True, approach_mm_s=4.0), 400.0),
        (
            CycleSettings(
                readings_per_turn=100, light_turns=1.5, full_turns=1.5, zero_readings=60, press_mm_s=5.0, lift_mm_s=8.0
            ),
            600.0,
        ),
    ],
)
def test_a_cycle_of_the_simulated_device_takes_so_long_by_its_own_clock(settings, spine):
    """The device reports its duration; a shaft of the simulation lies 18 mm below home, with no clearance set."""
    _, gauge, calibration, run, _ = measured({"spine_thou": spine, "spread_thou": 0.0}, settings=settings)
    limits = gauge.identify()
    shaft = AssumedShaft(spine, 18.0 - calibration.travel.clearance_mm)
    planned_s = math.fsum(cycle_seconds(cycle_steps(calibration, limits, settings), limits, calibration, shaft))
    assert run.complete
    assert planned_s == pytest.approx(run.duration_ms / 1000, rel=0.03)
