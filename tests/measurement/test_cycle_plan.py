"""The steps of a cycle against what their numbers mean in millimetres, newtons, turns and seconds, and their limits."""

from math import ceil

import numpy as np
import pytest
from gauges import identify
from hypothesis import given
from hypothesis import strategies as st
from in_memory import measured
from midspan.base.errors import ConfigurationError
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_plan import cycle_steps, rotate_speed, steps_per_conversion
from midspan.measurement.cycle_settings import DEEP, STANDARD, CycleSettings, chosen_cycle
from midspan.wire.records import FaultCode, Phase
from pydantic import ValidationError
from synthetic import LOAD_N, filter_section, paper_calibration

CAL = paper_calibration(
    force={"newton_per_count": 9e-6, "newton_per_count2": 1e-14},
    travel={"mm_per_step": 0.002, "clearance_mm": 31.0},
    rotation={"steps_per_turn": 1600.0, "u_relative": 0.02},
)
GAUGE = identify(press_limit_steps=60_000)
BOTH = CycleSettings(zero_in_middle=True, back_and_forth=True)


def steps_of(settings=STANDARD, calibration=CAL, **limits):
    return cycle_steps(calibration, identify(**{"press_limit_steps": 60_000} | limits), settings)


def of(phase, steps):
    return [step for step in steps if step.phase == phase]


def test_the_standard_cycle_visits_zero_light_full_light_zero():
    assert [Phase(step.phase).name for step in steps_of()] == [
        "SEATING", "ZERO_BEFORE", "APPROACH", "APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN", "RETURN", "LIGHT_AGAIN",
        "LIFT", "ZERO_AFTER",
    ]  # fmt: skip


def test_a_zero_in_the_middle_and_turning_back_come_where_the_head_is_free_and_after_each_turn():
    assert [Phase(step.phase).name for step in steps_of(BOTH)] == [
        "SEATING", "ZERO_BEFORE", "APPROACH", "APPROACH", "LIGHT", "LIGHT_BACK", "DEEPEN", "FULL", "FULL_BACK",
        "ZERO_MIDDLE", "RETURN", "RETURN", "LIGHT_AGAIN", "LIGHT_AGAIN_BACK", "LIFT", "ZERO_AFTER",
    ]  # fmt: skip
    turns = [step.rotate_steps for step in steps_of(BOTH) if step.phase != Phase.SEATING and step.rotate_steps]
    light, full = turns[0], turns[2]
    assert turns == [light, -light, full, -full, light, -light]


def test_the_head_is_stopped_so_early_that_a_middle_shaft_ends_at_a_share_of_the_load_and_at_all_of_it():
    """A spine of 500 thou gives way by 12.7 mm under the standard load; the count is 2 + 1.5 conversions late."""
    steps = steps_of(CycleSettings(light_share=0.2))
    for phase, share, speed in ((Phase.APPROACH, 0.2, 5000), (Phase.DEEPEN, 1.0, 8000)):
        over_mm = 0.002 * (speed * 3.5 * 0.0125 + speed**2 / (2 * GAUGE.press_acceleration))
        for step in of(phase, steps):
            counts = step.until_count
            stop_n = 9e-6 * counts + 1e-14 * counts**2
            assert stop_n + LOAD_N / 12.7 * over_mm == pytest.approx(share * LOAD_N, abs=1e-5)
    assert of(Phase.APPROACH, steps)[1].press_speed == 5000
    assert of(Phase.DEEPEN, steps)[0].press_speed == 8000


@pytest.mark.parametrize("spine", [300.0, 500.0, 1000.0])
def test_shafts_come_to_rest_near_the_tenth_and_the_whole_of_the_load(spine):
    *_, run, _ = measured({"spine_thou": spine})
    zero = run.counts[run.phase_slice(Phase.ZERO_BEFORE)].mean()
    held = {phase: (np.median(run.counts[run.phase_slice(phase)]) - zero) / 941600 for phase in
            (Phase.LIGHT, Phase.FULL)}  # fmt: skip
    assert held[Phase.LIGHT] == pytest.approx(0.1, abs=0.05)
    assert held[Phase.FULL] == pytest.approx(1.0, abs=0.06)


