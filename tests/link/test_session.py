"""The host's side of the conversation with a scripted gauge that loses, repeats, resets and falls silent.

Time is a number that the tests move; nothing waits.
"""

import tracemalloc
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import scripted_gauge as scripted
from hypothesis import given, settings
from hypothesis import strategies as st
from midspan.base.errors import DeviceFault, LinkError, MidspanError, ProtocolError
from midspan.link import session_events as out
from midspan.link.session import EXPECTING_NOTHING, Session
from midspan.link.session_states import TABLE, SessionSignal, SessionState
from midspan.wire.records import (
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    Feed,
    LastRelease,
    Phase,
    Program,
    Release,
    Source,
    State,
    Step,
)
from midspan.wire.schema import fingerprint
from scripted_gauge import ScriptedGauge

SHAFT = 4
STEP = Step(Phase.BENCH, 0, None, None, None, 0, 15, 4, True, 6400, 640)
PROGRAM = Program(SHAFT, False, (STEP,))
STARTED_MS = 1_700_000_000_000
STEP_S = 0.1


class Talk:
    """A session and a scripted gauge on one line, with a clock of its own."""

    def __init__(self, gauge: ScriptedGauge | None = None, session: Session | None = None) -> None:
        self.gauge = gauge or ScriptedGauge()
        self.session = session or Session()
        self.now_s = 1000.0
        self.events: list[out.SessionEvent] = []

    def step(self, spoil: Callable[[bytes], bytes] = lambda data: data) -> list[out.SessionEvent]:
        """Exchange bytes once in each direction and let a tenth of a second pass; return the events."""
        answer = self.gauge.hear(self.session.outgoing())
        found = self.session.receive(spoil(answer), self.now_s) + self.session.tick(self.now_s)
        self.events += found
        self.now_s += STEP_S
        return found

    def run(self, spoil: Callable[[bytes], bytes] = lambda data: data, limit_s: float = 600.0) -> "Talk":
        """Exchange until the session expects nothing more; fail after `limit_s`."""
        end_s = self.now_s + limit_s
        self.step(spoil)
        while self.session.state not in EXPECTING_NOTHING:
            assert self.now_s < end_s, f"hangs in {self.session.state}"
            self.step(spoil)
        return self

    def greeted(self) -> "Talk":
        self.session.greet(self.now_s)
        return self.run()

    def ordered(self) -> "Talk":
        """Greet the gauge and order a shaft; nothing of it is exchanged yet."""
        self.greeted().session.run(PROGRAM, "a", STARTED_MS, self.now_s)
        return self

    def found(self, kind: type) -> list:
        return [event for event in self.events if isinstance(event, kind)]

    def failure(self) -> MidspanError:
        (failed,) = self.found(out.Failed)
        return failed.error

    def sent(self, name: str) -> list[dict]:
        return [datum for record, datum in self.gauge.received if record == name]

    def finished(self) -> "Talk":
        """Check that the whole shaft came as the script has it, and return this talk."""
        (finished,) = self.found(out.Finished)
        run = finished.run
        assert (run.shaft, run.label, run.started_ms, run.complete) == (SHAFT, "a", STARTED_MS, True)
        assert run.counts.tolist() == [5000 + first - 3 * i for first in (0, 3, 6, 9, 12) for i in range(3)]
        assert run.rotate_steps.tolist() == list(range(0, 150, 10))
        assert run.status.tolist() == [0] * 5 + [8] + [0] * 9
        assert self.session.state is SessionState.FINISHED
        return self


def lose(*which: tuple[str, int]) -> ScriptedGauge:
    """Return a gauge of whose records some are lost on the line, each given by its name and its count from 1."""
    return ScriptedGauge(lose=lambda name, datum, count: (name, count) in which)


def test_a_whole_conversation() -> None:
    talk = Talk().greeted()
    assert talk.found(out.Identified)[0].identify.gauge == "scripted"
    talk.session.run(PROGRAM, "a", STARTED_MS, talk.now_s)
    run = talk.run().finished().found(out.Finished)[0].run
    assert run.segments == ((Phase.ZERO_BEFORE, 3), (Phase.LIGHT, 6), (Phase.FULL, 3), (Phase.ZERO_AFTER, 3))
    assert run.tick_us.tolist() == [37500 * block + 12507 * i for block in range(5) for i in range(3)]
    assert (run.marks.tolist(), run.duration_ms, run.sampling_ms, run.boot) == ([95], 900, 700, 77)
    assert [event.readings for event in talk.found(out.BlockCame)] == [3, 6, 9, 12, 15]
    assert talk.sent("Acknowledge") == []  # not before the caller has it on disk
    talk.session.stored(SHAFT, talk.now_s)
    assert talk.run().session.state is SessionState.READY
    assert talk.sent("Acknowledge") == [{"shaft": SHAFT}]
    assert talk.session.line.lost == talk.session.repeats == talk.session.out_of_place == 0


