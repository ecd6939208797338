"""Safety of the device alone: a false home switch, a head that starts above its edge, a cell with the wrong sign.

Everything is seen as a host and a bystander see it: what the device says over the line, and where the simulated head
truly stands and how hard it presses.
"""

from __future__ import annotations

from typing import Any

import pytest
from device_rig import CYCLE, PHASES, Rig, bench_step, board, rows, standard_steps

FACE = board.Board
SHAFT = {"number": 1, "spine_thou": 500}
DOWN = ["APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN", "LIGHT_AGAIN", "LIFT"]
STEPS_PER_MM = 400
NEWTON_COUNT = 1070 / 0.00980665
LIMIT_N = FACE.COUNT_LIMIT / NEWTON_COUNT
A_LITTLE_MM = 0.1


def a_rig(bench: dict[str, Any] | None = None, **truths: Any) -> Rig:
    """Return a gauge with a shaft and given truths besides the usual ones."""
    return Rig({"gauge": truths, "shafts": [SHAFT], "bench": [bench] if bench else []})


def state(rig: Rig) -> str:
    """Return the state that the device reported last."""
    said = [fields["state"] for name, fields in rig.records if name in ("Event", "Identify")]
    return said[-1] if said else ""


def until(rig: Rig, wanted: str, seconds: float = 60.0) -> float:
    """Run until the device reports a state; return the greatest force on the way, N."""
    until_us, most_n = rig.board.now_us + int(1e6 * seconds), 0.0
    while state(rig) != wanted:
        assert rig.board.now_us < until_us, f"{state(rig)} instead of {wanted}"
        rig.step()
        most_n = max(most_n, rig.board.mechanics.head()[1])
    return most_n


def at_home(rig: Rig) -> Rig:
    """Return a greeted device at rest."""
    until(rig, "IDLE")
    rig.greet()
    return rig


def begun(rig: Rig, phase: str) -> Rig:
    """Return a device whose cycle has reached a phase."""
    rig.begin(standard_steps())
    tag = PHASES.index(phase)
    until_us = rig.board.now_us + 30_000_000
    while rig.device.gauge.run.step.phase != tag:
        assert rig.board.now_us < until_us, rig.device.gauge.run.step.phase
        rig.step()
    rig.run(0.05)
    return rig


def measured(rig: Rig) -> dict[str, Any]:
    """Run a whole cycle; return its reported end."""
    until(begun(rig, "SEATING"), "HOLDING")
    rig.run(0.2)
    return rig.last("EndOfShaft")


def stepped(rig: Rig, number: int, until_state: str = "STANDING", **changes: Any) -> dict[str, Any]:
    """Run a calibration's step; return its reported end."""
    rig.begin([bench_step(**changes)], number, stand=True)
    until(rig, until_state)
    rig.run(0.2)
    rig.ask("Acknowledge", shaft=number)
    return rig.last("EndOfShaft")


def cleared(rig: Rig) -> None:
    """Clear the fault as a person would order."""
    assert rig.order("CLEAR_FAULT")["refusal"] is None
    rig.run(0.1)


def assert_up_and_still(rig: Rig, above_mm: float = A_LITTLE_MM) -> None:
    """Check that the head is at home or a little above, presses on nothing, and that no motor moves."""
    assert not rig.board.press.moving()
    rig.run(0.05)  # for a sample more
    head_mm, force_n = rig.board.mechanics.head()
    assert force_n == 0.0
    assert -above_mm <= head_mm <= A_LITTLE_MM


# A home switch that is closed wherever the head is: its wire is broken


@pytest.mark.parametrize("where", DOWN)
@pytest.mark.parametrize("host", ["there", "killed"])
def test_a_home_wire_that_breaks_brings_the_head_up_by_the_count(where: str, host: str) -> None:
    rig = begun(at_home(a_rig()), where)
    rig.keep_alive = host == "there"
    rig.board.home_broken = "closed"
    until(rig, "FAULTED")
    rig.run(0.2)
    assert_up_and_still(rig)
    # Within a few millimetres of home the head touches nothing: there the host's silence may come first.
    assert rig.faults()[-1] == "HOME_STUCK"
    assert rig.greet()["fault"] == "HOME_STUCK"
    assert rig.last("EndOfShaft")["complete"] is False


