"""Feeder, chute and guards on the device: every row of its table for them, and a reset in every turn of its loop.

The world's file, which the device never reads, is the ledger of where each shaft went.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from device_rig import PHASES, Rig, bench_step, main, records, standard_steps

from parts import feeder  # isort: skip  # the device's, on the path by now
import world as worlds  # isort: skip

STANDARD = 90
STOCK = [{"number": number, "spine_thou": 480.0 + number} for number in (1, 2, 3, 4, 5)]
MOST_S = 10.0


def rig_with(stock: list[dict[str, Any]] | None = None, gauge: dict[str, Any] | None = None, **keys: Any) -> Rig:
    """Return a ready device with five shafts in its hopper, a check standard in its slot, and given feeder keys."""
    shafts = [*(stock or STOCK), {"number": STANDARD, "spine_thou": 500.0}]
    rig = Rig({"gauge": gauge or {}, "shafts": shafts, "feeder": {"slot": STANDARD, "return_place": 6} | keys})
    rig.ready()
    return rig


def where(rig: Rig, shaft: int) -> str:
    """Return where a shaft of the simulated world is, by its own number."""
    world = rig.board.world
    heaps = {"hopper": world._hopper, "slot": world._slot, "inlet": world._inlet, "rollers": world.on_rollers}
    return next((name for name, heap in heaps.items() if shaft in heap), "gone")


def lines(path: Path) -> list[str]:
    """Return the events of the world's file without their times."""
    return [line.split(" ", 1)[1] for line in path.read_text().splitlines()] if path.exists() else []


def codes(rig: Rig) -> list[str]:
    return [fault["code"] for fault in rig.all("Fault")]


def put(identify: dict[str, Any], *names: str) -> tuple[Any, ...]:
    """Return fields of Identify, or of the feeder's report in it."""
    told = identify | (identify.get("feeder") or {})
    return tuple(told[name] for name in names)


def cycle(shaft: int) -> dict[str, Any]:
    """Return the fields of the program of a standard cycle."""
    return {"shaft": shaft, "stand": False, "steps": standard_steps()}


def states(rig: Rig) -> list[str]:
    return [event["state"] for event in rig.all("Event")]


# The way of a shaft


def test_a_shaft_goes_through_the_gauge() -> None:
    rig = rig_with()
    rig.records.clear()
    identify = rig.feed(101)
    assert put(identify, "state", "in_gauge", "seated", "hopper", "slot", "fault") == (
        "LOADED", 101, True, True, True, None,
    )  # fmt: skip
    assert rig.measure(101)["complete"]
    assert rig.greet()["feeder"]["in_gauge"] == 101
    rig.acknowledge(101)
    assert rig.state == "LOADED"
    identify = rig.release(101, 3)
    assert put(identify, "state", "in_gauge", "seated", "fault") == ("IDLE", None, False, None)
    assert identify["feeder"]["last_release"] == {"shaft": 101, "place": 3, "done": True, "passed": 1}
    assert states(rig)[:3] == ["FEEDING", "LOADED", "RUNNING"]
    assert states(rig)[-4:] == ["LOADED", "SELECTING", "RELEASING", "IDLE"]
    assert where(rig, 1) == "gone"
    assert rig.feed(102)["feeder"]["in_gauge"] == 102
    assert where(rig, 2) == "rollers"


def test_the_shafts_are_measured_as_what_they_are() -> None:
    """Feed a soft shaft first: the number that the host gives a shaft says nothing about it."""
    rig = rig_with([{"number": 7, "spine_thou": 900.0}, {"number": 101, "spine_thou": 400.0}])
    deepest = []
    for number in (101, 102):
        rig.feed(number)
        rig.records.clear()
        assert rig.measure(number)["complete"]
        full = [block for block in rig.all("Readings") if block["phase"] == PHASES.index("FULL")]
        deepest.append(full[0]["press_steps"][0])
        rig.acknowledge(number)
        rig.release(number, 1)
    assert deepest[0] > 1.5 * deepest[1]


