"""Programs of a calibration: steps after which the head stands, and the truth of the simulated bench."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from device_rig import CYCLE, Rig, bench_step, board, mechanics, records, rows, shafts, standard_steps

FACE = board.Board
CALM = {"noise_count": 3.0, "zero_drift_count_per_s": 0.0, "creep": 0.0, "slip": 0.0}
RIGID = {"number": 2, "kind": "rigid"}
SEEK = {"press_speed": 200, "until_count": 100000, "press_steps": 4000}  # slowly, for the bar does not give


def standing(*things: dict[str, Any], **truths: float) -> Rig:
    """Return a greeted device after a bench's first step, the zero, which has number 1; given things follow it."""
    rig = Rig({"gauge": CALM | truths, "bench": list(things)})
    rig.ready()
    rig.bench(1, zero=True)
    rig.acknowledge(1)
    return rig


def step(rig: Rig, shaft: int, **changes: Any) -> list[dict[str, int]]:
    """Return the settled readings of a complete step."""
    end = rig.bench(shaft, **changes)
    rig.acknowledge(shaft)
    assert (end["shaft"], end["complete"]) == (shaft, True)
    return rig.good(shaft)


def refused(rig: Rig, shaft: int, *steps: dict[str, Any]) -> tuple[str | None, str]:
    """Return refusal and field of the reply to a program."""
    reply = rig.ask("Program", shaft=shaft, stand=True, steps=list(steps))
    return reply["refusal"], reply["field"]


def mean(readings: list[dict[str, int]], column: str = "counts") -> float:
    return float(np.mean([row[column] for row in readings]))


# The course of a step


def test_a_step_is_a_run_of_its_own() -> None:
    rig = standing()
    rig.records.clear()
    end = rig.bench(2, press_steps=2000)
    events = [(each["previous"], each["state"], each["shaft"]) for each in rig.all("Event")]
    assert events == [("STANDING", "RUNNING", 2), ("RUNNING", "STANDING", 2)]
    blocks = rig.all("Readings")
    assert {block["phase"] for block in blocks} == {9}  # BENCH, in protocol/phase.avsc
    assert (end["blocks"], end["readings"]) == (len(blocks), sum(len(block["counts"]) for block in blocks))
    assert [len(rig.good(2)), rig.greet()["held_shaft"]] == [40, 2]
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
    for number, position in enumerate((3000, 2990, 3000, 0, 5), 2):
        assert {row["press_steps"] for row in step(rig, number, press_steps=position)} == {position}
        assert (rig.state, rig.device.gauge.press.position()) == ("STANDING", position)


def test_a_turn_is_exact_either_way_and_goes_on_over_the_steps() -> None:
    rig = standing()
    first = step(rig, 2, rotate_steps=800, readings=5)
    assert rig.device.gauge.rotate.position() == 800
    assert len(first) > 140  # 2 s at 80 readings a second
    assert set(np.diff([row["rotate_steps"] for row in first])) <= {4, 5}  # 400 steps/s, and no reading of a ramp
    assert step(rig, 3, rotate_steps=-300)[-1]["rotate_steps"] <= rig.device.gauge.rotate.position() + 10
    assert rig.device.gauge.rotate.position() == 500
    step(rig, 4, readings=200, rotate_steps=40)
    assert (len(rig.good(4)), rig.device.gauge.rotate.position()) == (200, 540)


def test_clear_fault_brings_the_head_home_and_all_is_as_before() -> None:
    rig = standing()
    step(rig, 2, press_steps=3000)
    assert rig.order("CLEAR_FAULT")["refusal"] is None
    rig.run_to("IDLE")
    assert rig.device.gauge.press.position() == 0
    assert rig.faults() == []
    assert rig.measure(3)["cause"] == "NO_CONTACT"


def test_a_cycle_may_begin_where_the_head_stands_and_go_on_with_its_zero() -> None:
    rig = standing({"number": 2, "kind": "shaft"})
    found = rig.bench(2, press_steps=8000, until_count=CYCLE["light_count"], press_speed=2000)
    assert found["complete"]
    rig.acknowledge(2)
    at = rig.device.gauge.press.position()
    press = standard_steps()[5] | {"press_speed": 2000}
    end = rig.run_program([press, bench_step(press_steps=-100, from_step=0)], 3, stand=True)
    assert end["complete"]
    readings = rows([block for block in rig.all("Readings") if block["shaft"] == 3], "DEEPEN")
    assert readings[0]["press_steps"] - at < 40
    assert readings[-1]["press_steps"] - 100 == rig.device.gauge.press.position()
    assert 1.0 <= (readings[-1]["counts"] - 50000) / CYCLE["full_count"] < 1.1


# What is refused