@pytest.mark.parametrize(
    "gauge",
    [
        ScriptedGauge(),
        lose(("Reply", 1)),  # the step is repeated, or its blocks show that it was accepted
        lose(("Reply", 1), *(("Readings", n) for n in range(1, 6)), ("EndOfShaft", 1)),
        lose(("EndOfShaft", 1)),  # the greeting finds the head standing and the step held
        lose(("Readings", 2), ("Event", 2), ("EndOfShaft", 2)),
    ],
)
def test_programs_that_let_the_head_stand_wait_for_a_person(gauge: ScriptedGauge) -> None:
    talk = Talk(gauge).greeted()
    for number in (SHAFT, SHAFT + 1):
        talk.session.run(Program(number, True, (STEP,)), "a", STARTED_MS, talk.now_s)
        run = talk.run().found(out.Finished)[-1].run
        assert (run.shaft, run.label, run.segments) == (number, "a", ((Phase.BENCH, 15),))
        talk.session.stored(number, talk.now_s)
        assert talk.run().session.state is SessionState.READY
        talk.now_s += 3600  # a person looks for the next mass
        assert talk.step() == []
    assert talk.found(out.Failed) == []
    assert [datum["shaft"] for datum in talk.sent("Acknowledge")] == [SHAFT, SHAFT + 1]
    talk.session.clear_fault(talk.now_s)
    assert talk.run().session.state is SessionState.READY
    assert talk.gauge.identify["state"] == "IDLE"


@pytest.mark.parametrize(
    "gauge",
    [
        ScriptedGauge(),
        lose(("Reply", 1)),  # the order is repeated
        lose(("Event", 1), ("Event", 2)),  # the greeting finds the gauge at rest
        lose(("Reply", 1), ("Event", 1), ("Event", 2), ("Event", 3)),
    ],
)
def test_a_shaft_comes_and_goes_whatever_is_lost(gauge: ScriptedGauge) -> None:
    talk = Talk(gauge).greeted()
    for order in (Feed(SHAFT, Source.HOPPER), Release(SHAFT, 3)):
        talk.session.handle(order, talk.now_s)
        assert talk.run().session.state is SessionState.READY
        assert talk.found(out.Done)[-1].request == order
    assert talk.found(out.Failed) == []
    talk.session.greet(talk.now_s)
    identify = talk.run().session.identify
    assert (identify.state, identify.feeder.in_gauge) == (State.IDLE, None)
    assert identify.feeder.last_release == LastRelease(SHAFT, 3, True, 1)


@pytest.mark.parametrize(
    ("refusal", "kind", "code"), [("NOT_SAFE", DeviceFault, ""), ("NO_FEEDER", ProtocolError, "NO_FEEDER")]
)
def test_a_refused_feed_is_named(refusal: str, kind: type, code: str) -> None:
    talk = Talk(ScriptedGauge(refuse={"Feed": refusal})).greeted()
    talk.session.handle(Feed(SHAFT, Source.HOPPER), talk.now_s)
    failure = talk.run().failure()
    assert (type(failure), failure.code) == (kind, code)
    assert "Feed" in str(failure)
    assert talk.session.state is SessionState.READY


def test_a_refused_program_is_named() -> None:
    talk = Talk(ScriptedGauge(refuse={"Program": "BUFFER_TOO_SMALL"})).greeted()
    talk.session.run(PROGRAM, "a", STARTED_MS, talk.now_s)
    failure = talk.run().failure()
    assert failure.code == "BUFFER_TOO_SMALL"
    assert "Program" in str(failure)
    assert talk.session.state is SessionState.READY


def test_the_first_bytes_end_what_was_left_half_sent() -> None:
    session = Session()
    session.greet(0.0)
    assert session.outgoing().startswith(b"\0")


@pytest.mark.parametrize("number", range(5))
def test_each_block_lost_is_asked_for(number: int) -> None:
    talk = Talk(lose(("Readings", number + 1))).ordered().run().finished()
    assert talk.sent("Resend") == [{"shaft": SHAFT, "blocks": [number]}]
    assert talk.session.line.lost == 1


