"""What the device answers, and what it does when the host stops, repeats itself, falls silent or does not read."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from device_rig import PLAN, Rig, held, outbox, records
from wire import datum, framed

SHAFTS = [{"number": 1, "spine_thou": 500.0, "spread_thou": 5.0}, {"number": 2, "spine_thou": 400.0}]
MEASURE_1 = {"order": "MEASURE", "shaft": 1}
EMPTY = {"order": "STOP", "shaft": None}


def rig_with(gauge: dict[str, Any] | None = None, **shaft: Any) -> Rig:
    """Return a ready device whose first shaft has given keys besides its usual ones."""
    rig = Rig({"gauge": gauge or {}, "shafts": [SHAFTS[0] | shaft, SHAFTS[1]]})
    rig.ready()
    return rig


def order(name: str, shaft: int | None = None) -> dict[str, Any]:
    return {"order": name, "shaft": shaft}


def blocks(rig: Rig) -> list[dict[str, Any]]:
    return rig.all("Readings")


# Greeting


def test_identify_says_who_is_there() -> None:
    rig = Rig()
    rig.run_to("IDLE")
    identify = rig.greet()
    assert identify["fingerprint"] == records.FINGERPRINT
    assert (identify["gauge"], identify["boot"], identify["state"]) == ("rehearsal", 7, "IDLE")
    assert "rehearsal" in identify["runtime"]
    assert (identify["held_shaft"], identify["held_blocks"]) == (None, 0)
    assert (identify["count_min"], identify["count_max"]) == (-8388608, 8388607)


def test_the_longest_identify_fits_the_room_kept_for_a_record() -> None:
    rig = Rig(first_tick_us=2**30 - 1000000)
    rig.board.NAME, rig.board.RUNTIME_NOTE = "\U0001f3f9" * 8, f" ({chr(0x1F3F9) * 60})"  # four bytes a letter
    rig.board.boot = rig.board.COUNT_LIMIT = rig.board.PRESS_LIMIT = 2**30 - 1
    rig.device.cycle.feeder.last = (2**30 - 1, 32, False, 255)
    rig.link.taken = 0
    rig.run(0.1)
    begun = rig.device.outbox._end
    rig.send("Greet", protocol_major=1, protocol_minor=0, fingerprint=records.FINGERPRINT)
    rig.run(0.1)
    assert 300 < rig.device.outbox._end - begun <= outbox.RECORD_BYTES


@pytest.mark.parametrize("wrong", [{"protocol_major": 2}, {"fingerprint": bytes(8)}], ids=["major", "fingerprint"])
def test_a_host_of_another_protocol_gets_identify_and_nothing_else(wrong: dict[str, Any]) -> None:
    rig = Rig()
    rig.run_to("IDLE")
    rig.greet(**wrong)
    for request in (("CyclePlan", PLAN), ("Command", MEASURE_1), ("Acknowledge", {"shaft": 1})):
        assert rig.ask(request[0], **request[1])["refusal"] == "WRONG_PROTOCOL"
    assert rig.state == "IDLE"
    rig.greet()
    assert rig.ask("CyclePlan", **PLAN)["refusal"] is None


def test_nothing_is_obeyed_before_the_greeting() -> None:
    rig = Rig()
    rig.run_to("IDLE")
    assert rig.ask("CyclePlan", **PLAN)["refusal"] == "WRONG_PROTOCOL"


def test_what_is_no_request_is_refused() -> None:
    rig = rig_with()
    reply = {"to_sequence": 0, "refusal": None, "field": ""}
    assert rig.ask("Reply", **reply)["refusal"] == "WRONG_PROTOCOL"  # a record that only the device sends
    rig.link.to_device += framed(rig.sequence, datum("Command", MEASURE_1)[:1])
    rig.run(0.1)
    assert rig.last("Reply")["refusal"] == "WRONG_PROTOCOL"
    assert rig.state == "IDLE"


def test_the_greeting_is_answered_in_the_middle_of_a_cycle() -> None:
    rig = rig_with()
    rig.ask("Command", **MEASURE_1)
    rig.run_to("FULL")
    identify = rig.greet()
    assert (identify["state"], identify["held_shaft"]) == ("FULL", 1)
    assert identify["held_blocks"] == len(blocks(rig))
    rig.run_to("HOLDING")
    rig.run(0.1)
    assert rig.last("EndOfShaft")["complete"]


# Orders


def test_no_plan_no_measurement() -> None:
    rig = Rig()
    rig.run_to("IDLE")
    rig.greet()
    assert rig.ask("Command", **MEASURE_1)["refusal"] == "NO_PLAN"


@pytest.mark.parametrize("shaft", [None, -1, 2**30])
def test_shaft_numbers_have_a_range(shaft: int | None) -> None:
    reply = rig_with().ask("Command", **order("MEASURE", shaft))
    assert (reply["refusal"], reply["field"]) == ("OUT_OF_RANGE", "shaft")


def test_repeating_measure_does_no_harm() -> None:
    rig = rig_with()
    rig.ask("Command", **MEASURE_1)
    rig.run_to("LIGHT")
    assert rig.ask("Command", **MEASURE_1)["refusal"] is None
    assert rig.ask("Command", **order("MEASURE", 2))["refusal"] == "WRONG_STATE"
    assert rig.ask("CyclePlan", **PLAN)["refusal"] == "WRONG_STATE"
    assert rig.ask("Command", **order("CLEAR_FAULT"))["refusal"] == "WRONG_STATE"
    rig.run_to("HOLDING")
    assert rig.ask("Command", **MEASURE_1)["refusal"] is None
    assert rig.ask("Command", **order("MEASURE", 2))["refusal"] == "WRONG_STATE"
    assert rig.state == "HOLDING"
    assert rig.last("EndOfShaft")["complete"]


def test_keep_alive_has_no_reply() -> None:
    rig = rig_with()
    replies = len(rig.all("Reply"))
    rig.send("Command", **order("KEEP_ALIVE"))
    rig.run(0.5)
    assert len(rig.all("Reply")) == replies


@pytest.mark.parametrize("state", ["SEATING", "ZERO_BEFORE", "APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN", "LIFT"])
def test_stop_retracts_and_gives_the_shaft_up(state: str) -> None:
    rig = rig_with()
    rig.ask("Command", **MEASURE_1)
    rig.run_to(state)
    assert rig.ask("Command", **EMPTY)["refusal"] is None
    rig.run_to("HOLDING")
    rig.run(0.1)
    end = rig.last("EndOfShaft")
    assert (end["complete"], end["cause"]) == (False, "STOPPED_BY_HOST")
    assert end["readings"] == sum(len(block["counts"]) for block in blocks(rig))
    assert rig.last("Fault")["state"] == state
    assert rig.device.cycle.press.position() == 0
    rig.ask("Acknowledge", shaft=1)
    rig.run_to("IDLE")
    assert rig.measure(2)["complete"]


@pytest.mark.parametrize("state", ["IDLE", "HOLDING"])
def test_stop_at_rest_changes_nothing(state: str) -> None:
    rig = rig_with()
    if state == "HOLDING":
        rig.measure()
    assert rig.ask("Command", **EMPTY)["refusal"] is None
    assert rig.state == state
    assert rig.all("Fault") == []


# Blocks are kept until they are acknowledged


def test_blocks_are_sent_again_as_they_were() -> None:
    rig = rig_with()
    end = rig.measure()
    first = blocks(rig)
    rig.records.clear()
    assert rig.ask("Resend", shaft=1, blocks=[5, 0, 3])["refusal"] is None
    assert blocks(rig) == [first[0], first[3], first[5]]
    names = [name for name, _ in rig.records]
    assert names[-1] == "EndOfShaft"
    assert rig.last("EndOfShaft") == end
    rig.records.clear()
    rig.ask("Resend", shaft=1, blocks=[])
    assert [name for name, _ in rig.records] == ["Reply", "EndOfShaft"]


@pytest.mark.parametrize(
    ("wanted", "refusal"),
    [
        ({"shaft": 2, "blocks": []}, ("UNKNOWN_SHAFT", "shaft")),
        ({"shaft": 1, "blocks": [99]}, ("OUT_OF_RANGE", "blocks")),
        ({"shaft": 1, "blocks": [-1]}, ("OUT_OF_RANGE", "blocks")),
        ({"shaft": 1, "blocks": 65 * [0]}, ("WRONG_PROTOCOL", "")),
    ],
)
def test_resend_of_what_is_not_held_is_refused(wanted: dict[str, Any], refusal: tuple[str, str]) -> None:
    rig = rig_with()
    rig.measure()
    reply = rig.ask("Resend", **wanted)
    assert (reply["refusal"], reply["field"]) == refusal


def test_acknowledging_frees_the_shaft_and_may_be_repeated() -> None:
    rig = rig_with()
    rig.measure()
    for _ in range(2):
        assert rig.ask("Acknowledge", shaft=1)["refusal"] is None
        assert rig.state == "IDLE"
    assert rig.greet()["held_shaft"] is None
    assert rig.ask("Resend", shaft=1, blocks=[0])["refusal"] == "UNKNOWN_SHAFT"
    assert rig.measure(2)["shaft"] == 2


def test_another_shafts_acknowledgement_frees_nothing() -> None:
    rig = rig_with()
    rig.measure()
    assert rig.ask("Acknowledge", shaft=9)["refusal"] is None
    assert rig.state == "HOLDING"
    assert rig.greet()["held_shaft"] == 1


def test_a_shaft_under_way_cannot_be_acknowledged() -> None:
    rig = rig_with()
    rig.ask("Command", **MEASURE_1)
    rig.run_to("LIGHT")
    assert rig.ask("Acknowledge", shaft=1)["refusal"] == "WRONG_STATE"


# A line that takes bytes slowly or not at all


def test_short_writes_lose_nothing() -> None:
    rig = rig_with()
    rig.link.taken = 1
    rig.keep_alive = False
    rig.send("Command", **MEASURE_1)
    while rig.state != "HOLDING":
        rig.step()
        if rig.board.now_us % 7 == 0:
            rig.send("Command", **order("KEEP_ALIVE"))
    rig.link.taken = 1 << 20
    rig.run(1)
    end = rig.last("EndOfShaft")
    assert end["complete"]
    assert sorted(block["block"] for block in blocks(rig)) == list(range(end["blocks"]))


def test_a_host_that_does_not_read_gets_the_blocks_later() -> None:
    rig = rig_with()
    rig.keep_alive = False
    rig.link.taken = 0
    rig.send("Command", **MEASURE_1)
    while rig.state != "HOLDING":
        rig.send("Command", **order("KEEP_ALIVE"))
        rig.step()
    assert rig.link.from_device == b""
    rig.link.taken = 1 << 20
    rig.run(1)
    end = rig.last("EndOfShaft")
    assert [block["block"] for block in blocks(rig)] == list(range(end["blocks"]))
    assert end["complete"]


# Silence


@pytest.mark.slow
@pytest.mark.parametrize("state", ["SEATING", "APPROACH", "LIGHT", "DEEPEN", "FULL", "LIGHT_AGAIN"])
def test_a_silent_host_makes_the_device_retract_and_hold(state: str) -> None:
    rig = rig_with()
    rig.ask("Command", **MEASURE_1)
    rig.run_to(state)
    rig.keep_alive = False
    rig.link.to_device.clear()
    at_us = rig.board.now_us
    rig.run_to("HOLDING", 10)
    fault = rig.last("Fault")
    assert (fault["code"], fault["detail"]) == ("HOST_SILENT", 3000)
    assert abs((fault["tick_us"] - at_us) / 1e6 - 3.0) < 0.2
    assert rig.device.cycle.press.position() == 0
    rig.run(600)  # and so it stays
    assert rig.state == "HOLDING"
    rig.keep_alive = True
    assert rig.greet()["held_shaft"] == 1
    rig.ask("Resend", shaft=1, blocks=[0])
    assert rig.last("EndOfShaft")["cause"] == "HOST_SILENT"
    rig.ask("Acknowledge", shaft=1)
    assert rig.state == "IDLE"


def test_garbage_is_no_sign_of_a_host() -> None:
    rig = rig_with()
    rig.ask("Command", **MEASURE_1)
    rig.run_to("LIGHT")
    rig.keep_alive = False
    while rig.state not in ("HOLDING", "ZERO_AFTER"):
        rig.link.to_device += b"\x07garbage\0"
        rig.step()
    assert rig.last("Fault")["code"] == "HOST_SILENT"


@pytest.mark.slow
def test_silence_at_rest_is_no_fault() -> None:
    rig = rig_with()
    rig.keep_alive = False
    rig.run(1200)  # longer than the clock's wrap
    assert rig.state == "IDLE"
    assert rig.all("Fault") == []


# Faults


GIVEN_UP = [("absent", "NO_CONTACT", "APPROACH"), ("soft", "TRAVEL_LIMIT", "DEEPEN")]
SICK = [
    ("stiff_jam", "FORCE_LIMIT", "DEEPEN"),
    ("cell_silent", "CELL_SILENT", "APPROACH"),
    ("cell_stuck", "CELL_STUCK", "APPROACH"),
    ("cell_out_of_step", "CELL_OUT_OF_STEP", "APPROACH"),
    ("cell_saturated", "CELL_SATURATED", "APPROACH"),
]


@pytest.mark.parametrize(("fault", "code", "state"), GIVEN_UP)
def test_a_shaft_that_cannot_be_measured_is_given_up(fault: str, code: str, state: str) -> None:
    rig = rig_with(fault=fault)
    end = rig.measure()
    assert (end["complete"], end["cause"]) == (False, code)
    assert [(each["code"], each["state"], each["shaft"]) for each in rig.all("Fault")] == [(code, state, 1)]
    assert rig.last("Fault")["detail"] == PLAN["travel_steps"]
    rig.ask("Acknowledge", shaft=1)
    assert rig.measure(2)["complete"]


@pytest.mark.parametrize(("fault", "code", "state"), SICK)
def test_a_sick_gauge_retracts_and_waits_to_be_cleared(fault: str, code: str, state: str) -> None:
    rig = rig_with(fault=fault)
    end = rig.measure(until="FAULTED")
    assert (end["complete"], end["cause"]) == (False, code)
    assert [(each["code"], each["state"], each["shaft"]) for each in rig.all("Fault")] == [(code, state, 1)]
    assert rig.device.cycle.press.position() == 0
    assert rig.ask("Command", **order("MEASURE", 2))["refusal"] == "WRONG_STATE"
    rig.ask("Resend", shaft=1, blocks=[0])
    assert blocks(rig)[-1]["block"] == 0
    rig.ask("Acknowledge", shaft=1)
    assert rig.state == "FAULTED"
    assert rig.ask("Command", **order("CLEAR_FAULT"))["refusal"] is None
    rig.run_to("IDLE")
    assert rig.measure(2)["complete"]


def test_what_is_held_outlasts_the_clearing_of_a_fault() -> None:
    rig = rig_with(fault="stiff_jam")
    rig.measure(until="FAULTED")
    rig.ask("Command", **order("CLEAR_FAULT"))
    rig.run_to("IDLE")
    assert rig.ask("Command", **order("MEASURE", 2))["refusal"] == "WRONG_STATE"
    assert rig.greet()["held_shaft"] == 1
    rig.ask("Acknowledge", shaft=1)
    assert rig.measure(2)["complete"]


def test_a_broken_home_switch_stops_the_motor() -> None:
    rig = Rig({"gauge": {"home_switch_broken": "open"}})
    rig.run_to("FAULTED")
    assert rig.greet()["state"] == "FAULTED"
    assert rig.last("Fault")["code"] == "HOME_NOT_FOUND"
    assert not rig.device.cycle.press.moving()
    assert rig.all("EndOfShaft") == []


def test_a_cell_that_fails_at_rest_is_reported_once() -> None:
    rig = rig_with(gauge={"drop_chance": 0.0})
    rig.board.mechanics.truths["drop_chance"] = 1.1
    rig.run(5)
    assert rig.state == "FAULTED"
    assert [fault["code"] for fault in rig.all("Fault")] == ["CELL_SILENT"]
    assert rig.last("Fault")["shaft"] is None
    rig.board.mechanics.truths["drop_chance"] = 0.0
    rig.ask("Command", **order("CLEAR_FAULT"))
    rig.run_to("IDLE")
    assert rig.measure()["complete"]


def test_a_full_buffer_gives_the_shaft_up() -> None:
    rig = rig_with()
    rig.device.held.data = bytearray(4000)  # less than the plan was checked against
    end = rig.measure()
    assert (end["complete"], end["cause"]) == (False, "BUFFER_FULL")
    assert 2000 < rig.last("Fault")["detail"] < 3000
    rig.ask("Resend", shaft=1, blocks=list(range(end["blocks"])))
    assert {block["block"] for block in blocks(rig)} == set(range(end["blocks"]))


def test_a_mark_sensor_that_flickers_ends_nothing_and_overfills_no_block() -> None:
    rig = rig_with()
    passed = [0]

    def flickering(mark: Any) -> bool:  # with a lamp, and faster than any mark: 200 passages a second
        due = rig.board.now_us // 5000
        came = passed[0] < due
        if came:
            passed[0] = passed[0] + 1 if passed[0] else due
            mark[0] = rig.board.rotate.position()
        return came

    assert rig.ask("CyclePlan", **(PLAN | {"seat_steps": 2000}))["refusal"] is None
    rig.board.mark_take = flickering  # type: ignore[method-assign]
    rig.ask("Command", order="MEASURE", shaft=1)
    for _ in range(5):  # seating says nothing that the host would answer
        rig.run(1)
        rig.send("Command", order="KEEP_ALIVE", shaft=None)
    rig.run_to("HOLDING")
    rig.run(0.1)
    assert rig.last("EndOfShaft")["cause"] is None
    assert max(len(block["marks"]) for block in rig.all("Readings")) > 100


@pytest.mark.slow
def test_a_full_store_holds_the_block_that_a_change_of_state_opens() -> None:
    def filled(room: int, rows: int, swing: int) -> int:
        store = held.Held(bytearray(room))
        store.begin(1, 12500)
        for i in range(100000):
            store.add(i // rows % 9, 12500 * i, 12500 + i % 2 * swing, -i % 2 * swing, 0, i % 2 * swing, 8)
            if store.full():
                store.close()
                assert store.used() <= room
                return store.blocks
            if i % rows == rows - 1:
                store.close()
        raise AssertionError("never full")

    assert filled(98304, 1, 0) == held.BLOCKS_MAX
    for room in range(4096, 5096, 9):
        for rows in (44, 45, 46, 47):
            filled(room, rows, 8_000_000)


def test_what_the_code_does_not_expect_is_an_internal_fault() -> None:
    rig = rig_with()
    rig.ask("Command", **MEASURE_1)
    rig.run_to("DEEPEN")
    rig.device.cycle._then = "nonsense"
    rig.device.cycle.press.halt()
    rig.run_to("FAULTED")
    rig.run(0.1)
    end = rig.last("EndOfShaft")
    assert (end["complete"], end["cause"]) == (False, "INTERNAL")
    assert rig.device.cycle.press.position() == 0


def test_single_bad_samples_are_no_fault() -> None:
    chances = {"spike_chance": 0.005, "repeat_chance": 0.005, "drop_chance": 0.005, "spike_count": 3_000_000}
    rig = rig_with(gauge=chances)
    end = rig.measure()
    assert end["complete"]
    assert rig.all("Fault") == []
    gaps = [odd for block in blocks(rig) for odd in block["unusual"] if odd["status"] & 8]
    assert 2 <= len(gaps) <= 15  # 7 lost of 1400 on average
    assert max(max(block["counts"]) for block in blocks(rig)) > 2_000_000


def test_index_marks_come_once_a_turn() -> None:
    rig = rig_with(gauge={"index_mark": True})
    rig.measure()
    marks = [mark for block in blocks(rig) for mark in block["marks"]]
    turns = [b - a for a, b in pairwise(marks)]
    assert len(marks) >= 5
    assert all(abs(turn - 800 / 0.997) <= 1 for turn in turns)  # 3200 steps, 30 mm on 7.5 mm, slip 0.3 %