def test_the_press_goes_nowhere_without_a_zero() -> None:
    rig = Rig()
    rig.ready()
    assert refused(rig, 1, bench_step(press_steps=1)) == ("OUT_OF_RANGE", "0.press_steps")
    assert rig.state == "IDLE"
    rig.bench(1)
    rig.acknowledge(1)
    assert refused(rig, 2, bench_step(), bench_step(press_steps=1)) == ("OUT_OF_RANGE", "1.press_steps")
    rig.bench(2, zero=True)
    rig.acknowledge(2)
    assert len(step(rig, 3, press_steps=1)) == 40


def test_a_zero_is_taken_at_home_only() -> None:
    rig = standing()
    assert refused(rig, 2, bench_step(press_steps=300, zero=True)) == ("OUT_OF_RANGE", "0.zero")
    step(rig, 2, press_steps=300)
    assert refused(rig, 3, bench_step(press_steps=None, zero=True)) == ("OUT_OF_RANGE", "0.zero")
    assert len(step(rig, 3, zero=True)) == 40  # on its way home first


def test_a_step_waits_for_the_one_before_to_be_acknowledged_and_may_be_repeated() -> None:
    rig = standing()
    rig.bench(2)
    assert refused(rig, 3, bench_step())[0] == "WRONG_STATE"
    assert refused(rig, 2, bench_step())[0] is None  # the host did not hear the reply
    assert rig.state == "STANDING"
    assert rig.greet()["held_shaft"] == 2
    rig.acknowledge(2)
    assert len(step(rig, 3)) == 40


def test_nothing_but_the_same_step_is_taken_in_mid_step() -> None:
    rig = standing()
    rig.begin([bench_step(readings=400)], 2, stand=True)
    assert refused(rig, 2, bench_step())[0] is None
    assert refused(rig, 3, bench_step())[0] == "WRONG_STATE"
    assert rig.order("CLEAR_FAULT")["refusal"] == "WRONG_STATE"
    rig.run_to("STANDING")
    assert len(rig.good(2)) == 400


def test_no_step_in_mid_shaft() -> None:
    rig = Rig({"shafts": [{"number": 1}]})
    rig.ready()
    rig.begin(standard_steps(), 1)
    assert refused(rig, 2, bench_step())[0] == "WRONG_STATE"
    rig.run_to("HOLDING")
    assert refused(rig, 2, bench_step())[0] == "WRONG_STATE"