@pytest.mark.parametrize(
    "gauge",
    [
        lose(("Readings", 1), ("Readings", 3), ("Readings", 6)),  # the sixth is the first that is sent again
        lose(("EndOfShaft", 1)),
        lose(("EndOfShaft", 1), ("EndOfShaft", 2), ("Readings", 5)),
        lose(("Event", 1), ("Event", 2)),
        lose(("Reply", 1)),  # the order is repeated, or its blocks show that it was accepted
        lose(("Reply", 1), *(("Readings", n) for n in range(1, 6)), ("EndOfShaft", 1)),
        lose(("Identify", 1)),
        lose(("Reply", 1), ("Identify", 2), ("EndOfShaft", 1)),
    ],
)
def test_what_is_lost_comes_again(gauge: ScriptedGauge) -> None:
    talk = Talk(gauge).ordered().run().finished()
    talk.session.stored(SHAFT, talk.now_s)
    assert talk.run().session.state is SessionState.READY
    assert talk.found(out.Failed) == []


def test_every_record_lost_once_or_damaged_is_mended() -> None:
    """Damage a single frame of the gauge, each in its turn."""
    for victim in range(1, 10):
        frames_seen = [0]

        def spoil(data: bytes, seen: list[int] = frames_seen, victim: int = victim) -> bytes:
            pieces = data.split(b"\0")
            for index, piece in enumerate(pieces[:-1]):
                seen[0] += 1
                if seen[0] == victim:
                    pieces[index] = piece[:4] + bytes([piece[4] ^ 0x41]) + piece[5:]
            return b"\0".join(pieces)

        talk = Talk()
        talk.session.greet(talk.now_s)
        talk.run(spoil).session.run(PROGRAM, "a", STARTED_MS, talk.now_s)
        talk.run(spoil).finished()
        assert talk.session.line.damaged == 1


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_order_repetition_and_cut_of_blocks_gives_the_same_run(data: st.DataObject) -> None:
    """Lose frames at random: the shaft is whole in the end, or the failure is declared."""
    losses = data.draw(st.lists(st.booleans(), min_size=40, max_size=40))
    gauge = ScriptedGauge()
    gauge.lose = lambda name, datum, count: name != "Identify" and losses[gauge._sequence % 40]
    talk = Talk(gauge).greeted()
    talk.session.run(PROGRAM, "a", STARTED_MS, talk.now_s)
    talk.run()
    if talk.session.state is SessionState.FINISHED:
        talk.finished()
    else:
        assert isinstance(talk.failure(), LinkError)


def test_blocks_in_pieces_of_one_byte() -> None:
    talk = Talk().ordered()
    answer = talk.gauge.hear(talk.session.outgoing())
    for byte in answer:
        talk.events += talk.session.receive(bytes([byte]), talk.now_s)
    talk.finished()


def test_blocks_in_reverse_order_and_twice() -> None:
    talk = Talk().ordered()
    pieces = talk.gauge.hear(talk.session.outgoing()).split(b"\0")[:-1]
    reply, event, *blocks, held, end = pieces
    shuffled = [reply, event, *reversed(blocks), *blocks, held, end]
    talk.events += talk.session.receive(b"\0".join([*shuffled, b""]), talk.now_s)
    talk.run().finished()
    assert (talk.session.line.lost, talk.session.line.old) == (4, 9)
    assert talk.sent("Resend") == [{"shaft": SHAFT, "blocks": [0, 1, 2, 3]}]  # what was overtaken is asked for
    assert talk.session.duplicates == 0  # the frames came twice, not the blocks


def test_a_block_that_comes_twice_and_differs_is_refused() -> None:
    gauge = ScriptedGauge(hold_back=True)
    talk = Talk(gauge).ordered()
    talk.step()
    gauge.say("Readings", **scripted.block(SHAFT, 0, 0))
    gauge.say("Readings", **scripted.block(SHAFT, 0, 0, counts=[1, 2, 3]))
    talk.run()
    assert talk.failure().code == "block_changed"
    assert isinstance(talk.failure(), ProtocolError)


@pytest.mark.parametrize(
    ("held", "code"),
    [
        ([scripted.block(SHAFT, 0, 0), scripted.block(SHAFT, 1, 4)], "gap"),
        ([scripted.block(SHAFT, 0, 0, phase=len(Phase))], "phase_unknown"),
        ([scripted.block(SHAFT, 0, 0), scripted.block(SHAFT, 1, 3, Phase.FULL), scripted.block(SHAFT, 2, 6)], "no_run"),
    ],
)
def test_blocks_that_make_no_run_are_refused(held: list[dict], code: str) -> None:
    talk = Talk(ScriptedGauge(held=held)).ordered().run()
    assert talk.failure().code == code
    assert isinstance(talk.failure(), ProtocolError)
    assert talk.session.state is SessionState.READY


