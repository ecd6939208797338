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
    DEVICE,
    FINGERPRINT,
    MICROPYTHON,
    PLAN,
    STEP,
    Rig,
    cycle,
    datum,
    framed,
    needs_micropython,
    on_micropython,
    record,
    records,
    rows,
    unframed,
)  # fmt: skip

SCENARIO: dict[str, Any] = {
    "seed": 5,
    "gauge": {"spike_chance": 0.002, "drop_chance": 0.002, "repeat_chance": 0.002},
    "shafts": [{"number": 3, "spine_thou": 500, "spread_thou": 6, "stiff_side_deg": 30, "bow_mm": 0.1}],
}
STATES = range(len(records.STATES))
EVENTS = sorted({event for _, event in cycle.TABLE})
MOVING = [records.STATES.index(name) for name in (
    "HOMING", "SEATING", "APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN", "LIGHT_AGAIN", "LIFT", "RETRACTING", "BENCH",
)]  # fmt: skip
UP = ("HOMING", "RETRACTING")  # the head goes home already: nothing safer can be done


def device_in(state: int) -> Rig:
    """Return a device that was put into a state."""
    rig = Rig()
    rig.run_to("IDLE")
    rig.device.cycle.state = state
    return rig


def snapshot(rig: Rig) -> dict[str, Any]:
    """Return all values that an event could change."""
    cycle_state = {name: value for name, value in vars(rig.device.cycle).items() if isinstance(value, (int, str))}
    progress = {name: value for name, value in vars(rig.device.cycle.progress).items() if isinstance(value, int)}
    positions = [rig.board.press.at, rig.board.rotate.at]
    return {**cycle_state, **progress, "at": positions, "out": bytes(rig.device.outbox._out)}


def test_an_event_without_transition_raises_and_changes_nothing() -> None:
    refused = 0
    for state in STATES:
        rig = device_in(state)
        before = snapshot(rig)
        for event in [*EVENTS, "nonsense"]:
            if (state, event) not in cycle.TABLE:
                with pytest.raises(cycle.CycleError, match=f"{event} in {records.STATES[state]}"):
                    rig.device.cycle.handle(event)
                assert snapshot(rig) == before
                refused += 1
    assert refused > 100


def test_every_state_is_reached_and_leads_to_idle() -> None:
    leads_to = {
        state: {after for (before, _), (after, _) in cycle.TABLE.items() if before == state} for state in STATES
    }
    assert set().union(*leads_to.values()) == set(STATES) - {records.STARTING}
    for state in STATES:
        seen, front = set(), {state}
        while front:
            seen |= front
            front = set().union(*(leads_to[reached] for reached in front)) - seen
        assert records.IDLE in seen, records.STATES[state]


@pytest.mark.parametrize("state", MOVING, ids=records.STATES.__getitem__)
def test_every_moving_state_has_a_way_out(state: int) -> None:
    cell_faults = [code for code in records.FAULT_CODES if code.startswith("CELL")]
    for event in [*cell_faults, "INTERNAL"]:
        after, _ = cycle.TABLE[state, event]
        assert records.STATES[after] in (*UP, "FAULTED")
    if records.STATES[state] not in UP:
        for event in ("HOST_SILENT", "STOPPED_BY_HOST", "BUFFER_FULL"):
            assert cycle.TABLE[state, event][0] == records.RETRACTING


@pytest.mark.parametrize("state", cycle.DOWN, ids=records.STATES.__getitem__)
def test_force_and_travel_are_limited_wherever_the_head_is_down(state: int) -> None:
    assert cycle.TABLE[state, "FORCE_LIMIT"][0] == records.RETRACTING
    assert cycle.TABLE[state, "TRAVEL_LIMIT"][0] == records.RETRACTING


def test_the_sampled_states_are_the_phases() -> None:
    sampled = [state for state in cycle.MEASURING if state != records.SEATING]
    assert [records.PHASES[cycle.PHASE_OF[state]] for state in sampled] == list(records.PHASES)
    assert [records.STATES[state] for state in sampled] == list(records.PHASES)


