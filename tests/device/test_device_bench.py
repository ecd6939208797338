"""Bench steps: what the device does for a calibration, what it refuses, and the truth of its simulated bench."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from device_rig import PLAN, STEP, Rig, board, cycle, mechanics, plan, records, shafts
from hypothesis import event, given, settings
from hypothesis import strategies as st

FACE = board.Board
CALM = {"noise_count": 3.0, "zero_drift_count_per_s": 0.0, "creep": 0.0, "slip": 0.0}
RIGID = {"number": 2, "kind": "rigid"}
SEEK = {"press_speed": 100, "stop_count": 100000, "press_steps": 4000}  # slowly, for the bar does not give
LIMITS = {
    "shaft": (0, 2**30 - 1),
    "press_steps": (0, FACE.PRESS_LIMIT),
    "rotate_steps": (-(2**20), 2**20),
    "stop_count": (1, FACE.COUNT_LIMIT),
    "readings": (1, 10000),
    "settle_readings": (0, 100),
    "press_speed": (1, FACE.PRESS_SPEED_MAX),
    "rotate_speed": (1, FACE.ROTATE_SPEED_MAX),
}


def standing(*things: dict[str, Any], **truths: float) -> Rig:
    """Return a greeted device after a bench's first step, the zero, which has number 1; given things follow it."""
    rig = Rig({"gauge": CALM | truths, "bench": list(things)})
    rig.run_to("IDLE")
    rig.greet()
    rig.bench(1)
    acknowledge(rig, 1)
    return rig


def acknowledge(rig: Rig, shaft: int) -> None:
    assert rig.ask("Acknowledge", shaft=shaft)["refusal"] is None


def step(rig: Rig, shaft: int, **changes: int | None) -> list[dict[str, int]]:
    """Return the settled readings of a complete step."""
    end = rig.bench(shaft, **changes)
    acknowledge(rig, shaft)
    assert (end["shaft"], end["complete"]) == (shaft, True)
    return rig.good(shaft)


def mean(readings: list[dict[str, int]], column: str = "counts") -> float:
    return float(np.mean([row[column] for row in readings]))


# The course of a step


def test_a_step_is_a_run_of_its_own() -> None:
    rig = standing()
    rig.records.clear()
    end = rig.bench(2, press_steps=2000)
    events = [(each["previous"], each["state"], each["shaft"]) for each in rig.all("Event")]
    assert events == [("STANDING", "BENCH", 2), ("BENCH", "STANDING", 2)]
    blocks = rig.all("Readings")
    assert {block["phase"] for block in blocks} == {"BENCH"}
    assert (end["blocks"], end["readings"]) == (len(blocks), sum(len(block["counts"]) for block in blocks))
    assert [len(rig.good(2)), rig.greet()["held_shaft"]] == [STEP["readings"], 2]
    assert abs(end["sampling_ms"] - 40 * 12.5 / 1.015) < 10
    assert end["sampling_ms"] + 500 < end["duration_ms"] < end["sampling_ms"] + 1000  # half a second to go there


def test_readings_of_the_motion_are_marked_and_eight_more() -> None:
    rig = standing()
    rig.bench(2, press_steps=2000)
    everything = rig.good(2, settled=0)
    moving = [row for row in everything if row["press_steps"] < 2000]
    assert len(moving) > 30
    assert len(everything) == len(moving) + 8 + 40
    assert {row["press_steps"] for row in rig.good(2)} == {2000}


def test_the_head_stays_and_the_next_step_goes_on_from_there() -> None:
    rig = standing()
    for number, position in enumerate((3000, 2990, 3000, 0), 2):
        assert {row["press_steps"] for row in step(rig, number, press_steps=position)} == {position}
        assert (rig.state, rig.device.cycle.press.position()) == ("STANDING", position)


def test_a_turn_is_exact_either_way_and_goes_on_over_the_steps() -> None:
    rig = standing()
    first = step(rig, 2, rotate_steps=800, readings=5)
    assert rig.device.cycle.rotate.position() == 800
    speeds = np.diff([row["rotate_steps"] for row in first])[:120]
    assert len(first) > 140  # 2 s at 80 readings a second
    assert set(speeds) <= {4, 5}  # 400 steps/s from the first settled reading on
    back = step(rig, 3, rotate_steps=-300)
    assert back[-1]["rotate_steps"] == rig.device.cycle.rotate.position() == 500
    step(rig, 4, readings=200, rotate_steps=40)
    assert (len(rig.good(4)), rig.device.cycle.rotate.position()) == (200, 540)