def test_a_check_standard_comes_from_its_slot_and_goes_back() -> None:
    rig = rig_with()
    identify = rig.feed(101, "SLOT")
    assert put(identify, "state", "in_gauge", "slot", "hopper") == ("LOADED", 101, False, True)
    identify = rig.release(101, 6)
    assert put(identify, "state", "slot") == ("IDLE", True)
    assert where(rig, STANDARD) == "slot"


def test_a_shaft_that_a_person_put_in_is_taken_as_it_lies() -> None:
    rig = rig_with(hands=[[5, 3, "rollers"]])
    rig.run(MOST_S)
    assert put(rig.greet(), "state", "seated", "in_gauge") == ("IDLE", True, None)
    assert put(rig.feed(101, "SEATED"), "state", "in_gauge") == ("LOADED", 101)
    assert where(rig, 1) == "hopper"
    assert rig.measure(101)["complete"]


def test_a_shaft_may_be_measured_again_and_released_unmeasured() -> None:
    rig = rig_with()
    rig.feed(101)
    for _ in range(2):
        assert rig.measure(101)["complete"]
        rig.acknowledge(101)
    assert rig.state == "LOADED"
    assert rig.release(101, 1)["feeder"]["last_release"]["done"]
    rig.feed(102)
    assert rig.release(102, 1)["feeder"]["last_release"] == {"shaft": 102, "place": 1, "done": True, "passed": 1}


def test_a_shaft_that_cannot_be_measured_stays_on_the_rollers() -> None:
    rig = rig_with([{"number": 1, "fault": "soft"}, *STOCK[1:]])
    rig.feed(101)
    assert not rig.measure(101)["complete"]
    assert put(rig.greet(), "state", "in_gauge", "fault") == ("HOLDING", 101, "TRAVEL_LIMIT")
    rig.acknowledge(101)
    assert put(rig.greet(), "state", "in_gauge", "fault") == ("LOADED", 101, None)
    assert rig.release(101, 5)["feeder"]["last_release"]["done"]


def test_a_gauge_without_a_feeder_is_what_it_was() -> None:
    rig = Rig({"shafts": STOCK})
    rig.ready()
    identify = rig.greet()
    assert put(identify, "feeder", "guards") == (None, 0)
    for request in (records.FEED, records.RELEASE):  # the part is not there at all
        assert request not in rig.device.answers.obey
    assert rig.device.gauge.parts == []
    assert rig.ask("Feed", shaft=1, source="HOPPER")["refusal"] == "NO_FEEDER"
    assert rig.ask("Release", shaft=1, place=1)["refusal"] == "NO_FEEDER"
    assert rig.measure(1)["complete"]
    rig.acknowledge(1)
    assert rig.state == "IDLE"
    assert "LOADED" not in states(rig)


def test_the_feeders_states_are_its_own() -> None:
    with_feeder, without = set(rig_with().device.gauge.table), set(Rig().device.gauge.table)
    added = {state for state, _ in with_feeder - without}
    assert {records.STATES[state] for state in added} == {
        "IDLE", "FEEDING", "LOADED", "HOLDING", "SELECTING", "RELEASING",
    }  # fmt: skip
    assert without < with_feeder
    assert records.STATES.index("FEEDING") > max(state for state, _ in without)


def test_a_person_may_still_measure_by_hand_on_a_gauge_with_a_feeder() -> None:
    rig = rig_with(hands=[[5, 3, "rollers"]])
    rig.run(MOST_S)
    assert rig.measure(3)["complete"]
    rig.acknowledge(3)
    assert put(rig.greet(), "state", "in_gauge", "seated") == ("IDLE", None, True)


def test_identify_tells_the_thermometer() -> None:
    assert rig_with().greet()["temperature_centi"] == 2100
    rig = rig_with(temperature_centi=-550, warming_centi_per_h=3600.0)
    rig.run(100 - rig.board.now_us / 1e6)
    assert -452 <= rig.greet()["temperature_centi"] <= -448
    assert rig_with(temperature_centi=None).greet()["temperature_centi"] is None


