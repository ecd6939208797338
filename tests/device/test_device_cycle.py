"""The state table's promises, a whole cycle under both interpreters, and its use of the heap."""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import tty
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from device_rig import (
    CYCLE,
    DEVICE,
    FINGERPRINT,
    MICROPYTHON,
    PHASES,
    Rig,
    bench_step,
    datum,
    framed,
    gauge,
    needs_micropython,
    on_micropython,
    record,
    records,
    rows,
    standard_steps,
    unframed,
)  # fmt: skip

from parts import feeder  # isort: skip  # the device's

SCENARIO: dict[str, Any] = {
    "seed": 5,
    "gauge": {"spike_chance": 0.002, "drop_chance": 0.002, "repeat_chance": 0.002},
    "shafts": [{"number": 3, "spine_thou": 500, "spread_thou": 6, "stiff_side_deg": 30, "bow_mm": 0.1}],
}
TABLE = gauge.TABLE | feeder.transitions(feeder.Feeder)
STATES = range(len(records.STATES))
EVENTS = sorted({event for _, event in TABLE})
UP = ("HOMING", "RETRACTING")  # the head goes home already: nothing safer can be done
CELL_FAULTS = [code for code in records.FAULT_CODES if code.startswith("CELL")]


def device_in(state: int) -> Rig:
    """Return a device, feeder included, that was put into a state."""
    rig = Rig({"feeder": {"hopper": []}})
    rig.run_to("IDLE")
    rig.device.gauge.state = state
    return rig


def snapshot(rig: Rig) -> dict[str, Any]:
    """Return all values that an event could change."""
    values = {}
    for part in (rig.device.gauge, rig.device.gauge.run, *rig.device.gauge.parts):
        values |= {(id(part), name): value for name, value in vars(part).items() if isinstance(value, (int, str))}
    positions = [rig.board.press.at, rig.board.rotate.at]
    return {**values, "at": positions, "out": bytes(rig.device.outbox._out)}


def test_an_event_without_transition_raises_and_changes_nothing() -> None:
    refused = 0
    for state in STATES:
        rig = device_in(state)
        before = snapshot(rig)
        for event in [*EVENTS, "nonsense"]:
            if (state, event) not in TABLE:
                with pytest.raises(gauge.StateError) as caught:
                    rig.device.gauge.handle(event)
                assert caught.value.args == (f"{event} in {records.STATES[state]}",)
                assert snapshot(rig) == before
                refused += 1
    assert refused > 100


def test_every_state_is_reached_and_leads_to_idle() -> None:
    leads_to = {state: {after for (before, _), (after, _) in TABLE.items() if before == state} for state in STATES}
    assert set().union(*leads_to.values()) == set(STATES) - {records.STARTING}
    for state in STATES:
        seen, front = set(), {state}
        while front:
            seen |= front
            front = set().union(*(leads_to[reached] for reached in front)) - seen
        assert records.IDLE in seen, records.STATES[state]


@pytest.mark.parametrize("state", ["HOMING", "RUNNING", "RETRACTING"])
def test_every_state_in_which_the_press_moves_has_a_way_out(state: str) -> None:
    number = records.STATES.index(state)
    for event in [*CELL_FAULTS, "INTERNAL"]:
        assert records.STATES[gauge.TABLE[number, event][0]] in (*UP, "FAULTED")
    assert records.STATES[gauge.TABLE[number, "LID_OPEN"][0]] == "FAULTED"
    if state not in UP:
        for event in ("HOST_SILENT", "STOPPED_BY_HOST", "BUFFER_FULL", "STEP_OVERTIME", "FORCE_LIMIT", "TRAVEL_LIMIT"):
            assert gauge.TABLE[number, event][0] == records.RETRACTING


def test_a_head_that_stands_fears_no_silence_and_every_fault_of_the_cell() -> None:
    allowed = {event for state, event in TABLE if state == records.STANDING}
    assert "HOST_SILENT" not in allowed
    assert {"run", "clear", "INTERNAL", "HOME_STUCK", *CELL_FAULTS} <= allowed


# A whole cycle

ORDER = [
    "SEATING", "ZERO_BEFORE", "APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN", "LIGHT_AGAIN", "LIFT", "ZERO_AFTER",
]  # fmt: skip
INTERVAL_US = 12500 / 1.015  # the rehearsal's converter is fast by that


@pytest.fixture(scope="module")
def measured() -> Rig:
    """Return a shaft measured with the standard cycle."""
    rig = Rig({"shafts": SCENARIO["shafts"]})
    rig.ready()
    rig.measure(3)
    return rig


def test_states_come_in_their_order(measured: Rig) -> None:
    events = [event for event in measured.all("Event") if event["shaft"] == 3]
    assert [(event["previous"], event["state"]) for event in events] == [("IDLE", "RUNNING"), ("RUNNING", "HOLDING")]
    assert measured.sequences == list(range(len(measured.sequences)))