def test_a_block_that_never_comes_is_an_error_and_can_be_fetched_later() -> None:
    gauge = ScriptedGauge(lose=lambda name, datum, count: name == "Readings" and datum["block"] == 3)
    talk = Talk(gauge).ordered().run()
    assert talk.failure().code == "unobtainable"
    assert all(part in str(talk.failure()) for part in ("shaft 4", "block 3"))
    assert len(talk.sent("Resend")) == 5
    gauge.lose = lambda name, datum, count: False  # the cable is mended; the gauge still holds the shaft
    talk.session.fetch(SHAFT, "a", STARTED_MS, talk.now_s)
    talk.run().finished()


def test_a_shaft_with_more_gaps_than_one_request_holds() -> None:
    held = [scripted.block(SHAFT, i, i, Phase.LIGHT, readings=1, tick_us=5000 * i) for i in range(150)]
    gauge = ScriptedGauge(held=held, lose=lambda name, datum, count: name == "Readings" and count <= 150)
    talk = Talk(gauge).ordered().run()
    assert [len(request["blocks"]) for request in talk.sent("Resend")] == [64, 64, 22]
    assert len(talk.found(out.Finished)[0].run) == 150


def test_a_shaft_held_from_an_earlier_host_is_fetched() -> None:
    gauge = ScriptedGauge(held=scripted.shaft_blocks(SHAFT))
    gauge.identify.update(state="HOLDING", held_shaft=SHAFT, held_blocks=5)
    talk = Talk(gauge).greeted()
    assert talk.session.identify.held_shaft == SHAFT
    talk.session.fetch(SHAFT, "a", STARTED_MS, talk.now_s)
    talk.run().finished()
    assert [request["blocks"] for request in talk.sent("Resend")] == [[], [0, 1, 2, 3, 4]]


def test_a_shaft_cut_short_comes_with_its_cause() -> None:
    gauge = ScriptedGauge(held=scripted.shaft_blocks(SHAFT)[:2], complete=False, cause="TRAVEL_LIMIT")
    talk = Talk(gauge).ordered()
    gauge.say("Fault", code="TRAVEL_LIMIT", state="RUNNING", step=5, tick_us=4, shaft=SHAFT, detail=30000)
    run = talk.run().found(out.Finished)[0].run
    assert (run.complete, run.cause, len(run)) == (False, "TRAVEL_LIMIT", 6)
    assert talk.found(out.Faulted)[0].fault.detail == 30000


def test_a_shaft_without_any_reading_is_a_run_too() -> None:
    gauge = ScriptedGauge(hold_back=True, complete=False, cause="HOST_SILENT")
    talk = Talk(gauge).ordered()
    talk.step()
    gauge.held = []
    gauge.finish()
    run = talk.run().found(out.Finished)[0].run
    assert (len(run), run.segments, run.tick_us.tolist()) == (0, (), [])


EMPTY = {"readings": 0, "lateness_us": [], "rotate_steps": [], "press_steps": [], "counts": []}
END = {"shaft": SHAFT, "complete": True, "cause": None, "duration_ms": 900, "sampling_ms": 700,
       "temperature_centi": None, "by_shaft": False}  # fmt: skip
ONE_BLOCK = {**END, "blocks": 1, "readings": 3}
INT_MAX = 2**31 - 1


def mid_shaft() -> Talk:
    """Return a talk with a shaft under way of which nothing has come yet."""
    talk = Talk(ScriptedGauge(hold_back=True)).ordered()
    talk.step()
    return talk