@pytest.mark.parametrize(
    ("thermometers", "end", "answer"),
    [
        ({}, (2100, False), (2100, False, None)),
        ({"temperature_centi": None}, (None, False), (None, False, None)),
        ({"temperature_centi": 2815, "shaft_centi": 1875}, (1875, True), (2815, True, 1875)),
        ({"shaft_centi": 1875, "no_sensor": [[0, 1e6]]}, (None, True), (2100, True, None)),
    ],
)
def test_the_end_has_the_temperature_by_the_shaft_or_else_the_chips(
    thermometers: dict[str, Any], end: tuple[Any, ...], answer: tuple[Any, ...]
) -> None:
    rig = rig_with(hands=[[5, 3, "rollers"]], **thermometers)
    rig.run(MOST_S)
    assert put(rig.measure(3), "temperature_centi", "by_shaft") == end
    assert put(rig.greet(), "temperature_centi", "sensor", "shaft_centi") == answer


# Repeats and refusals


def refusal(rig: Rig, name: str, **fields: Any) -> tuple[str | None, str]:
    reply = rig.ask(name, **fields)
    return reply["refusal"], reply["field"]


def test_repeating_an_order_does_no_harm() -> None:
    rig = rig_with()
    for _ in range(2):  # the second comes while the shaft rolls
        rig.send("Feed", shaft=101, source="HOPPER")
    rig.run(MOST_S)
    assert refusal(rig, "Feed", shaft=101, source="HOPPER") == (None, "")
    assert where(rig, 2) == "hopper"
    rig.send("Release", shaft=101, place=2)
    rig.run(0.1)
    assert rig.state == "SELECTING"
    assert refusal(rig, "Release", shaft=101, place=3) == ("WRONG_STATE", "")
    assert refusal(rig, "Release", shaft=101, place=2) == (None, "")
    rig.run(MOST_S)
    assert refusal(rig, "Release", shaft=101, place=2) == (None, "")
    assert rig.state == "IDLE"
    assert refusal(rig, "Release", shaft=101, place=3) == ("WRONG_STATE", "shaft")
    assert [reply["refusal"] for reply in rig.all("Reply")].count("WRONG_STATE") == 2
    assert rig.board.world._counts == {2: 1}


@pytest.mark.parametrize("shaft", [-1, 2**30])
def test_numbers_have_a_range(shaft: int) -> None:
    rig = rig_with()
    assert refusal(rig, "Feed", shaft=shaft, source="HOPPER") == ("OUT_OF_RANGE", "shaft")
    assert refusal(rig, "Release", shaft=shaft, place=1) == ("OUT_OF_RANGE", "shaft")


@pytest.mark.parametrize("place", [-1, 0, 7])
def test_places_have_a_range(place: int) -> None:
    rig = rig_with()
    rig.feed(101)
    assert refusal(rig, "Release", shaft=101, place=place) == ("OUT_OF_RANGE", "place")
    assert rig.state == "LOADED"


def test_a_shaft_is_fed_only_where_none_lies() -> None:
    rig = rig_with(hands=[[60, 3, "rollers"]])
    assert refusal(rig, "Feed", shaft=101, source="SEATED") == ("WRONG_STATE", "source")
    rig.feed(101)
    assert refusal(rig, "Feed", shaft=102, source="HOPPER") == ("WRONG_STATE", "")
    rig.release(101, 1)
    rig.run(60)
    assert refusal(rig, "Feed", shaft=102, source="HOPPER") == ("WRONG_STATE", "source")
    assert refusal(rig, "Feed", shaft=102, source="SLOT") == ("WRONG_STATE", "source")
    assert rig.state == "IDLE"


def test_only_the_shaft_in_the_gauge_is_measured_and_released() -> None:
    rig = rig_with()
    assert refusal(rig, "Release", shaft=101, place=1) == ("WRONG_STATE", "shaft")
    rig.feed(101)
    assert refusal(rig, "Program", **cycle(102)) == ("WRONG_STATE", "shaft")
    assert refusal(rig, "Release", shaft=102, place=1) == ("WRONG_STATE", "shaft")
    assert rig.state == "LOADED"