def test_the_press_is_home_and_all_as_before_after_clear_fault() -> None:
    rig = standing()
    step(rig, 2, press_steps=3000)
    assert rig.ask("CyclePlan", **PLAN)["refusal"] is None
    assert rig.ask("Command", order="MEASURE", shaft=3)["refusal"] == "WRONG_STATE"
    assert rig.ask("Command", order="CLEAR_FAULT", shaft=None)["refusal"] is None
    rig.run_to("IDLE")
    assert rig.device.cycle.press.position() == 0
    assert rig.all("Fault") == []
    assert rig.ask("Command", order="MEASURE", shaft=3)["refusal"] is None


# What is refused


@pytest.mark.parametrize("field", LIMITS)
def test_each_field_is_refused_by_name_just_outside_its_range(field: str) -> None:
    low, high = LIMITS[field]
    usual = {"shaft": 1} | STEP
    for value in (low, high):
        assert getattr(plan.Step(list((usual | {field: value}).values()), FACE, 0), field) == value
    for value in (low - 1, high + 1):
        with pytest.raises(plan.RefusalError) as refusal:
            plan.Step(list((usual | {field: value}).values()), FACE, 0)
        assert refusal.value.args == (records.OUT_OF_RANGE, field)


def test_the_first_step_is_taken_at_home() -> None:
    rig = Rig()
    rig.run_to("IDLE")
    rig.greet()
    reply = rig.ask("BenchStep", shaft=1, **(STEP | {"press_steps": 1}))
    assert (reply["refusal"], reply["field"]) == ("OUT_OF_RANGE", "press_steps")
    assert rig.state == "IDLE"


def test_a_step_waits_for_the_one_before_to_be_acknowledged_and_may_be_repeated() -> None:
    rig = standing()
    rig.bench(2)
    assert rig.ask("BenchStep", shaft=3, **STEP)["refusal"] == "WRONG_STATE"
    assert rig.ask("BenchStep", shaft=2, **STEP)["refusal"] is None  # the host did not hear the reply
    assert rig.state == "STANDING"
    assert rig.greet()["held_shaft"] == 2
    acknowledge(rig, 2)
    assert len(step(rig, 3)) == 40


def test_nothing_but_the_same_step_is_taken_in_mid_step() -> None:
    rig = standing()
    assert rig.ask("BenchStep", shaft=2, **(STEP | {"readings": 400}))["refusal"] is None
    assert rig.ask("BenchStep", shaft=2, **STEP)["refusal"] is None
    assert rig.ask("BenchStep", shaft=3, **STEP)["refusal"] == "WRONG_STATE"
    assert rig.ask("CyclePlan", **PLAN)["refusal"] == "WRONG_STATE"
    assert rig.ask("Command", order="CLEAR_FAULT", shaft=None)["refusal"] == "WRONG_STATE"
    rig.run_to("STANDING")
    assert len(rig.good(2)) == 400


def test_no_step_in_mid_shaft() -> None:
    rig = Rig({"shafts": [{"number": 1}]})
    rig.ready()
    rig.ask("Command", order="MEASURE", shaft=1)
    assert rig.ask("BenchStep", shaft=2, **STEP)["refusal"] == "WRONG_STATE"
    rig.run_to("HOLDING")
    assert rig.ask("BenchStep", shaft=2, **STEP)["refusal"] == "WRONG_STATE"


def test_a_step_that_could_overflow_the_buffer_is_refused() -> None:
    rig = standing()
    for long in ({"readings": 5000}, {"rotate_steps": 50000}, {"press_steps": 10000, "press_speed": 100}):
        assert rig.ask("BenchStep", shaft=2, **(STEP | long))["refusal"] == "BUFFER_TOO_SMALL"
    assert rig.ask("BenchStep", shaft=2, **(STEP | {"readings": 3900}))["refusal"] is None
    rig.run_to("STANDING")
    assert len(rig.good(2)) == 3900


# Silence, stop, faults


def test_a_silent_host_makes_a_moving_head_retract() -> None:
    rig = standing()
    assert rig.ask("BenchStep", shaft=2, **(STEP | {"press_steps": 2000, "readings": 1000}))["refusal"] is None
    rig.keep_alive = False
    rig.link.to_device.clear()
    rig.run_to("HOLDING", 10)
    assert (rig.last("Fault")["code"], rig.last("Fault")["state"]) == ("HOST_SILENT", "BENCH")
    assert rig.device.cycle.press.position() == 0
    rig.keep_alive = True
    assert rig.greet()["held_shaft"] == 2
    rig.ask("Resend", shaft=2, blocks=[0])
    assert (rig.last("EndOfShaft")["complete"], rig.last("EndOfShaft")["cause"]) == (False, "HOST_SILENT")
    acknowledge(rig, 2)
    assert rig.state == "IDLE"