@pytest.mark.parametrize(
    ("records", "code", "named"),
    [
        ([("EndOfShaft", {**END, "blocks": INT_MAX, "readings": INT_MAX})], "over_capacity", "shaft 4"),
        ([("EndOfShaft", {**END, "blocks": 1000, "readings": 999})], "empty_block", "1000"),
        ([("EndOfShaft", {**END, "blocks": 800, "readings": 2401})], "over_capacity", "2400"),
        ([("Readings", scripted.block(SHAFT, 1, 2398))], "over_capacity", "block 1"),
        ([("Readings", scripted.block(SHAFT, n, 3 * n, marks=[1] * 1000)) for n in range(20)], "over_capacity", "19"),
        ([("EndOfShaft", {**END, "blocks": -1, "readings": 0})], "", "EndOfShaft.blocks -1"),
        ([("Readings", scripted.block(SHAFT, INT_MAX, 0))], "empty_block", str(INT_MAX)),
        ([("Readings", scripted.block(SHAFT, 0, 100_000, tick_us=0))], "over_capacity", "block 0"),
        ([("Readings", scripted.block(SHAFT, 0, 0, **EMPTY))], "empty_block", "block 0"),
        ([("Readings", scripted.block(SHAFT, 0, 0, tick_us=2**30))], "", "Readings.tick_us 1073741824"),
        ([("Readings", scripted.block(SHAFT, 0, 0, unusual=[{"reading": 0, "status": 70000}]))], "", "70000"),
        ([("EndOfShaft", ONE_BLOCK), ("Readings", scripted.block(SHAFT, 1, 3))], "unpromised_block", "block 1"),
        ([("Readings", scripted.block(SHAFT, 1, 3)), ("EndOfShaft", ONE_BLOCK)], "unpromised_block", "number 1"),
        ([("EndOfShaft", {**END, "blocks": n, "readings": 9}) for n in (2, 3)], "end_changed", "shaft 4"),
    ],
)  # fmt: skip
def test_no_count_is_believed_beyond_what_the_gauge_can_hold(
    records: list[tuple[str, dict]], code: str, named: str
) -> None:
    talk = mid_shaft()
    for name, datum in records:
        talk.gauge.say(name, **datum)
    tracemalloc.start()
    try:
        talk.step()
        most_bytes = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert isinstance(talk.failure(), ProtocolError)
    assert (talk.failure().code, named in str(talk.failure())) == (code, True)
    assert most_bytes < 1 << 20
    assert len(talk.sent("Resend")) < 3


def test_blocks_that_span_more_time_than_the_shaft_took_make_no_run() -> None:
    held = scripted.shaft_blocks(SHAFT)
    held[2]["tick_us"] += 600_000_000
    talk = Talk(ScriptedGauge(held=held)).ordered().run()
    assert talk.failure().code == "too_long"


class UnpromisedBlocks(ScriptedGauge):
    """A gauge that answers each request for blocks with a block that its end did not promise."""

    readings = 0

    def _obey(self, name: str, datum: dict) -> None:
        if name == "Resend":
            number = 100 + len(self.received)
            columns = EMPTY if self.readings == 0 else {}
            self.say("Readings", **scripted.block(SHAFT, number, 0, **columns))
            self.say_end()
        else:
            super()._obey(name, datum)


@pytest.mark.parametrize("readings", [0, 3])
def test_blocks_that_bring_nothing_on_end(readings: int) -> None:
    gauge = UnpromisedBlocks(held=scripted.shaft_blocks(SHAFT))
    gauge.readings = readings
    gauge.identify.update(state="HOLDING", held_shaft=SHAFT, held_blocks=5)
    talk = Talk(gauge).greeted()
    talk.session.fetch(SHAFT, "a", STARTED_MS, talk.now_s)
    assert isinstance(talk.run(limit_s=60).failure(), ProtocolError)
    assert len(talk.sent("Resend")) < 3


def test_a_gauge_that_goes_round_and_round_is_given_up() -> None:
    """The gauge speaks all the time, of another host's shafts for instance, and nothing comes of this shaft."""
    talk = mid_shaft()
    began_s = talk.now_s
    while talk.session.state is SessionState.MEASURING:
        assert talk.now_s - began_s < 300
        talk.gauge.say_event("RUNNING")
        talk.gauge.say_event("RETRACTING")
        talk.step()
    assert talk.failure().code == "no_progress"


@pytest.mark.parametrize("silence_ms", [0, -5])
def test_a_greeting_is_not_repeated_without_a_pause(silence_ms: int) -> None:
    gauge = ScriptedGauge()
    gauge.identify.update(silence_ms=silence_ms, state="HOMING")
    talk = Talk(gauge).greeted()
    assert f"Identify.silence_ms {silence_ms}," in str(talk.failure())
    assert len(talk.sent("Greet")) < 10


def test_a_request_is_not_repeated_to_a_gauge_that_was_reset() -> None:
    """Its refusals look old because it counts its frames anew, so it is asked who it is first."""
    talk = Talk(lose(("Reply", 1))).greeted()
    talk.gauge.refuse["Feed"] = "WRONG_PROTOCOL"
    for _ in range(9):
        talk.gauge.say_event("IDLE")
    talk.step()
    talk.session.handle(Feed(SHAFT, Source.HOPPER), talk.now_s)
    talk.gauge._sequence = 0
    talk.gauge.identify.update(boot=78)
    talk.gauge.say_event("IDLE")
    talk.run()
    assert talk.failure().code == "reset"
    assert len(talk.sent("Feed")) == 1