def test_nothing_is_fed_or_released_while_readings_are_held() -> None:
    rig = rig_with()
    rig.feed(101)
    rig.measure(101)
    assert rig.state == "HOLDING"
    assert refusal(rig, "Release", shaft=101, place=1) == ("WRONG_STATE", "")
    assert refusal(rig, "Feed", shaft=102, source="HOPPER") == ("WRONG_STATE", "")
    rig = rig_with([{"number": 1, "fault": "stiff_jam"}, *STOCK[1:]])
    rig.feed(101)
    rig.measure(101, until="FAULTED")
    rig.order("CLEAR_FAULT")
    rig.run_to("IDLE")
    assert refusal(rig, "Feed", shaft=101, source="SEATED") == ("WRONG_STATE", "")
    rig.acknowledge(101)
    assert rig.feed(101, "SEATED")["state"] == "LOADED"


@pytest.mark.parametrize("state", ["FEEDING", "SELECTING", "RELEASING", "RUNNING"])
def test_nothing_else_is_obeyed_while_something_moves(state: str) -> None:
    rig = rig_with()
    way = {"RUNNING": 1, "SELECTING": 2, "RELEASING": 2}.get(state, 0)
    orders = [("Feed", {"shaft": 101, "source": "HOPPER"}), ("Program", cycle(101))]
    orders = [orders[0], orders[1] if way == 1 else ("Release", {"shaft": 101, "place": 1})]
    for name, fields in orders[: 1 + (way > 0)]:
        rig.send(name, **fields)
        rig.run_to("FEEDING" if state == "FEEDING" else "LOADED" if name == "Feed" else state)
    assert refusal(rig, "Feed", shaft=102, source="HOPPER")[0] == "WRONG_STATE"
    assert refusal(rig, "Release", shaft=102, place=1)[0] == "WRONG_STATE"
    assert refusal(rig, "Program", **cycle(102))[0] == "WRONG_STATE"
    if state in ("FEEDING", "SELECTING", "RELEASING"):
        assert refusal(rig, "Command", order="STOP") == (None, "")  # it ends by itself
        rig.run_to("LOADED" if state == "FEEDING" else "IDLE")
        assert codes(rig) == []


# What can go wrong on the way in


def test_an_empty_hopper_is_told_and_nothing_moves() -> None:
    rig = rig_with(hopper=[], slot=None)
    for source in ("HOPPER", "SLOT"):
        identify = rig.feed(101, source)
        assert put(identify, "state", "in_gauge", "seated", "fault") == ("IDLE", None, False, "HOPPER_EMPTY")
    assert not rig.board.world.handling()
    assert rig.last("Fault")["state"] == "FEEDING"


def test_a_short_shaft_is_told_and_may_be_released() -> None:
    rig = rig_with(short=[1])
    identify = rig.feed(101)
    assert put(identify, "state", "in_gauge", "seated", "fault") == ("LOADED", 101, True, "SHAFT_SHORT")
    assert rig.last("Fault")["detail"] & feeder.ENDS == feeder.LEFT_END
    identify = rig.release(101, 5)
    assert put(identify, "state", "fault") == ("IDLE", None)
    assert identify["feeder"]["last_release"] == {"shaft": 101, "place": 5, "done": True, "passed": 1}


def test_two_shafts_are_told_and_go_together() -> None:
    rig = rig_with(two_at_once=[1])
    assert put(rig.feed(101), "state", "in_gauge", "fault") == ("LOADED", 101, "TWO_SHAFTS")
    identify = rig.release(101, 5)
    assert put(identify, "state", "seated") == ("IDLE", False)
    assert identify["feeder"]["last_release"] == {"shaft": 101, "place": 5, "done": True, "passed": 2}
    assert rig.board.world._counts == {5: 2}
    assert rig.feed(102)["fault"] is None
    assert where(rig, 3) == "rollers"


def test_a_shaft_that_does_not_arrive_is_a_jam() -> None:
    rig = rig_with(jam_in=[1], person_s=60)
    identify = rig.feed(101)
    assert put(identify, "state", "in_gauge", "seated", "fault") == ("FAULTED", None, False, "JAM")
    assert rig.last("Fault")["state"] == "FEEDING"
    rig.run(90)  # a person takes it out
    assert where(rig, 1) == "gone"
    rig.order("CLEAR_FAULT")
    rig.run_to("IDLE")
    assert put(rig.feed(102), "in_gauge", "fault") == (102, None)
    assert where(rig, 2) == "rollers"