def test_a_wire_that_was_broken_when_the_host_died_leaves_nothing_pressing() -> None:
    rig = at_home(a_rig())
    rig.board.home_broken = "closed"
    rig.begin(standard_steps())
    rig.keep_alive = False
    rig.run(20)
    assert state(rig) == "FAULTED"
    assert_up_and_still(rig)


def test_a_standing_head_whose_home_wire_breaks_goes_up_by_the_count() -> None:
    rig = at_home(a_rig())
    stepped(rig, 1, zero=True)
    stepped(rig, 2, press_steps=3000)
    rig.board.home_broken = "closed"
    until(rig, "FAULTED")
    assert_up_and_still(rig)
    assert rig.faults() == ["HOME_STUCK"]


def test_a_broken_home_wire_is_not_cleared_away_and_a_mended_one_is() -> None:
    rig = begun(at_home(a_rig()), "FULL")
    rig.board.home_broken = "closed"
    until(rig, "FAULTED")
    for _ in range(3):
        cleared(rig)
        until(rig, "FAULTED")
        assert rig.faults()[-1] == "HOME_STUCK"
        assert_up_and_still(rig)
    rig.ask("Acknowledge", shaft=1)
    rig.board.home_broken = None
    cleared(rig)
    at_home(rig)
    assert measured(rig)["complete"]


def test_a_lid_that_stopped_the_head_at_depth_and_a_broken_wire() -> None:
    """Back off to see the switch open: the head stops when it presses harder, and goes up by the count."""
    rig = Rig({"shafts": [SHAFT], "feeder": {"lid": [[6, 5]]}})
    until(rig, "IDLE")
    rig.greet()
    rig.ask("Feed", shaft=1, source="HOPPER")
    until(rig, "LOADED")
    begun(rig, "FULL")
    while "lid" not in rig.board.world.lasting:
        rig.step()
    rig.board.home_broken = "closed"
    until(rig, "FAULTED")
    rig.run(7)
    assert rig.board.mechanics.head()[1] > 5  # a lid that opens stops everything where it is
    cleared(rig)
    most_n = until(rig, "FAULTED")
    assert most_n < 11
    assert_up_and_still(rig)
    assert rig.faults() == ["LID_OPEN", "HOME_STUCK"]


@pytest.mark.parametrize("start_mm", [0.0, 5.0, 15.0])
def test_a_switch_that_never_opens_is_found_at_power_on_and_the_head_ends_where_it_stood(start_mm: float) -> None:
    rig = a_rig(start_mm=start_mm, home_switch_broken="closed")
    until(rig, "FAULTED")
    rig.run(0.2)
    assert rig.faults() == ["HOME_STUCK"]
    assert rig.board.press.at == round(start_mm * STEPS_PER_MM)
    assert not rig.board.press.moving()


@pytest.mark.parametrize("sign", [1, -1])
def test_backing_off_at_power_on_presses_on_nothing(sign: int) -> None:
    """Reset at depth with a broken wire: the head stands on a rigid bar while its switch says that it is at home."""
    rig = a_rig({"number": -1, "kind": "rigid"}, start_mm=8.05, home_switch_broken="closed", backlash_mm=0.0,
                count_per_n=sign * NEWTON_COUNT)  # fmt: skip
    most_n = until(rig, "FAULTED")
    rig.run(0.2)
    assert rig.faults() == ["HOME_STUCK"]
    stood_n = rig.board.mechanics.head()[1]  # it is back where it stood
    assert rig.board.press.at == round(8.05 * STEPS_PER_MM)
    assert 4 < stood_n < 6
    assert most_n < stood_n + 12  # on 100 N/mm, and from the first reading on


@pytest.mark.parametrize("spiked", [1, 2, 3])
def test_a_spike_in_the_count_while_the_head_backs_off_is_no_contact(spiked: int) -> None:
    rig = a_rig(start_mm=-0.5)
    words, taken = rig.board.mechanics.sample, 0

    def with_a_spike() -> tuple[int, int]:
        nonlocal taken
        taken += 1
        word, in_step = words()
        return word + 900000 * (taken == spiked), in_step

    rig.board.mechanics.sample = with_a_spike
    until(rig, "IDLE")
    assert taken > 10
    assert rig.faults() == []