def test_the_device_clock_may_wrap_between_blocks() -> None:
    held = scripted.shaft_blocks(SHAFT)
    for item in held:
        item["tick_us"] = (2**30 - 50000 + item["first"] * 12500) % 2**30
    run = Talk(ScriptedGauge(held=held)).ordered().run().found(out.Finished)[0].run
    assert run.tick_us[::3].tolist() == [0, 37500, 75000, 112500, 150000]
    assert np.all(np.diff(run.tick_us) > 0)


def test_stop_brings_the_shaft_so_far() -> None:
    talk = Talk(ScriptedGauge(hold_back=True)).ordered()
    talk.step()
    talk.session.stop(talk.now_s)
    run = talk.run().found(out.Finished)[0].run
    assert (run.complete, run.cause) == (False, "STOPPED_BY_HOST")


def test_what_comes_is_answered_once_in_a_batch() -> None:
    talk = Talk().ordered().run()
    assert [d["order"] for d in talk.sent("Command")] == ["KEEP_ALIVE"]
    talk.gauge.hear(talk.session.outgoing())  # the answer to reply, events, blocks and end together
    assert [d["order"] for d in talk.sent("Command")] == ["KEEP_ALIVE", "KEEP_ALIVE"]


def test_silence_of_a_moving_gauge_is_broken_in_time() -> None:
    """The gauge takes the host for gone after silence_ms; the host speaks at least three times within it."""
    talk = Talk(ScriptedGauge(hold_back=True)).ordered()
    talk.gauge.identify["silence_ms"] = 2000
    talk.step()
    before, began_s = len(talk.gauge.received), talk.now_s
    while talk.now_s - began_s < 2.0:
        talk.step()
    assert len(talk.gauge.received) - before >= 3
    assert talk.session.state is SessionState.MEASURING


def test_a_refused_keep_alive_tells_of_a_reset_at_once() -> None:
    """Otherwise host and gauge would keep each other alive and refuse for ever."""
    talk = Talk(ScriptedGauge(hold_back=True)).ordered()
    talk.step()
    talk.gauge.say("Reply", to_sequence=40_000, refusal="WRONG_PROTOCOL", field="")
    talk.step()
    assert talk.failure().code == "reset"
    assert talk.session.state is SessionState.APART


def test_a_greeting_is_repeated_however_much_else_comes_and_nothing_else_is_said_before() -> None:
    """A lost greeting, and a gauge that still streams or still refuses what came before it."""
    talk = Talk(lose(("Identify", 1)))
    talk.session.greet(talk.now_s)
    began_s = talk.now_s
    while talk.session.state is not SessionState.READY:
        assert talk.now_s - began_s < 2.0
        talk.gauge.say("Reply", to_sequence=0, refusal="WRONG_PROTOCOL", field="")
        talk.gauge.say("Readings", **scripted.block(SHAFT, 0, 0))
        talk.step()
    assert talk.found(out.Failed) == []
    assert [name for name, _ in talk.gauge.received] == ["Greet", "Greet"]


def test_a_gauge_that_goes_dumb_in_mid_shaft() -> None:
    talk = Talk(ScriptedGauge(hold_back=True)).ordered()
    talk.step()
    talk.gauge.mute = True
    began_s = talk.now_s
    talk.run()
    assert 5.0 <= talk.now_s - began_s <= 6.0
    assert talk.failure().code == "silent"
    assert SessionState.MEASURING.value in str(talk.failure())
    talk.gauge.mute = False
    talk.gauge.held, talk.events = scripted.shaft_blocks(SHAFT), []
    talk.gauge.finish()  # it parked by itself; the host comes back and gets everything
    talk.greeted().session.fetch(SHAFT, "a", STARTED_MS, talk.now_s)
    talk.run().finished()


def test_a_gauge_that_moves_for_ever() -> None:
    talk = Talk(ScriptedGauge(hold_back=True)).ordered()
    began_s = talk.now_s
    talk.run()
    assert 120 <= talk.now_s - began_s <= 122
    assert isinstance(talk.failure(), LinkError)


def test_a_reset_in_mid_shaft() -> None:
    talk = Talk(ScriptedGauge(hold_back=True)).ordered()
    talk.step()
    talk.gauge.identify.update(boot=78, state="HOMING", held_shaft=None)
    talk.run()
    assert talk.failure().code == "reset"
    assert "shaft 4" in str(talk.failure())
    assert talk.session.state is SessionState.APART