# What can go wrong on the way out


def test_a_shaft_that_sticks_gets_three_openings() -> None:
    rig = rig_with(jam_out=[[1, 3], [2, 4]])
    rig.feed(101)
    assert put(rig.release(101, 1), "state", "fault") == ("IDLE", None)
    rig.feed(102)
    identify = rig.release(102, 2)
    assert put(identify, "state", "seated", "in_gauge", "fault") == ("FAULTED", True, 102, "JAM")
    assert identify["feeder"]["last_release"] == {"shaft": 102, "place": 2, "done": False, "passed": 0}
    assert not rig.board.world._open
    rig.order("CLEAR_FAULT")
    rig.run_to("IDLE")
    assert put(rig.greet(), "seated", "in_gauge", "fault") == (True, None, None)
    rig.feed(102, "SEATED")
    assert rig.release(102, 2)["feeder"]["last_release"] == {"shaft": 102, "place": 2, "done": True, "passed": 1}


def test_a_passage_that_the_chute_did_not_see_is_counted_as_none() -> None:
    rig = rig_with(unseen=[1])
    rig.feed(101)
    identify = rig.release(101, 1)
    assert put(identify, "state", "seated", "fault") == ("IDLE", False, None)
    assert identify["feeder"]["last_release"] == {"shaft": 101, "place": 1, "done": True, "passed": 0}


@pytest.mark.slow
def test_a_shaft_that_stays_in_the_chute_is_a_full_place() -> None:
    rig = rig_with(full=[[1, 1]], person_s=300)
    for number, faults in ((101, []), (102, ["BIN_FULL"])):
        rig.feed(number)
        identify = rig.release(number, 1)
        assert identify["feeder"]["last_release"] == {"shaft": number, "place": 1, "done": True, "passed": 1}
        assert (identify["feeder"]["in_gauge"], codes(rig)) == (None, faults)
    assert put(identify, "state", "fault") == ("FAULTED", "BIN_FULL")
    rig.order("CLEAR_FAULT")
    rig.run_to("IDLE")
    rig.feed(103)
    identify = rig.release(103, 1)  # it has not been emptied yet: the gate stays shut
    assert put(identify, "state", "fault", "in_gauge", "seated") == ("FAULTED", "BIN_FULL", 103, True)
    assert identify["feeder"]["last_release"] == {"shaft": 102, "place": 1, "done": True, "passed": 1}
    assert rig.last("Fault")["state"] == "SELECTING"
    rig.order("CLEAR_FAULT")
    rig.run_to("IDLE")
    rig.feed(103, "SEATED")
    assert rig.release(103, 2)["feeder"]["last_release"]["place"] == 2  # another place has room
    rig.run(300)
    rig.feed(104)
    assert put(rig.release(104, 1), "state", "fault") == ("IDLE", None)


def test_a_record_that_cannot_be_kept_keeps_the_gate_shut() -> None:
    rig = rig_with()
    rig.feed(101)

    def fail(*_: Any) -> None:
        raise OSError(28)

    rig.device.gauge.parts[0]._hardware.release_write = fail
    identify = rig.release(101, 1)
    assert put(identify, "state", "fault", "seated", "last_release") == ("FAULTED", "INTERNAL", True, None)
    assert where(rig, 1) == "rollers"


# Guards


def go_to(rig: Rig, state: str) -> None:
    """Bring the device into a state of a shaft's way."""
    if state in ("STARTING", "HOMING"):
        return
    rig.send("Feed", shaft=101, source="HOPPER")
    rig.run_to("FEEDING" if state == "FEEDING" else "LOADED")
    if state in ("SELECTING", "RELEASING"):
        rig.send("Release", shaft=101, place=1)
    elif state != "FEEDING":
        rig.send("Program", **cycle(101))
    if state == "RETRACTING":
        rig.run_to("RUNNING")
        rig.run(4)
        rig.send("Command", order="STOP")
    rig.run_to(state)


AT_REST = ("IDLE", "HOLDING", "FAULTED", "STANDING", "LOADED")
BY_A_SHAFT = [
    name for name in records.STATES if name not in (*AT_REST, "STARTING", "HOMING")
]  # each on a shaft's way through the gauge