def test_a_spike_on_the_switchs_wire_at_depth_ends_nothing() -> None:
    rig = begun(at_home(a_rig()), "FULL")
    for _ in range(10):
        rig.board.home_broken = "closed"
        rig.step()
        rig.board.home_broken = None
        rig.run(0.1)
    until(rig, "HOLDING")
    assert rig.faults() == []


def test_a_head_that_was_turned_up_by_hand_is_not_driven_against_its_end() -> None:
    """Turn the head home by hand after the emergency stop cut the motors' supply: the count still says depth."""
    rig = Rig({"shafts": [SHAFT], "feeder": {"stop": [[6, 5]]}})
    until(rig, "IDLE")
    rig.greet()
    rig.ask("Feed", shaft=1, source="HOPPER")
    until(rig, "LOADED")
    begun(rig, "FULL")
    until(rig, "FAULTED")
    rig.run(7)
    rig.board.turn_by_hand(0.3)
    rig.ask("Acknowledge", shaft=1)
    cleared(rig)
    until(rig, "IDLE")
    assert rig.faults() == ["EMERGENCY_STOP"]
    assert_up_and_still(rig)
    rig.ask("Feed", shaft=2, source="SEATED")
    until(rig, "LOADED")
    rig.begin(standard_steps(), 2)
    until(rig, "HOLDING")
    rig.run(0.2)
    assert rig.last("EndOfShaft")["complete"] is True


@pytest.mark.parametrize("where_mm", [-0.5, 3.0, 10.0])
def test_home_is_found_wherever_a_hand_left_the_head(where_mm: float) -> None:
    rig = begun(at_home(a_rig(drop_chance=0.0)), "FULL")
    rig.board.mechanics.truths["drop_chance"] = 1.0  # a cell that fails, and a count that a hand then makes wrong
    until(rig, "FAULTED")
    rig.board.turn_by_hand(where_mm)
    rig.board.mechanics.truths["drop_chance"] = 0.0
    rig.ask("Acknowledge", shaft=1)
    cleared(rig)
    until(rig, "IDLE")
    assert measured(rig)["complete"]
    assert rig.faults() == ["CELL_SILENT"]


def test_a_wire_that_breaks_while_home_is_sought_is_found() -> None:
    rig = a_rig(start_mm=30.0)
    rig.run(1.0)
    rig.board.home_broken = "closed"
    until(rig, "FAULTED")
    assert rig.faults() == ["HOME_STUCK"]
    assert rig.board.press.at < 20.1 * STEPS_PER_MM  # about where it was, after a second at 10 mm/s; not down again


# One that never closes


@pytest.mark.parametrize("where", ["SEATING", *DOWN])
def test_a_switch_that_never_closes_ends_in_a_fault_with_the_head_up_by_the_count(where: str) -> None:
    rig = begun(at_home(a_rig()), where)
    rig.board.home_broken = "open"
    until(rig, "FAULTED")
    assert_up_and_still(rig, above_mm=FACE.PRESS_LIMIT / 25 / STEPS_PER_MM)  # a little beyond, not the whole travel
    assert rig.faults() == ["HOME_NOT_FOUND"]
    rig.run(60)
    assert not rig.board.press.moving()
    rig.board.home_broken = None
    rig.ask("Acknowledge", shaft=1)
    cleared(rig)
    at_home(rig)
    assert measured(rig)["complete"]


@pytest.mark.parametrize("feeder", [None, {}], ids=["idle", "loaded"])
def test_a_switch_that_is_open_when_a_program_is_to_begin_is_a_fault_and_nothing_moves(feeder: dict | None) -> None:
    rig = at_home(Rig({"shafts": [SHAFT]} | ({} if feeder is None else {"feeder": feeder})))
    rig.greet()
    if feeder is not None:
        rig.ask("Feed", shaft=1, source="HOPPER")
        until(rig, "LOADED")
    rig.board.home_broken = "open"
    assert rig.ask("Program", shaft=1, stand=False, steps=standard_steps())["refusal"] == "WRONG_STATE"
    rig.run(0.1)
    assert (rig.state, rig.faults()) == ("FAULTED", ["HOME_NOT_FOUND"])
    assert [motor.moving() for motor in (rig.board.press, rig.board.rotate)] == [False, False]
    rig.board.home_broken = None
    cleared(rig)
    until(rig, "IDLE")
    assert measured(rig)["complete"]


# Where the head is at power-on