def test_a_load_that_is_not_reached_is_a_fault_of_the_step():
    steps = steps_of()
    assert [step.unreached for step in of(Phase.APPROACH, steps)] == [None, FaultCode.NO_CONTACT]
    assert of(Phase.DEEPEN, steps)[0].unreached is FaultCode.TRAVEL_LIMIT


def test_travels_in_millimetres():
    near, far = of(Phase.APPROACH, steps_of())
    assert np.array([near.press_steps, far.press_steps]) * 0.002 == pytest.approx([31.0, 75.0])
    assert of(Phase.APPROACH, steps_of(press_limit_steps=20_000))[1].press_steps == 20_000  # the end of the screw


def test_without_a_clearance_the_head_goes_slowly_from_home():
    at_once = paper_calibration(travel={"clearance_mm": 0.0})
    assert len(of(Phase.APPROACH, steps_of(calibration=at_once))) == 1


@pytest.mark.parametrize("settings", [STANDARD, DEEP, BOTH])
def test_the_light_depth_is_found_again_from_above(settings):
    steps = steps_of(settings)
    *_, up, down = of(Phase.RETURN, steps)
    assert (up.press_steps * 0.002, down.press_steps) == (pytest.approx(-0.25), 0)
    assert steps[up.from_step] is steps[down.from_step] is of(Phase.APPROACH, steps)[1]


@pytest.mark.parametrize("settings", [STANDARD, DEEP, BOTH])
def test_zeros_are_taken_at_home_and_the_press_goes_nowhere_before_the_first(settings):
    at_home, zeroed = True, False
    for step in steps_of(settings):
        if step.press_steps is not None:
            at_home = step.press_steps == 0 and step.from_step is None
            assert at_home or zeroed
        if step.zero or step.phase == Phase.ZERO_AFTER:
            assert at_home
            assert step.readings == settings.zero_readings
            zeroed = True
    assert at_home


@given(st.integers(24, 400), st.floats(1, 6), st.integers(4, 20), st.floats(200, 5000), st.floats(1e-4, 0.03))
def test_a_shaft_that_slips_as_far_as_allowed_still_makes_its_turns_at_constant_speed(
    per_turn, turns, settle, steps_per_turn, u_relative
):
    calibration = paper_calibration(rotation={"steps_per_turn": steps_per_turn, "u_relative": u_relative})
    settings = CycleSettings(readings_per_turn=per_turn, light_turns=turns, settle_readings=settle)
    gauge = identify(readings_most=200_000, rotate_speed_most=32_767)
    (turn,) = of(Phase.LIGHT, cycle_steps(calibration, gauge, settings))
    # Both ramps, v^2 / 2a each, and the conversions that settle after the first one are not measured.
    v_steps_s = 1e6 / ceil(1e6 / turn.rotate_speed)
    unused = turn.rotate_speed**2 / gauge.rotate_acceleration + settle * v_steps_s * gauge.interval_us * 1e-6
    measured = (turn.rotate_steps - unused) / (steps_per_turn * (1 + 2 * u_relative))
    a_reading = v_steps_s * gauge.interval_us * 1e-6 / steps_per_turn
    assert turns - 1e-3 <= measured <= turns + 1.1 * a_reading + 2 / steps_per_turn + 0.01


def test_a_quarter_of_a_turn_seats_the_shaft():
    assert of(Phase.SEATING, steps_of())[0].rotate_steps == 400


def test_what_the_settings_leave_out_gives_way_to_the_gauge():
    def speeds(**limits):
        steps = steps_of(**limits)
        pressed = (of(Phase.DEEPEN, steps)[0], of(Phase.APPROACH, steps)[1], of(Phase.LIFT, steps)[0])
        return [step.press_speed * 0.002 for step in pressed]

    assert speeds(down_speed_most=10_000, press_speed_most=20_000) == pytest.approx([16.0, 10.0, 30.0])
    assert speeds(down_speed_most=7_950, press_speed_most=10_000) == pytest.approx([15.9, 10.0, 20.0])
    assert speeds(down_speed_most=3_000, press_speed_most=3_000) == pytest.approx([6.0, 6.0, 6.0])