@pytest.mark.parametrize(("guard", "code"), [("lid", "LID_OPEN"), ("stop", "EMERGENCY_STOP")])
@pytest.mark.parametrize("state", BY_A_SHAFT)
def test_a_guard_ends_all_motion_at_once(state: str, guard: str, code: str) -> None:
    rig = rig_with()
    go_to(rig, state)
    rig.board.world.lasting.add(guard)
    rig.board.world._look()
    at = [rig.board.press.at, rig.board.rotate.at]
    rig.step()
    assert rig.state == "FAULTED"
    assert codes(rig)[-1] == code
    assert not rig.board.press.moving()
    assert not rig.board.rotate.moving()
    now = [rig.board.press.at, rig.board.rotate.at]
    assert all(abs(a - b) <= 12000 * 0.013 for a, b in zip(at, now, strict=True))  # one turn of the loop at most
    rig.run(5)
    assert [rig.board.press.at, rig.board.rotate.at] == now  # nothing retracts: a hand may be there
    assert rig.greet()["fault"] == code
    if rig.device.held.shaft is not None:
        end = rig.last("EndOfShaft")
        assert (end["complete"], end["cause"]) == (False, "STOPPED_BY_HOST" if state == "RETRACTING" else code)
        rig.acknowledge(101)
    clear = {"order": "CLEAR_FAULT"}
    assert refusal(rig, "Command", **clear) == ("NOT_SAFE", guard)
    rig.board.world.lasting.clear()
    rig.board.world._look()
    assert refusal(rig, "Command", **clear) == (None, "")
    rig.run_to("IDLE")
    assert rig.greet()["fault"] is None


@pytest.mark.slow
@pytest.mark.parametrize(("guard", "code"), [("lid", "LID_OPEN"), ("stop", "EMERGENCY_STOP")])
def test_with_an_open_guard_nothing_starts(guard: str, code: str) -> None:
    rig = Rig({"feeder": {guard: [[0, 60]]}})
    rig.device.gauge.state = records.STARTING
    rig.board.world.lasting.add(guard)
    rig.board.world._look()
    rig.device = main.Device(rig.board)
    assert rig.state == "FAULTED"
    rig.run(30)
    assert rig.board.press.at == 800  # 2 mm below home, where the scenario left it
    assert put(rig.greet(), "state", "fault") == ("FAULTED", code)
    rig.run(60)
    rig.order("CLEAR_FAULT")
    rig.run_to("IDLE")


@pytest.mark.slow
def test_at_rest_a_guard_only_refuses_orders() -> None:
    rig = rig_with(lid=[[100, 100]])
    rig.feed(101)
    rig.run(100)
    assert rig.state == "LOADED"
    assert refusal(rig, "Release", shaft=101, place=1) == ("NOT_SAFE", "lid")
    assert refusal(rig, "Program", **cycle(101)) == ("NOT_SAFE", "lid")
    assert refusal(rig, "Feed", shaft=101, source="HOPPER") == (None, "")  # done already
    rig.run(100)
    assert codes(rig) == []
    assert rig.measure(101)["complete"]


def test_the_bench_minds_the_guards_too() -> None:
    rig = rig_with(stop=[[60, 30]])
    rig.bench(1, press_steps=None, zero=True)
    rig.acknowledge(1)
    rig.run(60)
    assert rig.state == "STANDING"
    again = {"shaft": 2, "stand": True, "steps": [bench_step(press_steps=400)]}
    assert refusal(rig, "Program", **again) == ("NOT_SAFE", "stop")
    assert refusal(rig, "Command", order="STOP") == ("NOT_SAFE", "stop")  # the head would go home
    assert refusal(rig, "Command", order="CLEAR_FAULT") == ("NOT_SAFE", "stop")


def test_an_input_that_is_not_configured_says_nothing() -> None:
    rig = rig_with(guards=2, lid=[[0, 1000]])
    assert rig.greet()["guards"] == 2
    assert rig.feed(101)["state"] == "LOADED"


# Lost steps, configuration