# A whole cycle

ORDER = [
    "IDLE", "SEATING", "ZERO_BEFORE", "APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN", "LIGHT_AGAIN", "LIFT",
    "ZERO_AFTER", "HOLDING",
]  # fmt: skip


@pytest.fixture(scope="module")
def measured() -> Rig:
    """Return a shaft measured with the standard plan."""
    rig = Rig({"shafts": SCENARIO["shafts"]})
    rig.ready()
    rig.measure(3)
    return rig


def test_states_come_in_their_order(measured: Rig) -> None:
    events = [event for event in measured.all("Event") if event["shaft"] == 3]
    assert [event["state"] for event in events] == ORDER[1:]
    assert [event["previous"] for event in events] == ORDER[:-1]
    assert measured.sequences == list(range(len(measured.sequences)))


def test_blocks_are_numbered_without_gaps(measured: Rig) -> None:
    blocks, end = measured.all("Readings"), measured.last("EndOfShaft")
    assert [block["block"] for block in blocks] == list(range(len(blocks)))
    sizes = [len(block["counts"]) for block in blocks]
    assert [block["first"] for block in blocks] == [sum(sizes[:i]) for i in range(len(sizes))]
    assert (end["blocks"], end["readings"]) == (len(blocks), sum(sizes))
    assert (end["complete"], end["cause"]) == (True, None)
    assert list(dict.fromkeys(block["phase"] for block in blocks)) == ORDER[2:-1]


@pytest.mark.parametrize("phase", ["ZERO_BEFORE", "ZERO_AFTER"])
def test_zeros_have_their_readings_without_contact(measured: Rig, phase: str) -> None:
    readings = rows(measured.all("Readings"), phase)
    assert [row["status"] for row in readings] == 8 * [1] + 40 * [0]
    assert {row["press_steps"] for row in readings} == {0}
    assert len({row["rotate_steps"] for row in readings[8:]}) == 1
    assert all(abs(row["counts"] - 50000) < 500 for row in readings)


@pytest.mark.parametrize(("phase", "steps"), [("LIGHT", 2000), ("FULL", 2000), ("LIGHT_AGAIN", 1200)])
def test_turns_cover_what_was_asked_with_settled_readings(measured: Rig, phase: str, steps: int) -> None:
    readings = rows(measured.all("Readings"), phase)
    good = [row for row in readings if row["status"] == 0]
    assert readings[-len(good) :] == good
    assert len(readings) - len(good) == 8
    assert steps <= good[-1]["rotate_steps"] - good[0]["rotate_steps"] < steps + 10
    assert len({row["press_steps"] for row in readings}) == 1
    step_us = [
        (b["tick_us"] - a["tick_us"]) / (b["rotate_steps"] - a["rotate_steps"])
        for a, b in zip(good, good[40:], strict=False)
    ]
    assert 2500 * 0.99 < min(step_us) <= max(step_us) < 2500 * 1.01  # 400 steps/s throughout


def test_loads_are_those_of_the_plan_and_light_is_met_again(measured: Rig) -> None:
    first = {phase: rows(measured.all("Readings"), phase)[0] for phase in ("LIGHT", "FULL", "LIGHT_AGAIN")}
    assert 1.0 <= (first["LIGHT"]["counts"] - 50000) / PLAN["light_count"] < 1.25
    assert 1.0 <= (first["FULL"]["counts"] - 50000) / PLAN["full_count"] < 1.1
    assert first["LIGHT_AGAIN"]["press_steps"] == first["LIGHT"]["press_steps"]
    back = rows(measured.all("Readings"), "RETURN")
    past = first["LIGHT"]["press_steps"] - min(row["press_steps"] for row in back)
    assert PLAN["takeup_steps"] / 2 < past <= PLAN["takeup_steps"]  # the turning point lies between two readings