@pytest.mark.parametrize(
    ("settings", "limits", "values"),
    [
        ({"press_mm_s": 16.0}, {"down_speed_most": 7_950}, ["cycle.press_mm_s", "16", "7950", "15.90"]),
        ({"approach_mm_s": 20.0}, {"down_speed_most": 7_950}, ["cycle.approach_mm_s", "7950"]),
        ({"approach_mm_s": 1e-4}, {}, ["cycle.approach_mm_s", "0.002"]),
        ({"lift_mm_s": 41.0}, {"press_speed_most": 20_000}, ["cycle.lift_mm_s", "20000", "40.00"]),
        ({"readings_per_turn": 30}, {"rotate_speed_most": 4000}, ["cycle.readings_per_turn", "30", "4000", "32"]),
        ({"readings_per_turn": 1000}, {"readings_most": 2400}, ["cycle.readings_per_turn", "1000", "2400"]),
        ({"full_turns": 20.0, "readings_per_turn": 99}, {"readings_most": 2400}, ["cycle.full_turns", "20", "2400"]),
        ({}, {"count_limit": 900_000}, ["force.newton_per_count", "900000"]),
        ({}, {"press_limit_steps": 15_500}, ["travel.clearance_mm", "31"]),
    ],
)
def test_what_the_gauge_does_not_allow_is_refused_by_key_and_limit(settings, limits, values):
    with pytest.raises(ConfigurationError) as caught:
        steps_of(CycleSettings(**settings), **limits)
    assert all(value in str(caught.value) for value in values)


def test_a_filter_that_remembers_longer_than_readings_settle_is_refused():
    long = paper_calibration(filter=filter_section((8.0,)))  # eight conversions of 12.5 ms
    with pytest.raises(ConfigurationError) as caught:
        cycle_steps(long, identify(), STANDARD)
    assert all(value in str(caught.value) for value in ("cycle.settle_readings", "5", "8", "0.05"))
    assert cycle_steps(long, identify(), CycleSettings(settle_readings=8))


def test_a_shaft_as_large_as_a_barrel_would_turn_beyond_what_a_step_can():
    barrel = paper_calibration(rotation={"steps_per_turn": 400_000.0})
    with pytest.raises(ConfigurationError) as caught:
        cycle_steps(barrel, identify(rotate_speed_most=10**6, readings_most=200_000), STANDARD)
    assert caught.value.code == "turns"


@pytest.mark.parametrize("settings", [STANDARD, DEEP])
def test_both_presets_fit_a_plain_board(settings):
    # device/board.json: 70 mm, 30 mm/s up, 15.9 down, 4000 microsteps a second, 2400 readings.
    board = identify(press_limit_steps=28_000, press_speed_most=12_000, down_speed_most=6_360, readings_most=2400)
    assert len(cycle_steps(paper_calibration(travel={"clearance_mm": 6.5}), board, settings)) <= 32


# Speeds that do not beat with the sampling


def unevenness(positions):
    """Largest gap between the places of readings within a step, in units of the mean gap; 1 if they share it evenly."""
    places = np.sort(positions % 1)
    return float(np.diff(np.append(places, places[0] + 1)).max() * len(places))


@pytest.mark.parametrize("per_turn", [24, 32, 44, 54, 64, 80, 100, 128, 160, 200])
@pytest.mark.parametrize("steps_per_turn", [640.0, 800.0, 1600.0, 3200.0])
def test_readings_fill_a_microstep_evenly(per_turn, steps_per_turn):
    """Golden steps leave gaps of at most 1.9 mean gaps (three-distance theorem); a beat leaves a whole step open."""
    gauge = identify(rotate_speed_most=32_767)
    speed = rotate_speed(steps_per_turn, gauge, CycleSettings(readings_per_turn=per_turn))
    readings = np.arange(per_turn)
    # What the motor does: whole microseconds a step, positions at the ends of conversions by a crystal.
    assert unevenness(readings * gauge.interval_us / ceil(1e6 / speed)) < 3.2
    assert unevenness(readings * 10.0) == per_turn  # 10 steps a conversion, as a plain quotient could give