@pytest.mark.parametrize("lost", [100, 64, -64, 33])
def test_lost_steps_are_found_on_the_way_home(lost: int) -> None:
    """Let a motor slip by four full steps, 64 microsteps, at once; with a negative sign on its way up."""
    rig = rig_with([{"number": 1, "lost_steps": lost}, *STOCK[1:]])
    rig.feed(101)
    end = rig.measure(101, until="FAULTED")
    assert (end["complete"], end["cause"]) == (False, "LOST_STEPS")
    assert abs(rig.last("Fault")["detail"] - lost) <= 1
    assert put(rig.greet(), "fault", "in_gauge") == ("LOST_STEPS", 101)
    rig.acknowledge(101)
    rig.order("CLEAR_FAULT")
    rig.run_to("IDLE")
    assert put(rig.feed(101, "SEATED"), "state", "fault") == ("LOADED", None)
    rig.release(101, 1)
    rig.feed(102)
    assert rig.measure(102)["complete"]


@pytest.mark.parametrize("lost", [0, 10, -10])
def test_a_switch_that_repeats_to_a_few_steps_is_no_fault(lost: int) -> None:
    rig = rig_with([{"number": 1, "lost_steps": lost}, *STOCK[1:]])
    rig.feed(101)
    assert rig.measure(101)["complete"]
    assert codes(rig) == []


def test_a_board_with_a_wrong_setting_says_so_and_moves_nothing() -> None:
    rig = Rig({"feeder": {"misconfigured": 7}})
    rig.run(10)
    assert put(rig.greet(), "state", "fault") == ("FAULTED", "CONFIGURATION")
    assert put(rig.last("Fault"), "code", "state", "detail") == ("CONFIGURATION", "STARTING", 7)
    assert refusal(rig, "Command", order="CLEAR_FAULT") == ("WRONG_STATE", "")
    assert refusal(rig, "Feed", shaft=1, source="HOPPER") == ("WRONG_STATE", "")
    assert rig.board.press.at == 800


# The cell while shafts are handled


def test_a_cell_that_fails_while_a_shaft_rolls_waits_until_it_lies() -> None:
    rig = rig_with(silent=[[20, 5]])
    rig.run(20.1 - rig.board.now_us / 1e6 - 0.1)
    rig.send("Feed", shaft=101, source="HOPPER")
    rig.run_to("FAULTED")
    assert states(rig)[-3:] == ["FEEDING", "LOADED", "FAULTED"]
    assert put(rig.greet(), "in_gauge", "fault") == (101, "CELL_SILENT")


@pytest.mark.slow
def test_noise_comes_and_goes() -> None:
    rig = rig_with(noisy=[[20, 1000]])
    quiet, loud = [], []
    for number, counts in ((101, quiet), (102, loud)):
        rig.feed(number)
        rig.records.clear()
        rig.measure(number)
        zero = [block for block in rig.all("Readings") if block["phase"] == PHASES.index("ZERO_BEFORE")]
        counts += [abs(change) for block in zero for change in block["counts"][1:]]
        rig.acknowledge(number)
        rig.release(number, 1)
        rig.run(15)
    assert sum(loud) / len(loud) > 10 * sum(quiet) / len(quiet)


# A reset at any instant: nothing is lost, and no record lies


def new_device(scenario: dict[str, Any]) -> Rig:
    rig = Rig(scenario)
    rig.run_to("IDLE")
    return rig


def scenario_in(folder: Path, **keys: Any) -> dict[str, Any]:
    files = {"world": str(folder / "world.txt"), "record": str(folder / "record.json")}
    shafts = [{"number": 1}, {"number": 2}]
    return {"shafts": shafts, "feeder": {"places": 4, **files, **keys}}


def resets(order: tuple[str, dict[str, Any]], folder: Path, **keys: Any) -> list[tuple[dict[str, Any], list[str]]]:
    """Return Identify and the ledger after a reset in every turn of an order's loop.

    A reset leaves only the two files, so each is a new device on a copy of them.
    """
    going = folder / "going"
    going.mkdir()
    rig = new_device(scenario_in(going, **keys))
    rig.greet()
    if order[0] == "Release":
        rig.feed(101)
    rig.send(order[0], **order[1])
    found = []
    for turn in range(10_000):
        rig.step()
        at = folder / str(turn)
        shutil.copytree(going, at)
        found.append((new_device(scenario_in(at, **keys)).greet(), lines(at / "world.txt")))
        if rig.state in ("LOADED", "IDLE", "FAULTED") and turn > 5:
            return found
    raise AssertionError("the order has no end")