def test_a_gauge_at_rest_that_lost_the_shaft() -> None:
    talk = Talk(ScriptedGauge(hold_back=True)).ordered()
    talk.step()
    talk.gauge.identify.update(state="IDLE", held_shaft=None)
    talk.run()
    assert talk.failure().code == "lost"
    assert all(part in str(talk.failure()) for part in ("IDLE", "shaft 4"))
    assert talk.session.state is SessionState.READY


def test_a_gauge_that_forgot_the_greeting() -> None:
    talk = Talk(ScriptedGauge(refuse={"Program": "WRONG_PROTOCOL"})).ordered().run()
    assert talk.failure().code == "reset"
    assert talk.session.state is SessionState.APART


@pytest.mark.parametrize(
    ("order", "give"),
    [
        ("Program", lambda talk: talk.session.run(PROGRAM, "", 0, talk.now_s)),
        ("Acknowledge", lambda talk: talk.session.stored(1, talk.now_s)),
        ("Resend", lambda talk: talk.session.fetch(1, "", 0, talk.now_s)),
        ("CLEAR_FAULT", lambda talk: talk.session.clear_fault(talk.now_s)),
    ],
)
def test_each_refusal_names_its_order(order: str, give: Callable[[Talk], None]) -> None:
    talk = Talk(ScriptedGauge(refuse={order: "WRONG_STATE"})).greeted()
    give(talk)
    talk.run()
    assert talk.failure().code == "WRONG_STATE"
    assert order in str(talk.failure())
    assert talk.session.state is SessionState.READY


@pytest.mark.parametrize(
    "changes", [{"protocol_major": 3}, {"fingerprint": bytes(8)}, {"protocol_major": 9, "fingerprint": bytes(8)}]
)
def test_a_foreign_version_is_refused_and_both_are_named(changes: dict) -> None:
    gauge = ScriptedGauge()
    gauge.identify.update(changes)
    talk = Talk(gauge).greeted()
    failure = talk.failure()
    theirs = f"{gauge.identify['protocol_major']}.1 (schema {gauge.identify['fingerprint'].hex()})"
    ours = f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR} (schema {fingerprint().hex()})"
    assert (type(failure), failure.code) == (ProtocolError, "other_version")
    assert all(version in str(failure) for version in (theirs, ours))
    assert talk.session.state is SessionState.APART


def test_a_foreign_version_is_known_by_its_first_fields_alone() -> None:
    """In another major version the fields after the first three may be anything."""
    talk = Talk()
    talk.session.greet(talk.now_s)
    body = b"\0" + b"\x0a\x08" + bytes(range(8)) + b"\xff\xff\xff\xff"
    talk.events += talk.session.receive(scripted.frame_bytes(0, body), talk.now_s)
    assert talk.failure().code == "other_version"
    assert all(part in str(talk.failure()) for part in ("5.4", "0001020304050607"))


def test_a_newer_minor_version_of_the_same_schema_is_welcome() -> None:
    gauge = ScriptedGauge()
    gauge.identify["protocol_minor"] = 5
    assert Talk(gauge).greeted().session.state is SessionState.READY


def test_nobody_there() -> None:
    talk = Talk(ScriptedGauge(mute=True))
    began_s = talk.now_s
    talk.greeted()
    assert 5.0 <= talk.now_s - began_s <= 6.0
    assert len(talk.sent("Greet")) >= 4
    assert talk.failure().code == "no_answer"


def test_another_instrument_that_chatters() -> None:
    talk = Talk(ScriptedGauge(mute=True))
    talk.session.greet(talk.now_s)
    talk.run(spoil=lambda data: b"+00123.4 g\r\n")
    assert talk.failure().code == "no_gauge"
    assert talk.session.state is SessionState.APART


def test_a_host_on_the_other_end() -> None:
    talk = Talk().greeted()
    talk.gauge.say("Greet", protocol_major=2, protocol_minor=1, fingerprint=fingerprint())
    talk.step()
    assert talk.failure().code == "wrong_way"


def test_sound_frames_without_a_record() -> None:
    talk = Talk().greeted()
    talk.events += talk.session.receive(scripted.frame_bytes(1, b"\x16\x00"), talk.now_s)
    assert isinstance(talk.failure(), ProtocolError)
    assert talk.session.state is SessionState.APART


def test_late_records_change_nothing() -> None:
    talk = Talk().ordered().run().finished()
    talk.session.stored(SHAFT, talk.now_s)
    talk.run()
    before = talk.session.state
    talk.gauge.say("Readings", **scripted.block(SHAFT, 1, 3))
    talk.gauge.say("Readings", **scripted.block(99, 1, 3))
    talk.gauge.say("Reply", to_sequence=0, refusal=None, field="")
    talk.step()
    assert len(talk.found(out.OutOfPlace)) == talk.session.out_of_place == 3
    assert talk.session.state is before is SessionState.READY


