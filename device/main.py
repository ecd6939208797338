"""The gauge: wires the parts, answers the host and runs the loop.

The board (see board.py of the rehearsal for its face) is the only part that knows pins and clocks.
"""

import gc
import sys

from cycle import (
    FAULTED, HOMING, HOST_SILENT, IDLE, INTERNAL, STANDING, STOPPED_BY_HOST, Cycle, CycleError,
)  # fmt: skip
from frames import HEAD, Decoder
from held import Held
from load_cell import COUNT_MAX, COUNT_MIN, LoadCell, elapsed_us
from outbox import Outbox
from plan import (
    NO_PLAN, OUT_OF_RANGE, SHAFT_MAX, UNKNOWN_SHAFT, WRONG_PROTOCOL, WRONG_STATE, Plan, RefusalError, Step,
)  # fmt: skip
from records import (
    ACKNOWLEDGE, BENCH_STEP, COMMAND, CYCLE_PLAN, END_OF_SHAFT, EVENT, FAULT, FINGERPRINT, GREET, IDENTIFY, ORDERS,
    PROTOCOL_MAJOR, PROTOCOL_MINOR, REPLY, RecordError, Unpacker,
)  # fmt: skip
from array import array
from stepper import Stepper, TravelError

FIRMWARE = "0.1.0"
SILENCE_MS = 3000
RESEND_MAX = 64
TICK, WORD, IN_STEP, ROTATE, PRESS = range(5)  # of what the board latches for a sample
KEEP_ALIVE, MEASURE, STOP, CLEAR_FAULT = range(len(ORDERS))