@pytest.mark.slow
def test_a_reset_while_a_shaft_comes_leaves_it_in_one_place(tmp_path: Path) -> None:
    found = resets(("Feed", {"shaft": 101, "source": "HOPPER"}), tmp_path)
    for identify, ledger in found:
        assert put(identify, "state", "in_gauge", "last_release", "fault") == ("IDLE", None, None, None)
        assert ledger == (["1 rollers"] if identify["feeder"]["seated"] else [])
    assert {identify["feeder"]["seated"] for identify, _ in found} == {False, True}


@pytest.mark.slow
def test_a_reset_while_a_shaft_goes_leaves_no_false_record(tmp_path: Path) -> None:
    found = resets(("Release", {"shaft": 101, "place": 3}), tmp_path)
    kinds = []
    for identify, ledger in found:
        gone, last = ledger[-1] == "1 place 3", identify["feeder"]["last_release"]
        assert identify["feeder"]["seated"] != gone
        assert ledger[0] == "1 rollers"
        if last is not None:
            assert (last["shaft"], last["place"]) == (101, 3)
            assert last["passed"] == (1 if last["done"] else 0)
            assert gone or not last["done"]
        kinds.append((gone, last and last["done"]))
    in_order = [(False, None), (False, False), (True, False), (True, True)]
    assert sorted(kinds, key=in_order.index) == kinds
    assert set(kinds) == set(in_order)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("keys", "placed", "seen"),
    [({"jam_out": [[1, 3]]}, 1, 1), ({"two_at_once": [1]}, 2, 2), ({"unseen": [1]}, 1, 0), ({"full": [[3, 0]]}, 1, 1)],
    ids=["stuck", "two", "unseen", "full"],
)
def test_a_reset_in_a_release_that_goes_wrong_leaves_no_false_record(
    tmp_path: Path, keys: dict[str, Any], placed: int, seen: int
) -> None:
    for identify, ledger in resets(("Release", {"shaft": 101, "place": 3}), tmp_path, **keys):
        gone = [line for line in ledger if line.endswith("place 3")]
        last = identify["feeder"]["last_release"]
        assert identify["feeder"]["seated"] == (len(gone) < placed)
        if last is not None:
            assert put(last, "shaft", "place") == (101, 3)
            assert not last["done"] or (len(gone), last["passed"]) == (placed, seen)
    assert last["done"]


def test_the_scenario_resets_the_device_at_a_time(tmp_path: Path) -> None:
    scenario = scenario_in(tmp_path, reset=[5])
    rig = new_device(scenario)
    rig.greet()
    rig.feed(101)
    with pytest.raises(worlds.Reset):
        rig.run(10)
    rig = new_device(scenario)
    rig.run(20)
    assert put(rig.greet(), "state", "seated", "in_gauge") == ("IDLE", True, None)
    assert lines(tmp_path / "world.txt") == ["1 rollers", "- reset"]


def test_two_shafts_are_still_two_after_a_reset(tmp_path: Path) -> None:
    scenario = scenario_in(tmp_path, two_at_once=[1])
    rig = new_device(scenario)
    rig.greet()
    rig.feed(101)
    rig = new_device(scenario)
    assert put(rig.greet(), "seated", "in_gauge") == (True, None)
    assert put(rig.feed(101, "SEATED"), "state", "fault") == ("LOADED", "TWO_SHAFTS")
    assert rig.release(101, 2)["feeder"]["last_release"] == {"shaft": 101, "place": 2, "done": True, "passed": 2}


# The table of faults


def test_every_fault_of_feeder_and_guards_is_in_this_file() -> None:
    first, last = map(records.FAULT_CODES.index, ("LOST_STEPS", "CONFIGURATION"))
    new = records.FAULT_CODES[first : last + 1]
    text = Path(__file__).read_text(encoding="utf-8")
    assert [code for code in new if f'"{code}"' not in text] == []
