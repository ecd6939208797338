"""What the device answers, and what it does when the host stops, repeats itself, falls silent or does not read."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from device_rig import CYCLE, PHASES, Rig, bench_step, board, held, outbox, records, standard_steps, step
from wire import datum, framed

SHAFTS = [{"number": 1, "spine_thou": 500.0, "spread_thou": 5.0}, {"number": 2, "spine_thou": 400.0}]
CYCLE_1 = {"shaft": 1, "stand": False, "steps": standard_steps()}


def rig_with(gauge: dict[str, Any] | None = None, **shaft: Any) -> Rig:
    """Return a greeted device at home whose first shaft has given keys besides its usual ones."""
    rig = Rig({"gauge": gauge or {}, "shafts": [SHAFTS[0] | shaft, SHAFTS[1]]})
    rig.ready()
    return rig


def begun(rig: Rig, phase: str) -> Rig:
    """Return the device when its cycle has come to the first step of a phase."""
    rig.begin(standard_steps())
    until_us = rig.board.now_us + 30_000_000
    while rig.device.gauge.run.step.phase != PHASES.index(phase):
        assert rig.board.now_us < until_us
        rig.step()
    return rig


def states(rig: Rig) -> list[str]:
    return [event["state"] for event in rig.all("Event")]


def blocks(rig: Rig) -> list[dict[str, Any]]:
    return rig.all("Readings")


def pressed(rig: Rig) -> int:
    """Return the position of the head, microsteps below home."""
    return int(rig.device.gauge.press.position())


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
    assert (identify["readings_most"], identify["down_speed_most"]) == (
        board.Board.READINGS, board.Board.DOWN_SPEED_MAX,
    )  # fmt: skip
    assert (identify["feeder"], identify["fault"]) == (None, None)


def test_the_longest_identify_fits_the_room_kept_for_a_record() -> None:
    rig = Rig({"feeder": {}}, first_tick_us=2**30 - 1000000)
    rig.board.NAME, rig.board.RUNTIME_NOTE = "\U0001f3f9" * 8, f" ({chr(0x1F3F9) * 60})"  # four bytes a letter
    rig.board.boot = rig.board.free_bytes = rig.device.answers.longest_turn_us = 2**30 - 1
    for name in ("COUNT_LIMIT", "PRESS_LIMIT", "PRESS_SPEED_MAX", "DOWN_SPEED_MAX", "PRESS_ACCELERATION",
                 "ROTATE_SPEED_MAX", "ROTATE_ACCELERATION", "READINGS"):  # fmt: skip
        setattr(rig.board, name, 2**30 - 1)
    rig.device.gauge.in_gauge = 2**30 - 1
    rig.device.gauge.parts[0].last = (2**30 - 1, 32, False, 255)
    rig.link.taken = 0
    rig.run(0.1)
    begun = rig.device.outbox._end
    rig.send("Greet", protocol_major=2, protocol_minor=1, fingerprint=records.FINGERPRINT)
    rig.run(0.1)
    assert 300 < rig.device.outbox._end - begun <= outbox.RECORD_BYTES


@pytest.mark.parametrize("wrong", [{"protocol_major": 1}, {"fingerprint": bytes(8)}], ids=["major", "fingerprint"])
def test_a_host_of_another_protocol_gets_identify_and_nothing_else(wrong: dict[str, Any]) -> None:
    rig = Rig()
    rig.run_to("IDLE")
    rig.greet(**wrong)
    for request in (("Program", CYCLE_1), ("Command", {"order": "STOP"}), ("Acknowledge", {"shaft": 1})):
        assert rig.ask(request[0], **request[1])["refusal"] == "WRONG_PROTOCOL"
    assert rig.state == "IDLE"
    rig.greet()
    assert rig.ask("Program", **CYCLE_1)["refusal"] is None


def test_nothing_is_obeyed_before_the_greeting() -> None:
    rig = Rig()
    rig.run_to("IDLE")
    assert rig.ask("Program", **CYCLE_1)["refusal"] == "WRONG_PROTOCOL"


def test_what_is_no_request_is_refused() -> None:
    rig = rig_with()
    reply = {"boot": 7, "to_sequence": 0, "refusal": None, "field": ""}
    assert rig.ask("Reply", **reply)["refusal"] == "WRONG_PROTOCOL"  # a record that only the device sends
    rig.link.to_device += framed(rig.sequence, datum("Program", CYCLE_1)[:-1])
    rig.run(0.1)
    assert rig.last("Reply")["refusal"] == "WRONG_PROTOCOL"
    assert rig.state == "IDLE"


def test_the_greeting_is_answered_in_the_middle_of_a_cycle() -> None:
    rig = begun(rig_with(), "FULL")
    identify = rig.greet()
    assert (identify["state"], identify["held_shaft"]) == ("RUNNING", 1)
    assert identify["held_blocks"] == len(blocks(rig))
    rig.run_to("HOLDING")
    rig.run(0.1)
    assert rig.last("EndOfShaft")["complete"]


def test_every_record_carries_the_boot_number() -> None:
    rig = rig_with()
    rig.measure()
    rig.order("STOP")
    rig.ask("Resend", shaft=9, blocks=[])
    rig.acknowledge()
    begun(rig, "FULL")
    rig.order("STOP")
    assert {name for name, _ in rig.records} == {
        "Identify", "Readings", "EndOfShaft", "Event", "Fault", "Reply",
    }  # fmt: skip
    assert {fields["boot"] for _, fields in rig.records} == {7}


def test_the_greeting_tells_the_longest_turn_of_a_loop_that_moves_something() -> None:
    rig = rig_with()
    rig.run(5)
    before = rig.greet()["longest_turn_us"]
    assert before <= board.Board.INTERVAL_US  # while it looked for home
    begun(rig, "FULL")
    rig.run(0.1)
    for _ in range(3):  # a loop that is late, once
        rig.board._advance(rig.board.now_us + 12_000)
    rig.run_to("HOLDING")
    assert 36_000 <= rig.greet()["longest_turn_us"] < 60_000


def test_a_collection_before_the_first_motion_of_a_program_is_no_long_turn() -> None:
    rig = rig_with()
    begins = rig.board.program_begins

    def collect(number: int, steps: Any) -> None:
        rig.board._advance(rig.board.now_us + 40_000)
        begins(number, steps)

    rig.board.program_begins = collect
    rig.run_program([bench_step(press_steps=None, readings=4, rotate_steps=50)])
    assert rig.greet()["longest_turn_us"] < 20_000


@pytest.mark.parametrize("free_bytes", [None, 61_000])
def test_the_greeting_tells_the_boards_free_memory(free_bytes: int | None) -> None:
    assert rig_with({"free_bytes": free_bytes}).greet()["free_bytes"] == free_bytes


# Orders


@pytest.mark.parametrize("shaft", [-1, 2**30])
def test_shaft_numbers_have_a_range(shaft: int) -> None:
    reply = rig_with().ask("Program", **(CYCLE_1 | {"shaft": shaft}))
    assert (reply["refusal"], reply["field"]) == ("OUT_OF_RANGE", "shaft")


@pytest.mark.parametrize("number", [0, 33])
def test_a_program_has_one_to_thirty_two_steps(number: int) -> None:
    reply = rig_with().ask("Program", shaft=1, stand=False, steps=[step("SEATING")] * number)
    assert (reply["refusal"], reply["field"]) == ("OUT_OF_RANGE", "steps")


def test_a_program_of_the_most_steps_runs() -> None:
    wide = {"rotate_steps": 1 << 10, "rotate_speed": 4000, "press_speed": 4000, "settle_readings": 3}
    reads = step("ZERO_BEFORE", readings=2, zero=True, **(wide | {"rotate_steps": -1024}))
    end = rig_with().run_program([reads] * 32)
    assert (end["complete"], end["blocks"]) == (True, 32)


def test_repeating_a_program_does_nothing_twice() -> None:
    rig = rig_with()
    for _ in range(2):  # the second as the reply of the first is lost
        rig.send("Program", **CYCLE_1)
    begun_once = ["HOMING", "IDLE", "RUNNING"]
    rig.run(3)
    assert states(rig) == begun_once
    assert rig.ask("Program", **CYCLE_1)["refusal"] is None
    for other in (CYCLE_1 | {"shaft": 2}, {"shaft": 3, "stand": True, "steps": [bench_step()]}):
        assert rig.ask("Program", **other)["refusal"] == "WRONG_STATE"
    assert rig.order("CLEAR_FAULT")["refusal"] == "WRONG_STATE"
    rig.run_to("HOLDING")
    assert rig.ask("Program", **CYCLE_1)["refusal"] is None
    assert rig.ask("Program", **(CYCLE_1 | {"shaft": 2}))["refusal"] == "WRONG_STATE"
    rig.run(1)
    assert states(rig) == [*begun_once, "HOLDING"]
    assert rig.last("EndOfShaft")["complete"]
    assert [block["block"] for block in blocks(rig)] == list(range(rig.last("EndOfShaft")["blocks"]))


def test_repeating_a_program_that_stands_does_nothing_twice() -> None:
    rig = rig_with()
    program = {"shaft": 1, "stand": True, "steps": [bench_step()]}
    for _ in range(2):
        assert rig.ask("Program", **program)["refusal"] is None
        rig.run(3)
        assert rig.state == "STANDING"
    assert len(blocks(rig)) == rig.last("EndOfShaft")["blocks"] == 1
    rig.acknowledge()
    assert rig.ask("Program", **program)["refusal"] is None  # this is another
    rig.run(3)
    assert len(blocks(rig)) == 2


def test_keep_alive_has_no_reply() -> None:
    rig = rig_with()
    replies = len(rig.all("Reply"))
    rig.send("Command", order="KEEP_ALIVE")
    rig.run(0.5)
    assert len(rig.all("Reply")) == replies


STEPS = [(PHASES[made["phase"]], number) for number, made in enumerate(standard_steps())]


@pytest.mark.parametrize(("phase", "number"), [STEPS[number] for number in (0, 1, 2, 4, 5, 6, 7, 10)])
def test_stop_retracts_and_gives_the_shaft_up(phase: str, number: int) -> None:
    rig = begun(rig_with(), phase)
    assert rig.order("STOP")["refusal"] is None
    rig.run_to("HOLDING")
    rig.run(0.1)
    end, fault = rig.last("EndOfShaft"), rig.last("Fault")
    assert (end["complete"], end["cause"]) == (False, "STOPPED_BY_HOST")
    assert end["readings"] == sum(len(block["counts"]) for block in blocks(rig))
    assert (fault["state"], fault["step"]) == ("RUNNING", number)
    assert pressed(rig) == 0
    rig.acknowledge()
    assert rig.state == "IDLE"
    assert rig.measure(2)["complete"]


@pytest.mark.parametrize("state", ["IDLE", "HOLDING"])
def test_stop_at_rest_changes_nothing(state: str) -> None:
    rig = rig_with()
    if state == "HOLDING":
        rig.measure()
    assert rig.order("STOP")["refusal"] is None
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
    for block in range(end["blocks"]):
        rig.records.clear()
        rig.ask("Resend", shaft=1, blocks=[block])
        assert blocks(rig) == [first[block]]
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
    rig = begun(rig_with(), "LIGHT")
    assert rig.ask("Acknowledge", shaft=1)["refusal"] == "WRONG_STATE"


# What goes over the line


@pytest.mark.parametrize("rotate_speed", [1187, 401], ids=["54 readings a turn", "160"])
def test_a_reading_of_a_cycle_takes_at_most_six_bytes_on_the_line(rotate_speed: int) -> None:
    rig = rig_with(bow_mm=0.3)
    rig.records.clear()
    end = rig.measure(rotate_speed=rotate_speed)
    assert end["complete"]
    on_the_line = sum(len(framed(0, datum(name, fields))) for name, fields in rig.records)
    assert on_the_line / end["readings"] < 6.0


# A line that takes bytes slowly or not at all


def test_short_writes_lose_nothing() -> None:
    rig = rig_with()
    rig.link.taken = 1
    rig.keep_alive = False
    rig.send("Program", **CYCLE_1)
    while rig.state != "HOLDING":
        rig.step()
        if rig.board.now_us % 7 == 0:
            rig.send("Command", order="KEEP_ALIVE")
    rig.link.taken = 1 << 20
    rig.run(1)
    end = rig.last("EndOfShaft")
    assert end["complete"]
    assert sorted(block["block"] for block in blocks(rig)) == list(range(end["blocks"]))


def test_a_host_that_does_not_read_gets_the_blocks_later() -> None:
    rig = rig_with()
    rig.keep_alive = False
    rig.link.taken = 0
    rig.send("Program", **CYCLE_1)
    while rig.state != "HOLDING":
        rig.send("Command", order="KEEP_ALIVE")
        rig.step()
    assert rig.link.from_device == b""
    rig.link.taken = 1 << 20
    rig.run(1)
    end = rig.last("EndOfShaft")
    assert [block["block"] for block in blocks(rig)] == list(range(end["blocks"]))
    assert end["complete"]


# Silence


@pytest.mark.slow
@pytest.mark.parametrize("phase", ["SEATING", "APPROACH", "LIGHT", "DEEPEN", "FULL", "LIGHT_AGAIN"])
def test_a_silent_host_makes_the_device_retract_and_hold(phase: str) -> None:
    rig = rig_with()
    slow = standard_steps(turn_steps=2400, seat_steps=2000, approach_speed=1200, rotate_speed=400)
    slow[PHASES.index("DEEPEN") + 2]["press_speed"] = 1200
    rig.begin(slow)
    while rig.device.gauge.run.step.phase != PHASES.index(phase):
        rig.step()
    rig.keep_alive = False
    rig.link.to_device.clear()
    rig.send("Command", order="KEEP_ALIVE")
    at_us = rig.board.now_us
    rig.run_to("HOLDING", 10)
    fault = rig.last("Fault")
    assert (fault["code"], fault["detail"]) == ("HOST_SILENT", 3000)
    assert abs((fault["tick_us"] - at_us) / 1e6 - 3.0) < 0.05
    assert pressed(rig) == 0
    rig.run(600)  # and so it stays
    assert rig.state == "HOLDING"
    rig.keep_alive = True
    assert rig.greet()["held_shaft"] == 1
    rig.ask("Resend", shaft=1, blocks=[0])
    assert rig.last("EndOfShaft")["cause"] == "HOST_SILENT"
    rig.acknowledge()
    assert rig.state == "IDLE"


def test_garbage_is_no_sign_of_a_host() -> None:
    rig = begun(rig_with(), "LIGHT")
    rig.keep_alive = False
    while rig.state != "HOLDING":
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


GIVEN_UP = [("absent", "NO_CONTACT", 3), ("soft", "TRAVEL_LIMIT", 5)]
SICK = [
    ("stiff_jam", "FORCE_LIMIT", 5),
    ("cell_silent", "CELL_SILENT", 3),
    ("cell_stuck", "CELL_STUCK", 3),
    ("cell_out_of_step", "CELL_OUT_OF_STEP", 3),
    ("cell_saturated", "CELL_SATURATED", 3),
]


@pytest.mark.parametrize(("fault", "code", "number"), GIVEN_UP)
def test_a_shaft_that_cannot_be_measured_is_given_up(fault: str, code: str, number: int) -> None:
    rig = rig_with(fault=fault)
    end = rig.measure()
    assert (end["complete"], end["cause"]) == (False, code)
    assert [(each["code"], each["step"], each["shaft"]) for each in rig.all("Fault")] == [(code, number, 1)]
    assert rig.last("Fault")["detail"] == CYCLE["travel_steps"]
    rig.acknowledge()
    assert rig.measure(2)["complete"]


@pytest.mark.parametrize(("fault", "code", "number"), SICK)
def test_a_sick_gauge_retracts_and_waits_to_be_cleared(fault: str, code: str, number: int) -> None:
    rig = rig_with(fault=fault)
    end = rig.measure(until="FAULTED")
    assert (end["complete"], end["cause"]) == (False, code)
    assert [(each["code"], each["step"], each["shaft"]) for each in rig.all("Fault")] == [(code, number, 1)]
    assert pressed(rig) == 0
    assert rig.ask("Program", **(CYCLE_1 | {"shaft": 2}))["refusal"] == "WRONG_STATE"
    rig.ask("Resend", shaft=1, blocks=[0])
    assert blocks(rig)[-1]["block"] == 0
    rig.acknowledge()
    assert rig.state == "FAULTED"
    assert rig.order("CLEAR_FAULT")["refusal"] is None
    rig.run_to("IDLE")
    assert rig.measure(2)["complete"]


def test_what_is_held_outlasts_the_clearing_of_a_fault() -> None:
    rig = rig_with(fault="stiff_jam")
    rig.measure(until="FAULTED")
    rig.order("CLEAR_FAULT")
    rig.run_to("IDLE")
    assert rig.ask("Program", **(CYCLE_1 | {"shaft": 2}))["refusal"] == "WRONG_STATE"
    assert rig.greet()["held_shaft"] == 1
    rig.acknowledge()
    assert rig.measure(2)["complete"]


def test_a_broken_home_switch_stops_the_motor() -> None:
    rig = Rig({"gauge": {"home_switch_broken": "open"}})
    rig.run_to("FAULTED")
    assert rig.greet()["state"] == "FAULTED"
    assert rig.last("Fault")["code"] == "HOME_NOT_FOUND"
    assert not rig.device.gauge.press.moving()
    assert rig.all("EndOfShaft") == []


def test_a_cell_that_fails_at_rest_is_reported_once() -> None:
    rig = rig_with(gauge={"drop_chance": 0.0})
    rig.board.mechanics.truths["drop_chance"] = 1.1
    rig.run(5)
    assert rig.state == "FAULTED"
    assert [fault["code"] for fault in rig.all("Fault")] == ["CELL_SILENT"]
    assert rig.last("Fault")["shaft"] is None
    rig.board.mechanics.truths["drop_chance"] = 0.0
    rig.order("CLEAR_FAULT")
    rig.run_to("IDLE")
    assert rig.measure()["complete"]


def test_a_full_store_gives_the_shaft_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(board.Board, "READINGS", 400)  # more than the program asks for, less than come on its ways
    rig = rig_with()
    end = rig.measure()
    assert (end["complete"], end["cause"], end["readings"]) == (False, "BUFFER_FULL", 400)
    assert (400 - 64 < rig.last("Fault")["detail"] <= 400, pressed(rig)) == (True, 0)
    assert sum(len(block["counts"]) for block in blocks(rig)) == 400
    rig.acknowledge()
    assert rig.state == "IDLE"


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

    rig.board.mark_take = flickering
    assert rig.measure()["cause"] is None
    marks = [len(block["marks"]) for block in blocks(rig)]
    assert max(marks) == 12
    assert sum(marks) == 64


@pytest.mark.parametrize("rows", [1, 2, 63, 64, 65])
def test_a_full_store_holds_the_block_that_a_change_of_step_opens(rows: int) -> None:
    room = 1000
    store = held.Held(room)
    store.begin(1, 12500)
    taken = 0
    while not store.full():
        if taken and taken % rows == 0:
            store.close()
        store.add(taken % 9, 12500 * taken % 2**30, 12500, 0, 0, taken, 0)
        store.mark(taken)
        taken += 1
    store.close()
    assert store.blocks <= held.BLOCKS_MAX
    assert store.readings == taken
    assert taken == room or store.blocks == held.BLOCKS_MAX
    out = bytearray(1536)
    written = 0
    while store.waiting():
        store.write_next(1, out, 0)
        written += 1
    assert written == store.blocks


def test_what_the_code_does_not_expect_is_an_internal_fault() -> None:
    rig = begun(rig_with(), "FULL")
    rig.device.gauge._then = "nonsense"
    rig.device.gauge.rotate.halt()
    rig.run_to("FAULTED")
    rig.run(0.1)
    end = rig.last("EndOfShaft")
    assert (end["complete"], end["cause"]) == (False, "INTERNAL")
    assert pressed(rig) == 0


def test_single_bad_samples_are_no_fault() -> None:
    chances = {"spike_chance": 0.005, "repeat_chance": 0.005, "drop_chance": 0.005, "spike_count": 3_000_000}
    rig = rig_with(gauge=chances)
    end = rig.measure()
    assert end["complete"]
    assert rig.all("Fault") == []
    gaps = [odd for block in blocks(rig) for odd in block["unusual"] if odd["status"] & 8]
    assert 1 <= len(gaps) <= 12  # 4 lost of 790 on average
    assert max(max(block["counts"]) for block in blocks(rig)) > 2_000_000


def test_index_marks_come_once_a_turn() -> None:
    rig = rig_with(gauge={"index_mark": True})
    rig.measure()
    marks = [mark for block in blocks(rig) for mark in block["marks"]]
    turns = [b - a for a, b in pairwise(marks)]
    assert len(marks) >= 5
    assert all(abs(turn - 800 / 0.997) <= 1 for turn in turns)  # 3200 steps, 30 mm on 7.5 mm, slip 0.3 %