@given(st.integers(24, 400), st.floats(200, 5000), st.sampled_from([3125, 12_500, 25_000, 100_000]))
def test_the_readings_of_a_turn_are_about_those_wanted(per_turn, steps_per_turn, interval_us):
    gauge = identify(rotate_speed_most=10**6, interval_us=interval_us)
    speed = rotate_speed(steps_per_turn, gauge, CycleSettings(readings_per_turn=per_turn))
    assert 1 <= speed <= ceil(1.1 * steps_per_turn / per_turn * 1e6 / interval_us)
    if speed > 10:
        found = steps_per_turn / steps_per_conversion(speed, interval_us)
        slack = 0.1 / 0.9 + speed / 1e6  # a speed lower by the nudge, and whole microseconds a step
        assert found == pytest.approx(per_turn, rel=slack)


@pytest.mark.parametrize("per_turn", [42, 54, 61])
def test_the_simulated_device_turns_by_as_many_steps_in_a_conversion_as_planned(per_turn):
    settings = CycleSettings(readings_per_turn=per_turn)
    _, found, calibration, run, _ = measured({"spine_thou": 500.0}, settings=settings)
    speed = rotate_speed(calibration.rotation.steps_per_turn, found.identify(), settings)
    part = run.phase_slice(Phase.FULL)
    even = run.status[part] == 0
    turned, passed_us = np.ptp(run.rotate_steps[part][even]), np.ptp(run.tick_us[part][even])
    planned = steps_per_conversion(speed, 12500) * passed_us / 12500
    assert turned == pytest.approx(planned, abs=2)


def test_the_slowest_roller_still_turns():
    assert rotate_speed(21.0, identify(interval_us=2_000_000), DEEP) == 1


# Settings in files


def test_settings_come_as_a_table_or_by_name():
    data = paper_calibration().model_dump(exclude_unset=True)
    assert Calibration.model_validate(data).usual_cycle == STANDARD
    assert Calibration.model_validate(data | {"cycle": "deep"}).usual_cycle == DEEP
    given = Calibration.model_validate(data | {"cycle": {"readings_per_turn": 44}})
    assert given.usual_cycle == CycleSettings(readings_per_turn=44)
    with pytest.raises(ValidationError) as caught:
        Calibration.model_validate(data | {"cycle": "quick"})
    assert "quick" in str(caught.value)


def test_a_cycle_is_chosen_by_the_name_of_a_preset_or_of_a_file(tmp_path):
    def written(text):
        (tmp_path / "own.toml").write_text(text)
        return chosen_cycle(str(tmp_path / "own.toml"))

    assert (chosen_cycle("standard"), chosen_cycle("deep")) == (STANDARD, DEEP)
    assert written("[cycle]\nlight_turns = 3\nback_and_forth = true\n") == CycleSettings(
        light_turns=3.0, back_and_forth=True
    )
    assert written('cycle = "deep"\n[gauge]\nname = "attic"\n') == DEEP
    for text, key in (("[cycle]\nturn = 3\n", "turn"), ("[cycle]\nfull_turns = 0\n", "cycle.full_turns"),
                      ('cycle = "quick"\n', "quick"), ("[gauge]\n", "[cycle]"), ("[cycle", "own.toml")):  # fmt: skip
        with pytest.raises(ConfigurationError) as caught:
            written(text)
        assert key in str(caught.value)
    with pytest.raises(ConfigurationError) as caught:
        chosen_cycle("quick")
    assert caught.value.code == "cycle"


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("readings_per_turn", 23), ("readings_per_turn", 2001), ("light_turns", 0.9), ("full_turns", 21.0),
        ("full_turns", float("nan")), ("zero_readings", 4), ("settle_readings", 3), ("settle_readings", 101),
        ("press_mm_s", 0.0), ("approach_mm_s", -1.0), ("lift_mm_s", 101.0), ("light_share", 0.01), ("light_share", 0.6),
        ("takeup_mm", 0.0), ("seat_turns", -0.1), ("zero_in_middle", 1), ("readings_per_turn", 54.5), ("speed", 1.0),
    ],
)  # fmt: skip
def test_absurd_settings_are_refused_by_their_key(key, value):
    with pytest.raises(ValidationError) as caught:
        CycleSettings.model_validate({key: value})
    assert [problem["loc"] for problem in caught.value.errors()] == [(key,)]