def test_every_record_carries_the_boot_number(measured: Rig) -> None:
    assert {fields["boot"] for _, fields in measured.records} == {measured.board.boot}


def test_blocks_are_numbered_without_gaps(measured: Rig) -> None:
    blocks, end = measured.all("Readings"), measured.last("EndOfShaft")
    assert [block["block"] for block in blocks] == list(range(len(blocks)))
    sizes = [len(block["counts"]) for block in blocks]
    assert [block["first"] for block in blocks] == [sum(sizes[:i]) for i in range(len(sizes))]
    assert (end["blocks"], end["readings"]) == (len(blocks), sum(sizes))
    assert (end["complete"], end["cause"]) == (True, None)
    assert [PHASES[tag] for tag in dict.fromkeys(block["phase"] for block in blocks)] == ORDER


@pytest.mark.parametrize("phase", ["ZERO_BEFORE", "ZERO_AFTER"])
def test_zeros_have_their_readings_without_contact(measured: Rig, phase: str) -> None:
    readings = rows(measured.all("Readings"), phase)
    assert [row["status"] for row in readings] == 8 * [1] + 40 * [0]
    assert {row["press_steps"] for row in readings} == {0}
    assert len({row["rotate_steps"] for row in readings}) == 1
    assert all(abs(row["counts"] - 50000) < 500 for row in readings)


@pytest.mark.parametrize("phase", ["LIGHT", "FULL", "LIGHT_AGAIN"])
def test_a_turn_is_exact_and_covers_its_angle_with_settled_readings(measured: Rig, phase: str) -> None:
    ordered = next(s for s in standard_steps() if s["phase"] == PHASES.index(phase))["rotate_steps"]
    readings = rows(measured.all("Readings"), phase)
    good = [row for row in readings if row["status"] == 0]
    first = readings.index(good[0])
    assert readings[first : first + len(good)] == good  # one stretch, between the ramps
    turned = good[-1]["rotate_steps"] - good[0]["rotate_steps"]
    assert CYCLE["turn_steps"] - 2 * 15 < turned < ordered  # a reading comes every 14.6 steps
    assert len({row["press_steps"] for row in readings}) == 1
    step_us = [
        (b["tick_us"] - a["tick_us"]) / (b["rotate_steps"] - a["rotate_steps"])
        for a, b in zip(good, good[40:], strict=False)
    ]
    period_us = 1e6 / CYCLE["rotate_speed"]
    assert period_us * 0.997 < min(step_us) <= max(step_us) < period_us * 1.003  # constant speed throughout


def test_turns_add_up_exactly(measured: Rig) -> None:
    ordered = sum(step["rotate_steps"] for step in standard_steps())
    assert measured.device.gauge.rotate.position() == ordered
    assert measured.board.rotate.at == ordered


def test_loads_are_those_of_the_program_and_light_is_met_again(measured: Rig) -> None:
    first = {phase: rows(measured.all("Readings"), phase)[0] for phase in ("LIGHT", "FULL", "LIGHT_AGAIN")}
    assert 1.0 <= (first["LIGHT"]["counts"] - 50000) / CYCLE["light_count"] < 2.0  # at 10 mm/s, filter and all
    assert 1.0 <= (first["FULL"]["counts"] - 50000) / CYCLE["full_count"] < 1.15
    assert first["LIGHT_AGAIN"]["press_steps"] == first["LIGHT"]["press_steps"]
    back = rows(measured.all("Readings"), "RETURN")
    past = first["LIGHT"]["press_steps"] - min(row["press_steps"] for row in back)
    assert CYCLE["takeup_steps"] / 2 < past <= CYCLE["takeup_steps"]  # the turning point lies between two readings


@pytest.mark.parametrize("phase", ["DEEPEN", "LIFT"])
def test_readings_of_a_moving_press_are_marked(measured: Rig, phase: str) -> None:
    readings = rows(measured.all("Readings"), phase)
    moving = [row for row in readings if row["press_steps"] != readings[-1]["press_steps"]]
    assert len(moving) > 20
    assert all(row["status"] & 1 for row in moving)


def test_sampling_time_is_that_of_the_good_readings(measured: Rig) -> None:
    blocks, end = measured.all("Readings"), measured.last("EndOfShaft")
    good = sum(row["status"] == 0 for row in rows(blocks))
    assert abs(end["sampling_ms"] - good * INTERVAL_US / 1000) < 0.01 * end["sampling_ms"]


def test_a_reading_takes_few_bytes_on_the_line(measured: Rig) -> None:
    blocks = measured.all("Readings")
    assert sum(len(framed(0, datum("Readings", block))) for block in blocks) <= 6 * len(rows(blocks))


def test_readings_are_one_interval_apart(measured: Rig) -> None:
    gaps = [b["tick_us"] - a["tick_us"] for a, b in pairwise(rows(measured.all("Readings")))]
    assert all(abs(gap - INTERVAL_US) < 100 for gap in gaps)