def test_more_readings_than_there_is_room_for_are_refused() -> None:
    rig = standing()
    assert refused(rig, 2, bench_step(readings=FACE.READINGS - 7)) == ("BUFFER_TOO_SMALL", "0.readings")
    half = bench_step(readings=FACE.READINGS // 2 - 7)
    assert refused(rig, 2, half, half) == ("BUFFER_TOO_SMALL", "1.readings")
    rig.bench(2, readings=FACE.READINGS - 10)
    assert len(rig.good(2)) == FACE.READINGS - 10


def test_more_readings_of_a_motion_than_there_is_room_for_end_it() -> None:
    rig = standing()
    end = rig.bench(2, rotate_steps=20000, press_steps=2000, until="HOLDING")
    assert (end["complete"], end["cause"], end["readings"]) == (False, "BUFFER_FULL", FACE.READINGS)
    assert len(rig.good(2, settled=0)) == FACE.READINGS
    assert rig.device.gauge.press.position() == 0


# Silence, stop, faults


def test_a_silent_host_makes_a_moving_head_retract() -> None:
    rig = standing()
    rig.begin([bench_step(press_steps=2000, readings=1000)], 2, stand=True)
    rig.keep_alive = False
    rig.link.to_device.clear()
    rig.run_to("HOLDING", 10)
    assert [rig.last("Fault")[key] for key in ("code", "state", "step")] == ["HOST_SILENT", "RUNNING", 0]
    assert rig.device.gauge.press.position() == 0
    rig.keep_alive = True
    assert rig.greet()["held_shaft"] == 2
    rig.ask("Resend", shaft=2, blocks=[0])
    assert (rig.last("EndOfShaft")["complete"], rig.last("EndOfShaft")["cause"]) == (False, "HOST_SILENT")
    rig.acknowledge(2)
    assert rig.state == "IDLE"


@pytest.mark.slow
def test_a_person_may_take_any_time_between_steps() -> None:
    rig = standing()
    rig.bench(2, press_steps=2000)
    rig.keep_alive = False
    rig.run(1200)  # longer than the clock's wrap
    assert (rig.state, rig.faults(), rig.device.gauge.press.position()) == ("STANDING", [], 2000)
    rig.keep_alive = True
    rig.acknowledge(2)
    assert len(step(rig, 3, press_steps=1000)) == 40


def test_stop_gives_the_step_up_with_its_readings() -> None:
    rig = standing()
    rig.begin([bench_step(press_steps=3000, readings=1000)], 2, stand=True)
    rig.run(2)
    assert rig.order("STOP")["refusal"] is None
    rig.run_to("HOLDING")
    rig.run(0.1)
    end = rig.last("EndOfShaft")
    assert (end["complete"], end["cause"]) == (False, "STOPPED_BY_HOST")
    assert end["readings"] == len(rig.good(2, settled=0)) > 100
    assert rig.device.gauge.press.position() == 0
    rig.acknowledge(2)
    assert rig.state == "IDLE"


def test_stop_brings_a_standing_head_home_and_keeps_what_is_held() -> None:
    rig = standing()
    rig.bench(2, press_steps=3000)
    assert rig.order("STOP")["refusal"] is None
    rig.run_to("IDLE")
    assert rig.device.gauge.press.position() == 0
    assert rig.faults() == []
    assert rig.greet()["held_shaft"] == 2
    rig.records.clear()
    rig.ask("Resend", shaft=2, blocks=[0])
    assert (rig.last("EndOfShaft")["complete"], rig.all("Readings")[0]["block"]) == (True, 0)


def test_force_is_limited_from_the_zero_on() -> None:
    rig = standing(RIGID, zero_count=-400000.0)
    end = rig.bench(2, until="FAULTED", press_speed=200, press_steps=4000)
    fault = rig.last("Fault")
    assert [fault[key] for key in ("code", "state", "step")] == ["FORCE_LIMIT", "RUNNING", 0]
    assert (end["complete"], end["cause"]) == (False, "FORCE_LIMIT")
    # A quarter of a newton a microstep; two readings, and two more for the filter, are 10 microsteps further.
    assert FACE.COUNT_LIMIT < fault["detail"] < FACE.COUNT_LIMIT + 10 * mechanics.COUNT_PER_N / 4
    assert rig.device.gauge.press.position() == 0


def test_a_mass_counts_from_the_zero_too() -> None:
    rig = standing({"number": 2, "kind": "mass", "mass_g": 1500.0}, zero_count=1_000_000.0)
    assert mean(step(rig, 2)) > FACE.COUNT_LIMIT  # but no rise above the limit
    heavy = standing({"number": 2, "kind": "mass", "mass_g": 1700.0})
    assert heavy.bench(2, until="FAULTED")["cause"] == "FORCE_LIMIT"


def test_a_spike_in_the_zero_does_not_move_the_limit() -> None:
    rig = Rig({"gauge": {"spike_chance": 0.02, "spike_count": 900000.0}, "seed": 2})
    rig.ready()
    rig.bench(1, zero=True)
    assert sum(row["counts"] > 500000 for row in rig.good(1)) == 1
    assert abs(rig.device.gauge.run.zero - 50000) < 500


@pytest.mark.parametrize("fault", [code for code in records.FAULT_CODES if code.startswith("CELL")])
def test_a_cell_that_fails_while_the_head_stands_brings_it_home(fault: str) -> None:
    rig = standing()
    step(rig, 2, press_steps=3000)
    ends = len(rig.all("EndOfShaft"))
    rig.device.gauge.handle(fault)
    rig.run_to("FAULTED")
    rig.run(0.1)
    assert rig.device.gauge.press.position() == 0
    assert len(rig.all("EndOfShaft")) == ends  # no program was under way
    assert rig.last("Fault")["step"] is None
    rig.order("CLEAR_FAULT")
    rig.run_to("IDLE")
    assert len(step(rig, 3)) == 40


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
    rig = standing(RIGID | {"give_mm_per_n": give}, screw_periodic_mm=0.0, frame_mm_per_n=0.010)
    touched = step(rig, 2, **SEEK)
    at = touched[0]["press_steps"]
    assert 100000 <= touched[0]["counts"] - 50000 < 400000  # a reading comes every 68,000, and the filter lags
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
    assert {row["press_steps"] for row in step(rig, 3, press_steps=at - 4, until_count=10)} == {at - 4}


def test_the_indicator_shows_scale_period_and_backlash_of_the_screw() -> None:
    screw = {"press_scale_error": 0.002, "screw_periodic_mm": 0.01, "screw_periodic_deg": 0.0}
    truths = screw | {"backlash_mm": 0.05, "lift_n": 0.0}  # without the counterweight's pull the play shows
    rig = standing({"number": 2, "kind": "indicator"}, **truths)
    positions = [400, 1200, 2000, 3600, 2000, 400]
    read_mm = [mean(step(rig, 2 + i, press_steps=at)) / 10000 for i, at in enumerate(positions)]
    nut_mm = [at / 400 * 1.002 + 0.01 * math.sin(2 * math.pi * at / 400 * 1.002 / 8) for at in positions]
    play_mm = [0.0, 0.0, 0.0, 0.0, 0.05, 0.05]
    assert read_mm == pytest.approx(np.add(nut_mm, play_mm), abs=1e-4)


def test_a_bow_comes_round_once_a_turn() -> None:
    rig = standing({"number": 2, "kind": "shaft", "bow_mm": 0.3})
    at = step(rig, 2, press_speed=1000, press_steps=6000, until_count=150000)[-1]["press_steps"]
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
    key = wrong["kind"] if len(wrong) == 1 else list(wrong)[1]
    with pytest.raises(ValueError, match=f"'{key}'"):
        mechanics.Mechanics({"bench": [wrong]})