class Device:
    """One gauge. Call `step` for every turn of the loop."""

    def __init__(self, board) -> None:
        gc.collect()  # the store wants one large piece
        self.board = board
        self.held = Held(board.BUFFER_BYTES)
        self.outbox = Outbox(board, self.held)
        self.now_us = board.ticks_us()
        press = Stepper(board, board.PRESS, board.PRESS_ACCELERATION, 0, board.PRESS_LIMIT)
        rotate = Stepper(board, board.ROTATE, board.ROTATE_ACCELERATION, 0, 0)
        cell = LoadCell(board.INTERVAL_US, self.now_us)
        self.cycle = Cycle(board, press, rotate, cell, self.held, self)
        self.greeted = False
        self.plan: Plan | None = None
        self._end_due = False
        self._silent_us = 0
        self._decoder = Decoder()
        self._received = bytearray(256)
        self._sample = array("i", [0] * 5)
        self._mark = array("i", [0])
        self.cycle.handle("start")

    def step(self) -> None:
        """Listen, sample, move on, speak. What the code does not expect becomes the fault INTERNAL."""
        elapsed = elapsed_us(self.board.ticks_us(), self.now_us)
        self.now_us = self.board.ticks_us()
        try:
            self.cycle.pass_time(elapsed)
            self._listen(elapsed)
            self._take_samples()
            self.cycle.poll()
        except (CycleError, TravelError):
            self.cycle.fail(INTERNAL, self.cycle.state)
        self._speak()

    # The loop's parts

    def _listen(self, elapsed: int) -> None:
        self._silent_us = min(self._silent_us + elapsed, 1000 * SILENCE_MS)  # stops there: no overflow in a quiet week
        for i in range(self.board.read_into(self._received)):
            end = self._decoder.push(self._received[i])
            if end:
                self._silent_us = 0
                self._hear(end)
        if self._silent_us >= 1000 * SILENCE_MS and self.cycle.measuring():
            self.cycle.fail(HOST_SILENT, self._silent_us // 1000)

    def _take_samples(self) -> None:
        sample = self._sample
        while self.board.mark_take(self._mark):
            if self.cycle.measuring():
                self.held.mark(self.cycle.rotate.located(self._mark[0]))
        while self.board.cell_take(sample):
            self.cycle.sample(sample[TICK], sample[WORD], sample[IN_STEP], sample[ROTATE], sample[PRESS])
        self.cycle.cell.watch(self.now_us)
        self.cycle.judge_cell()

    def _speak(self) -> None:
        if self.outbox.send() and self._end_due:
            self._end_due = not self.outbox.record(END_OF_SHAFT, self._end_of_shaft())

    # What the cycle reports

    def event(self, previous: int, state: int) -> None:
        """Tell the host of a change of state."""
        self.outbox.record(EVENT, (self.board.ticks_us(), previous, state, self.cycle.shaft))

    def fault(self, code: int, state: int, detail: int) -> None:
        """Tell the host of a fault."""
        self.outbox.record(FAULT, (code, state, self.board.ticks_us(), self.cycle.shaft, detail))

    def end(self) -> None:
        """Tell the host, after the last block, that the shaft is over."""
        self._end_due = True

    def _end_of_shaft(self) -> tuple:
        cycle, held = self.cycle, self.held
        duration_ms, sampling_ms = cycle.duration_us // 1000, cycle.progress.sampling_us // 1000
        return held.shaft, held.blocks, held.readings, cycle.cause is None, cycle.cause, duration_ms, sampling_ms

    # What the host asks

    def _hear(self, end: int) -> None:
        sequence = self._decoder.sequence()
        try:
            request = Unpacker(self._decoder.frame, HEAD, end)
            if request.branch == GREET:
                self._greet(request.values())
            elif self._answer(request):
                self.outbox.record(REPLY, (sequence, None, ""))
        except RefusalError as refusal:
            self.outbox.record(REPLY, (sequence, refusal.args[0], refusal.args[1]))
        except RecordError:
            self.outbox.record(REPLY, (sequence, WRONG_PROTOCOL, ""))

    def _answer(self, request) -> bool:
        """Do what is asked; whether it wants a Reply."""
        if not self.greeted or request.branch < CYCLE_PLAN:
            raise RefusalError(WRONG_PROTOCOL, "")
        if request.branch == CYCLE_PLAN:
            self._take_plan(request.values())
        elif request.branch == COMMAND:
            return self._command(*request.values())
        elif request.branch == ACKNOWLEDGE:
            self._acknowledge(*request.values())
        elif request.branch == BENCH_STEP:
            self._bench(request.values())
        else:
            self._resend(*request.values())
        return True

    def _greet(self, values: list) -> None:
        self.greeted = values[0] == PROTOCOL_MAJOR and values[2] == FINGERPRINT
        board, held = self.board, self.held
        self.outbox.record(IDENTIFY, (
            PROTOCOL_MAJOR, PROTOCOL_MINOR, FINGERPRINT, board.NAME, FIRMWARE, _runtime(board), board.boot,
            self.cycle.state, held.shaft, held.blocks, board.ticks_us(), board.INTERVAL_US, COUNT_MIN, COUNT_MAX,
            board.COUNT_LIMIT, board.PRESS_LIMIT, SILENCE_MS, board.BUFFER_BYTES))  # fmt: skip

    def _take_plan(self, values: list) -> None:
        if self.cycle.shaft is not None:
            raise RefusalError(WRONG_STATE, "")
        plan = Plan(values, self.board)
        plan.check_room(self.board)
        self.plan = plan

    def _command(self, order: int, shaft) -> bool:
        if order == MEASURE:
            self._measure(shaft)
        elif order == STOP and self.cycle.measuring():
            self.cycle.fail(STOPPED_BY_HOST, self.cycle.press.position())
        elif order == CLEAR_FAULT or (order == STOP and self.cycle.state == STANDING):
            self._clear_fault()
        return order != KEEP_ALIVE

    def _measure(self, shaft) -> None:
        if shaft is None or not 0 <= shaft <= SHAFT_MAX:
            raise RefusalError(OUT_OF_RANGE, "shaft")
        if self._repeated(shaft):
            return
        if self.plan is None:
            raise RefusalError(NO_PLAN, "")
        self._check_allowed("measure")
        self.cycle.measure(shaft, self.plan)

    def _bench(self, values: list) -> None:
        step = Step(values, self.board, self.cycle.press.position())
        if self._repeated(step.shaft):
            return
        self._check_allowed("bench")
        if self.cycle.state == IDLE and step.press_steps:
            raise RefusalError(OUT_OF_RANGE, "press_steps")  # the zero is taken where nothing touches the head
        step.check_room(self.board)
        self.cycle.bench(step)

    def _repeated(self, shaft: int) -> bool:
        """Whether the host repeats itself, because a reply was lost."""
        return self.held.shaft == shaft and self.cycle.state not in (HOMING, IDLE, FAULTED)

    def _check_allowed(self, event: str) -> None:
        if self.held.shaft is not None or not self.cycle.allows(event):
            raise RefusalError(WRONG_STATE, "")

    def _clear_fault(self) -> None:
        if self.cycle.allows("clear"):
            self.cycle.handle("clear")
        elif self.cycle.state not in (HOMING, IDLE):  # there it is done already
            raise RefusalError(WRONG_STATE, "")

    def _acknowledge(self, shaft: int) -> None:
        if self.cycle.shaft == shaft:
            raise RefusalError(WRONG_STATE, "shaft")
        if self.held.shaft == shaft:
            self.held.forget()
            self._end_due = False
            if self.cycle.allows("acknowledged"):
                self.cycle.handle("acknowledged")

    def _resend(self, shaft: int, blocks: list) -> None:
        if self.held.shaft is None or self.held.shaft != shaft:
            raise RefusalError(UNKNOWN_SHAFT, "shaft")
        if len(blocks) > RESEND_MAX or not all(0 <= block < self.held.blocks for block in blocks):
            raise RefusalError(OUT_OF_RANGE, "blocks")
        for block in blocks:
            self.held.want(block)
        self._end_due = self._end_due or self.cycle.shaft is None


def _runtime(board) -> str:
    version = ".".join([str(part) for part in sys.implementation.version[:3]])
    return "{} {} {}{}".format(sys.implementation.name, version, sys.platform, board.RUNTIME_NOTE)


def run(board) -> None:
    """Run the gauge on this board until the board's `idle` says that there is nothing to wait for any more."""
    device = Device(board)
    try:
        while board.idle():
            device.step()
    finally:  # whatever happens, nothing goes on moving
        board.axis_halt(board.PRESS)
        board.axis_halt(board.ROTATE)


def main() -> None:
    """Run the gauge on the board that `board` stands for: the pins, or the rehearsal's when its folder comes first."""
    from board import this_board

    run(this_board())


if __name__ == "__main__":
    main()