def test_the_clock_may_wrap_in_a_cycle() -> None:
    rig = Rig({"shafts": SCENARIO["shafts"]}, first_tick_us=2**30 - 6_000_000)
    rig.ready()
    end = rig.measure(3)
    assert end["complete"]
    assert 8000 < end["duration_ms"] < 10000
    starts = [block["tick_us"] for block in rig.all("Readings")]
    assert max(starts) > 2**30 - 10**6
    assert min(starts) < 10**6


# Both interpreters


def conversation(command: list[str], folder: Path) -> list[tuple[str, dict[str, Any]]]:
    """Return what the device sends over a pty while a shaft is measured."""
    scenario = folder / "scenario.json"
    scenario.write_text(json.dumps(SCENARIO))
    host, near = os.openpty()
    tty.setraw(near)
    process = subprocess.Popen([*command, str(DEVICE / "rehearsal/run.py"), str(scenario)], stdin=near, stdout=near)
    os.close(near)
    try:
        return _measured_over(host)
    finally:
        os.close(host)
        assert process.wait(10) == 0


def _measured_over(host: int) -> list[tuple[str, dict[str, Any]]]:
    said: list[tuple[str, dict[str, Any]]] = []
    rest = b""

    def listen(until: str) -> None:
        nonlocal rest
        while not any(name == until or fields.get("state") == until for name, fields in said):
            assert select.select([host], [], [], 10)[0], "the device fell silent"
            whole, _, rest = (rest + os.read(host, 65536)).rpartition(b"\0")
            said.extend(record(data) for _, data in unframed(whole))
            os.write(host, framed(0, datum("Command", {"order": "KEEP_ALIVE"})))

    os.write(host, framed(0, datum("Greet", {"protocol_major": 2, "protocol_minor": 1, "fingerprint": FINGERPRINT})))
    listen("IDLE")
    os.write(host, framed(1, datum("Program", {"shaft": 3, "stand": False, "steps": standard_steps()})))
    listen("EndOfShaft")
    return said


def columns(said: list[tuple[str, dict[str, Any]]]) -> list[tuple[Any, ...]]:
    """Return readings with times since the first of their block, which do not depend on when the host spoke."""
    blocks = [fields for name, fields in said if name == "Readings"]
    blocks[0]["unusual"][0]["status"] &= ~8  # the time since the reading before the program
    return [
        (
            block["phase"], block["rotate_steps"], block["press_steps"], block["counts"], block["unusual"],
            [late + block["interval_us"] for late in block["lateness_us"][1:]],
        )
        for block in blocks
    ]  # fmt: skip


@pytest.mark.process
@needs_micropython
def test_both_interpreters_say_the_same(tmp_path: Path) -> None:
    assert MICROPYTHON is not None
    chip = conversation([MICROPYTHON, "-X", "heapsize=384K"], tmp_path)
    here = conversation([sys.executable], tmp_path)
    assert columns(chip) == columns(here)
    assert len(columns(chip)) > 15
    assert chip[-1][1] | {"boot": 0} == here[-1][1] | {"boot": 0}


TURNING = {"readings": 600, "rotate_steps": 2000, "rotate_speed": 400, "press_steps": 2000}
ORDERS = {
    "cycle": [(1, False, standard_steps()), (1, False, standard_steps())],
    "calibration": [
        (1, True, [bench_step(zero=True)]), (2, True, [bench_step(**TURNING)]),
        (3, True, [bench_step(**(TURNING | {"press_steps": 0}))]),
    ],
}  # fmt: skip


@pytest.mark.process
@needs_micropython
@pytest.mark.parametrize("what", ORDERS)
def test_sampling_takes_next_to_nothing_from_the_heap(what: str) -> None:
    orders = [[shaft, stand, [_values(s) for s in steps]] for shaft, stand, steps in ORDERS[what]]
    result = json.loads(on_micropython("memory_on_device.py", given=json.dumps(orders)))
    assert result["cause"] is None
    assert result["readings"] > 600
    assert result["quiet"] > 600
    assert result["quiet_bytes"] <= (2 * len(ORDERS[what][-1][2]) + 4) * 32  # a pair is made to look up each event
    assert result["most"] < 512
    assert result["total_bytes"] < 16384  # frames, events and the host's requests, collected between shafts
    assert result["heap_left"] > 65536


def _values(step: dict[str, Any]) -> list[Any]:
    """Return a step's fields in the order of the schema, its fault by number."""
    codes = records.FAULT_CODES
    return [codes.index(value) if isinstance(value, str) else value for value in step.values()]


@pytest.mark.process
@needs_micropython
def test_what_a_slow_line_leaves_waits_in_one_buffer_that_is_filled_anew_when_empty() -> None:
    result = json.loads(on_micropython("outbox_on_device.py"))
    assert result["emptied"] > 5
    assert result["waiting_most"] > 1500
    assert result["most"] < 512
    assert result["broken"] == 0