@pytest.mark.slow
def test_a_person_may_take_any_time_between_steps() -> None:
    rig = standing()
    rig.bench(2, press_steps=2000)
    rig.keep_alive = False
    rig.run(1200)  # longer than the clock's wrap
    assert (rig.state, rig.all("Fault"), rig.device.cycle.press.position()) == ("STANDING", [], 2000)
    rig.keep_alive = True
    acknowledge(rig, 2)
    assert len(step(rig, 3, press_steps=1000)) == 40


def test_stop_gives_the_step_up_with_its_readings() -> None:
    rig = standing()
    rig.ask("BenchStep", shaft=2, **(STEP | {"press_steps": 3000, "readings": 1000}))
    rig.run(2)
    assert rig.ask("Command", order="STOP", shaft=None)["refusal"] is None
    rig.run_to("HOLDING")
    rig.run(0.1)
    end = rig.last("EndOfShaft")
    assert (end["complete"], end["cause"]) == (False, "STOPPED_BY_HOST")
    assert end["readings"] == len(rig.good(2, settled=0)) > 100
    assert rig.device.cycle.press.position() == 0
    acknowledge(rig, 2)
    assert len(step(rig, 3)) == 40  # from IDLE: the bench begins anew


def test_stop_brings_a_standing_head_home_and_keeps_what_is_held() -> None:
    rig = standing()
    rig.bench(2, press_steps=3000)
    assert rig.ask("Command", order="STOP", shaft=None)["refusal"] is None
    rig.run_to("IDLE")
    assert rig.device.cycle.press.position() == 0
    assert rig.all("Fault") == []
    assert rig.greet()["held_shaft"] == 2
    rig.records.clear()
    rig.ask("Resend", shaft=2, blocks=[0])
    assert (rig.last("EndOfShaft")["complete"], rig.all("Readings")[0]["block"]) == (True, 0)


def test_force_is_limited_from_the_zero_on() -> None:
    rig = standing(RIGID, zero_count=-400000.0)
    rig.bench(2, until="FAULTED", press_speed=200, press_steps=4000)
    fault, end = rig.last("Fault"), rig.last("EndOfShaft")
    assert (fault["code"], fault["state"], end["complete"], end["cause"]) == (
        "FORCE_LIMIT",
        "BENCH",
        False,
        "FORCE_LIMIT",
    )
    # a quarter of a newton a microstep; two readings and the time between them are 5 microsteps further
    assert FACE.COUNT_LIMIT < fault["detail"] < FACE.COUNT_LIMIT + 6 * mechanics.COUNT_PER_N / 4
    assert rig.device.cycle.press.position() == 0


def test_a_mass_counts_from_the_zero_too() -> None:
    rig = standing({"number": 2, "kind": "mass", "mass_g": 1500.0}, zero_count=1_000_000.0)
    assert mean(step(rig, 2)) > FACE.COUNT_LIMIT  # but no rise above the limit
    heavy = standing({"number": 2, "kind": "mass", "mass_g": 1700.0})
    assert heavy.bench(2, until="FAULTED")["cause"] == "FORCE_LIMIT"


def test_a_spike_in_the_zero_does_not_move_the_limit() -> None:
    rig = Rig({"gauge": {"spike_chance": 0.02, "spike_count": 900000.0}, "seed": 2})
    rig.run_to("IDLE")
    rig.greet()
    rig.bench(1)
    assert sum(row["counts"] > 500000 for row in rig.good(1)) == 1
    assert abs(rig.device.cycle.progress.zero - 50000) < 500


@pytest.mark.parametrize("fault", [code for code in records.FAULT_CODES if code.startswith("CELL")])
def test_a_cell_that_fails_while_the_head_stands_brings_it_home(fault: str) -> None:
    rig = standing()
    step(rig, 2, press_steps=3000)
    ends = len(rig.all("EndOfShaft"))
    rig.device.cycle.fail(records.FAULT_CODES.index(fault), 0)
    rig.run_to("FAULTED")
    rig.run(0.1)
    assert rig.device.cycle.press.position() == 0
    assert len(rig.all("EndOfShaft")) == ends  # no step was under way
    rig.ask("Command", order="CLEAR_FAULT", shaft=None)
    rig.run_to("IDLE")
    assert len(step(rig, 3)) == 40