def test_homing_is_waited_for() -> None:
    gauge = ScriptedGauge()
    gauge.identify["state"] = "HOMING"
    talk = Talk(gauge)
    talk.session.greet(talk.now_s)
    talk.step()
    assert talk.session.state is SessionState.SETTLING
    gauge.say_event("IDLE")
    talk.step()
    assert talk.session.state is SessionState.READY


def test_homing_whose_end_is_lost_is_asked_about() -> None:
    gauge = ScriptedGauge()
    gauge.identify["state"] = "HOMING"
    talk = Talk(gauge)
    talk.session.greet(talk.now_s)
    talk.step()
    gauge.identify["state"] = "IDLE"
    assert talk.run().session.state is SessionState.READY


def test_clearing_a_fault() -> None:
    gauge = ScriptedGauge()
    gauge.identify["state"] = "FAULTED"
    talk = Talk(gauge).greeted()
    talk.session.clear_fault(talk.now_s)
    talk.run()
    assert [event.event.state for event in talk.found(out.StateChanged)] == [State.HOMING, State.IDLE]
    assert talk.session.state is SessionState.READY


ORDERS = {
    SessionSignal.GREET: lambda s: s.greet(0.0),
    SessionSignal.RUN: lambda s: s.run(PROGRAM, "", 0, 0.0),
    SessionSignal.FETCH: lambda s: s.fetch(1, "", 0, 0.0),
    SessionSignal.STORED: lambda s: s.stored(1, 0.0),
    SessionSignal.STOP: lambda s: s.stop(0.0),
    SessionSignal.HANDLE: lambda s: s.handle(Feed(1, Source.HOPPER), 0.0),
    SessionSignal.CLEAR_FAULT: lambda s: s.clear_fault(0.0),
}


OUT_OF_PLACE = [(state, order) for state in SessionState for order in ORDERS if (state, order) not in TABLE]


@pytest.mark.parametrize(("state", "order"), OUT_OF_PLACE, ids=[f"{s.name}-{o.name}" for s, o in OUT_OF_PLACE])
def test_an_order_out_of_place_raises_and_changes_nothing(state: SessionState, order: SessionSignal) -> None:
    session = Session()
    session.state = state
    with pytest.raises(ProtocolError) as caught:
        ORDERS[order](session)
    assert caught.value.code == "out_of_order"
    assert all(name in str(caught.value) for name in (order.name, state.name))
    assert (session.state, session.outgoing()) == (state, b"")


def test_every_state_can_be_left() -> None:
    for state in SessionState:
        assert {following for (before, _), (following, _) in TABLE.items() if before is state} - {state}
        assert state in EXPECTING_NOTHING or (state, SessionSignal.SILENCE) in TABLE


def test_a_session_is_used_again_after_a_failure() -> None:
    talk = Talk(ScriptedGauge(mute=True)).greeted()
    talk.gauge.mute = False
    talk.events = []
    talk.ordered().run().finished()


@pytest.mark.parametrize("state", SessionState, ids=lambda state: state.name)
def test_a_greeting_opens_the_conversation_anew_from_every_stage(state: SessionState) -> None:
    talk = Talk().ordered().run()
    talk.session.state = state
    talk.greeted()
    assert talk.session.state is SessionState.READY
    assert talk.session.identify.held_shaft == SHAFT
    talk.events = []
    talk.session.fetch(SHAFT, "a", STARTED_MS, talk.now_s)
    talk.run().finished()


def test_sessions_of_one_line_agree_on_the_run() -> None:
    """Two hosts, one with losses and one without, get the same run."""
    smooth, rough = Talk().ordered().run(), Talk(lose(("Readings", 2), ("EndOfShaft", 1))).ordered().run()
    assert smooth.found(out.Finished)[0].run == rough.found(out.Finished)[0].run
    assert replace(smooth.session.identify, boot=0) == replace(rough.session.identify, boot=0, state=State.IDLE)


def test_a_run_has_the_temperature_of_its_end_and_which_thermometer_it_was() -> None:
    gauge = ScriptedGauge()
    gauge.identify.update(temperature_centi=2700, sensor=True, shaft_centi=1200)  # before the run
    (finished,) = Talk(gauge).ordered().run().found(out.Finished)
    assert (finished.run.temperature_c, finished.run.temperature_source) == (18.75, "SHAFT")