def contact(rig: Rig) -> int:
    """Return the press position at which the light load was reached."""
    measured(at_home(rig))
    return rows(rig.all("Readings"), "LIGHT")[0]["press_steps"]


@pytest.mark.parametrize("start_mm", [-2.0, -0.25, -0.01, 0.0, 0.01, 0.25, 2.0, 40.0])
def test_home_is_the_switchs_edge_wherever_the_head_was_at_power_on(start_mm: float) -> None:
    rig = a_rig(start_mm=start_mm)
    light = contact(rig)
    assert rig.last("EndOfShaft")["complete"] is True
    assert rig.faults() == []
    assert abs(light - contact(a_rig(start_mm=1.0))) <= 16  # microsteps; a few hundredths of a millimetre


# A cell that is wired the other way round


@pytest.mark.parametrize("spine_thou", [300, 500, 1000])
def test_contact_with_the_wrong_sign_is_a_fault_of_its_own_after_little_force(spine_thou: int) -> None:
    rig = Rig({"gauge": {"count_per_n": -NEWTON_COUNT}, "shafts": [SHAFT | {"spine_thou": spine_thou}]})
    at_home(rig).begin(standard_steps())
    most_n = until(rig, "FAULTED")
    assert rig.faults() == ["FORCE_REVERSED"]
    assert rig.last("Fault")["detail"] <= -CYCLE["light_count"]
    assert most_n < 2 * CYCLE["light_count"] / NEWTON_COUNT  # at 10 mm/s on 1.5 N/mm
    rig.run(0.2)
    assert_up_and_still(rig)
    assert rig.last("EndOfShaft")["cause"] == "FORCE_REVERSED"


@pytest.mark.parametrize("sign", [1, -1])
def test_the_limit_is_on_the_magnitude_of_the_force(sign: int) -> None:
    rig = a_rig({"number": 2, "kind": "rigid"}, count_per_n=sign * NEWTON_COUNT)
    stepped(at_home(rig), 1, zero=True)
    rig.begin([bench_step(press_steps=4000, press_speed=200)], 2)
    most_n = until(rig, "FAULTED")
    assert rig.faults() == ["FORCE_LIMIT"]
    # 0.5 mm/s on 100 N/mm: 0.6 N in a reading, of which there are two, and the filter of four lags by two more
    assert LIMIT_N < sign * rig.last("Fault")["detail"] / NEWTON_COUNT < LIMIT_N + 2
    assert most_n < LIMIT_N + 3
    assert_up_and_still(rig)


def test_a_bench_step_that_waits_for_a_load_of_the_other_sign_tells_of_it() -> None:
    rig = a_rig({"number": 2, "kind": "shaft"}, count_per_n=-NEWTON_COUNT)
    stepped(at_home(rig), 1, zero=True)
    rig.begin([bench_step(press_steps=8000, until_count=CYCLE["light_count"])], 2)
    assert until(rig, "FAULTED") < 1.5
    assert rig.faults() == ["FORCE_REVERSED"]


def test_a_mass_that_hangs_on_the_head_may_pull_it_down() -> None:
    """Hang a mass on the head: the count falls where a shaft makes it rise, which is allowed below the limit."""
    rig = a_rig({"number": 2, "kind": "mass", "mass_g": 1000.0}, count_per_n=-NEWTON_COUNT)
    stepped(at_home(rig), 1, zero=True)
    assert stepped(rig, 2)["cause"] is None
    rig = a_rig({"number": 2, "kind": "mass", "mass_g": 1700.0}, count_per_n=-NEWTON_COUNT)
    stepped(at_home(rig), 1, zero=True)
    rig.begin([bench_step()], 2)
    until(rig, "FAULTED")
    assert rig.faults() == ["FORCE_LIMIT"]


# A converter that does not come as the board's file says


@pytest.mark.slow
@pytest.mark.parametrize(("interval_us", "ends"), [(100_000.0, "FAULTED"), (6_250.0, "HOLDING")])
def test_a_converter_at_another_rate(interval_us: float, ends: str) -> None:
    rig = a_rig(interval_us=interval_us)
    if ends == "FAULTED":
        until(rig, "FAULTED")
        rig.run(60)
        assert rig.faults() == ["CELL_SILENT"]
    else:
        assert measured(at_home(rig))["complete"]