THINGS = st.sampled_from(["nothing", "rigid", "shaft"])
ANY_STEP = st.fixed_dictionaries(
    {
        "press_steps": st.one_of(st.integers(0, FACE.PRESS_LIMIT), st.just(FACE.PRESS_LIMIT), st.integers(3000, 3400)),
        "rotate_steps": st.integers(-2000, 2000),
        "stop_count": st.none() | st.integers(1, FACE.COUNT_LIMIT),
        "readings": st.integers(1, 200),
        "settle_readings": st.integers(0, 20),
        "press_speed": st.one_of(st.integers(200, FACE.PRESS_SPEED_MAX), st.just(FACE.PRESS_SPEED_MAX)),
        "rotate_speed": st.integers(100, FACE.ROTATE_SPEED_MAX),
    }
)


@pytest.mark.slow
@settings(max_examples=40)
@given(THINGS, st.lists(ANY_STEP, min_size=1, max_size=4))
def test_no_steps_go_past_the_limits(kind: str, steps: list[dict[str, int | None]]) -> None:
    rig = standing({"number": 2, "kind": kind})
    for number, fields in enumerate(steps, 2):
        refusal = rig.ask("BenchStep", shaft=number, **fields)["refusal"]
        event(f"refused: {refusal}")
        if refusal is not None:
            assert refusal == "BUFFER_TOO_SMALL"
            continue
        most = rig.device.cycle.bench_step.most_readings(rig.board.INTERVAL_US * 15 // 16)
        over_s = watched(rig)
        assert over_s < 0.06  # two readings and the time between them
        rig.run(0.2)
        end = rig.last("EndOfShaft")
        event(f"{kind}: {end['cause']}")
        assert end["cause"] in (None, "FORCE_LIMIT")
        assert end["readings"] <= most
        assert rig.device.held.used() <= most * plan.READING_BYTES + 200
        if end["cause"] is not None:
            assert rig.device.cycle.press.position() == 0
            return
        if fields["stop_count"] is None:
            assert rig.device.cycle.press.position() == fields["press_steps"]
        assert len(rig.good(number)) >= fields["readings"]
        acknowledge(rig, number)


def watched(rig: Rig) -> float:
    """Run to the end of a step; return how long the force was too large without the head on its way up, s."""
    over_s = 0.0
    while rig.state not in ("STANDING", "HOLDING", "FAULTED"):
        before_us = rig.board.now_us
        rig.step()
        press = rig.device.cycle.press
        assert 0 <= press.position() <= FACE.PRESS_LIMIT
        over = rig.board.mechanics._force_n * mechanics.COUNT_PER_N > 1.01 * FACE.COUNT_LIMIT
        over_s += (rig.board.now_us - before_us) / 1e6 if over and not press.rising() else 0.0
    return over_s


def test_the_table_has_no_silence_where_the_head_stands() -> None:
    allowed = {signal for state, signal in cycle.TABLE if state == records.STANDING}
    assert "HOST_SILENT" not in allowed
    assert {"bench", "clear", "INTERNAL"} <= allowed


# What the simulated bench holds


@pytest.mark.parametrize(
    ("gravity", "air", "density"), [(9.80665, 0.0, 8000.0), (9.781, 1.2, 8000.0), (9.832, 1.2, 2700.0)]
)
def test_a_mass_weighs_what_gravity_and_air_make_of_it(gravity: float, air: float, density: float) -> None:
    things = [{"number": 2, "kind": "mass", "mass_g": 500.0, "density_kg_m3": density}, {"number": 3}]
    rig = standing(*things, gravity_m_s2=gravity, air_kg_m3=air, noise_count=1.0)
    loaded, empty = mean(step(rig, 2)), mean(step(rig, 3))
    # JCGM 101:2008, 9.3: weight in air is m g (1 - density of air / density of the mass)
    weight_n = 0.5 * gravity * (1 - air / density)
    assert (loaded - empty) / mechanics.COUNT_PER_N == pytest.approx(weight_n, rel=3e-6)


@pytest.mark.parametrize("ratio", [1.0, 0.5, -1.0])
def test_a_mass_pushes_the_head_up_or_hangs_on_it(ratio: float) -> None:
    things = [{"number": 2, "kind": "mass", "mass_g": 500.0, "ratio": ratio}, {"number": 3}]
    rig = standing(*things, gravity_m_s2=9.8, noise_count=1.0)
    loaded, empty = mean(step(rig, 2)), mean(step(rig, 3))
    assert (loaded - empty) / mechanics.COUNT_PER_N == pytest.approx(ratio * 0.5 * 9.8, rel=3e-6)


def test_a_hand_pushes_the_head_up() -> None:
    rig = standing({"number": 2, "kind": "hand", "force_n": 2.0}, {"number": 3}, noise_count=1.0)
    loaded, empty = mean(step(rig, 2)), mean(step(rig, 3))
    assert (loaded - empty) / mechanics.COUNT_PER_N == pytest.approx(2.0, rel=1e-5)


@pytest.mark.parametrize("give", [0.0, 0.005])
def test_on_a_rigid_bar_only_the_frame_gives(give: float) -> None:
    rig = standing(RIGID | {"give_mm_per_n": give}, screw_periodic_mm=0.0)
    touched = step(rig, 2, **SEEK)
    at = touched[0]["press_steps"]
    assert 100000 <= touched[0]["counts"] - 50000 < 250000
    assert at < SEEK["press_steps"]
    forces = [mean(touched)] + [mean(step(rig, 3 + i, press_steps=at + 8 * (i + 1))) for i in range(3)]
    slopes = np.diff(forces) / mechanics.COUNT_PER_N / (8 / 400)
    assert slopes == pytest.approx(1 / (0.010 + give), rel=1e-3)


def test_on_a_gauge_block_the_head_meets_it_so_much_earlier() -> None:
    places = []
    for height in (0.0, 2.5):
        rig = standing(RIGID | {"height_mm": height}, screw_periodic_mm=0.0)
        places.append(step(rig, 2, **SEEK)[0]["press_steps"])
    assert places[0] - places[1] == pytest.approx(2.5 * 400, abs=4)  # it seeks two steps a reading


def test_on_the_way_up_no_load_stops_the_head() -> None:
    rig = standing(RIGID)
    at = step(rig, 2, **SEEK)[0]["press_steps"]
    assert {row["press_steps"] for row in step(rig, 3, press_steps=at - 4, stop_count=10)} == {at - 4}


def test_the_indicator_shows_scale_period_and_backlash_of_the_screw() -> None:
    truths = {"press_scale_error": 0.002, "screw_periodic_mm": 0.01, "screw_periodic_deg": 0.0, "backlash_mm": 0.05}
    rig = standing({"number": 2, "kind": "indicator"}, **truths)
    positions = [400, 1200, 2000, 3600, 2000, 400]
    read_mm = [mean(step(rig, 2 + i, press_steps=at)) / 10000 for i, at in enumerate(positions)]
    nut_mm = [at / 400 * 1.002 + 0.01 * math.sin(2 * math.pi * at / 400 * 1.002 / 8) for at in positions]
    play_mm = [0.0, 0.0, 0.0, 0.0, 0.05, 0.05]
    assert read_mm == pytest.approx(np.add(nut_mm, play_mm), abs=1e-4)


def test_a_bow_comes_round_once_a_turn() -> None:
    rig = standing({"number": 2, "kind": "shaft", "bow_mm": 0.3})
    at = step(rig, 2, press_speed=1000, press_steps=6000, stop_count=150000)[-1]["press_steps"]
    turning = step(rig, 3, press_steps=at, rotate_steps=2000)
    steps = np.array([row["rotate_steps"] for row in turning])
    counts = np.array([row["counts"] for row in turning], float)
    periods = np.arange(600, 1000)
    power = [abs(np.sum((counts - counts.mean()) * np.exp(2j * np.pi * steps / period))) for period in periods]
    # 3200 steps a turn of the 30 mm roller: 800 for a shaft of 7.5 mm; an unwindowed peak of 2.5 turns is 2 % sharp
    assert periods[np.argmax(power)] == pytest.approx(800, rel=0.05)


def test_a_reference_bar_is_given_by_its_stiffness() -> None:
    ei, load_n, span_mm = 5.0e6, 0.880 * 9.80665, 711.2
    small_mm = load_n * span_mm**3 / (48 * ei)  # small deflection at midspan, any handbook of beams
    truth = shafts.truth({"ei_n_mm2": ei})
    # departure of the large deflection with reactions normal to the bar: 72/7 (deflection / span)^2
    large_mm = truth["spine_thou"] * 0.0254
    assert large_mm / small_mm - 1 == pytest.approx(72 / 7 * (small_mm / span_mm) ** 2, rel=0.05)
    assert truth["spread_thou"] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("wrong", [{"kind": "weight"}, {"kind": "mass", "mass_kg": 1}, {"kind": "rigid", "mass_g": 1}])
def test_a_thing_the_bench_does_not_know_is_an_error(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="unknown"):
        mechanics.Mechanics({"bench": [wrong]})