def test_most_of_the_cycle_is_sampling_at_a_good_rate(measured: Rig) -> None:
    blocks, end = measured.all("Readings"), measured.last("EndOfShaft")
    sampled = [
        row for phase in ("ZERO_BEFORE", "LIGHT", "FULL", "LIGHT_AGAIN", "ZERO_AFTER") for row in rows(blocks, phase)
    ]
    good = sum(row["status"] == 0 for row in sampled)
    assert abs(end["sampling_ms"] - good * 12.5 / 1.015) < 0.01 * end["sampling_ms"]
    assert end["sampling_ms"] >= 0.7 * end["duration_ms"]
    readings = sum(len(block["counts"]) for block in blocks)
    assert sum(len(framed(0, datum("Readings", block))) for block in blocks) <= 6 * readings


def test_readings_are_one_interval_apart(measured: Rig) -> None:
    ticks = [row["tick_us"] for phase in ORDER[2:-1] for row in rows(measured.all("Readings"), phase)]
    gaps = [b - a for a, b in pairwise(ticks)]
    assert all(abs(gap - 12500 / 1.015) < 100 for gap in gaps)


def test_the_clock_may_wrap_in_a_cycle() -> None:
    rig = Rig({"shafts": SCENARIO["shafts"]}, first_tick_us=2**30 - 6_000_000)
    rig.ready()
    end = rig.measure(3)
    assert end["complete"]
    assert 17000 < end["duration_ms"] < 19000
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
            os.write(host, framed(0, datum("Command", {"order": "KEEP_ALIVE", "shaft": None})))

    os.write(host, framed(0, datum("Greet", {"protocol_major": 1, "protocol_minor": 0, "fingerprint": FINGERPRINT})))
    listen("IDLE")
    os.write(host, framed(1, datum("CyclePlan", PLAN)) + framed(2, datum("Command", {"order": "MEASURE", "shaft": 3})))
    listen("EndOfShaft")
    return said


def columns(said: list[tuple[str, dict[str, Any]]]) -> list[tuple[Any, ...]]:
    """Return readings with times since the first of their block, which do not depend on when the host spoke."""
    blocks = [fields for name, fields in said if name == "Readings"]
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
    assert chip[-1] == here[-1]


MEASURE_1 = [records.COMMAND, [records.MEASURE, 1]]
TURNING = {"readings": 600, "rotate_steps": 2000, "press_steps": 2000}
ORDERS = {
    "cycle": [[records.CYCLE_PLAN, list(PLAN.values())], MEASURE_1, MEASURE_1],
    "bench step": [
        [records.BENCH_STEP, list(({"shaft": 1} | STEP).values())],
        [records.BENCH_STEP, list(({"shaft": 2} | STEP | TURNING).values())],
        [records.BENCH_STEP, list(({"shaft": 3} | STEP | TURNING | {"press_steps": 0}).values())],
    ],
}


@pytest.mark.process
@needs_micropython
@pytest.mark.parametrize("what", ORDERS)
def test_sampling_takes_next_to_nothing_from_the_heap(what: str) -> None:
    result = json.loads(on_micropython("memory_on_device.py", given=json.dumps(ORDERS[what])))
    assert result["cause"] is None
    assert result["readings"] > 600
    assert result["quiet"] > 600
    assert result["quiet_bytes"] <= 4 * 32  # four events that stay in their state look up one pair each
    assert result["most"] < 512
    assert result["total_bytes"] < 16384  # frames, events and the host's requests, collected between shafts
    assert result["heap_left"] > 65536


@pytest.mark.process
@needs_micropython
def test_what_a_slow_line_leaves_is_moved_without_a_copy_of_it() -> None:
    result = json.loads(on_micropython("outbox_on_device.py"))
    assert result["moved"] > 5
    assert result["waiting_most"] > 3000
    assert result["most"] < 512
    assert result["broken"] == 0
