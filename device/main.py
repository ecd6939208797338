"""The gauge: it connects the parts and runs the loop.

The board is the only part that knows pins and clocks; rehearsal/board.py describes it.
"""

from array import array

from answers import SILENCE_MS, Answers
from frames import Decoder
from gauge import Gauge, StateError
from held import Held
from load_cell import LoadCell, elapsed_us
from outbox import Outbox
from records import END_OF_SHAFT, HOST_SILENT, INTERNAL, RUNNING
from progress import Run
from stepper import Stepper


class Device:
    """A gauge; call `step` for every turn of the loop."""

    def __init__(self, board) -> None:
        self.board = board
        self.held = Held(board.READINGS)
        self.outbox = Outbox(board, self.held)
        self.now_us = board.ticks_us()
        press = Stepper(board.press, board.PRESS_ACCELERATION)
        rotate = Stepper(board.rotate, board.ROTATE_ACCELERATION)
        cell = LoadCell(board.INTERVAL_US, self.now_us)
        run_of_steps = Run(cell, rotate, board.COUNT_LIMIT)
        self.gauge = Gauge(board, press, rotate, cell, self.held, run_of_steps, self.outbox)
        self.answers = Answers(board, self.gauge, self.held, self.outbox)
        board.install_parts(self.gauge, self.answers)
        self._silent_us = 0
        self._moved = False  # when the last turn began: one that begins at rest may take its time
        self._decoder = Decoder()
        self._received = bytearray(256)
        self._sample = array("i", [0] * 5)
        self._mark = array("i", [0])
        self.gauge.start(board.misconfigured)

    def step(self) -> None:
        """Listen, sample, go on with the motions, speak; an unexpected error becomes the fault INTERNAL."""
        before_us, self.now_us = self.now_us, self.board.ticks_us()
        elapsed = elapsed_us(self.now_us, before_us)
        if self._moved:
            self.answers.longest_turn_us = max(self.answers.longest_turn_us, elapsed)
        self._moved = self.gauge.press.moving() or self.gauge.rotate.moving()
        try:
            self.gauge.pass_time(elapsed)
            self._listen(elapsed)
            self._take_samples()
            self.gauge.poll()
        except (StateError, OSError):  # OSError: the board could not write the record of a release
            self.gauge.fail(INTERNAL, self.gauge.state)
        self._speak()

    # The loop's parts

    def _listen(self, elapsed: int) -> None:
        self._silent_us = min(self._silent_us + elapsed, 1000 * SILENCE_MS)  # stops there: no overflow in a quiet week
        for i in range(self.board.read_into(self._received)):
            end = self._decoder.push(self._received[i])
            if end:
                self._silent_us = 0
                self.answers.hear(self._decoder.sequence(), self._decoder.frame, end)
        if self._silent_us >= 1000 * SILENCE_MS and self.gauge.allows("HOST_SILENT"):
            self.gauge.fail(HOST_SILENT, self._silent_us // 1000)

    def _take_samples(self) -> None:
        sample = self._sample
        while self.board.mark_take(self._mark):
            if self.gauge.state == RUNNING:
                self.held.mark(self.gauge.rotate.located(self._mark[0]))
        while self.board.cell_take(sample):
            self.gauge.sample(sample[0], sample[1], sample[2], sample[3], sample[4])
        self.gauge.cell.watch(self.now_us)
        self.gauge.judge_cell()

    def _speak(self) -> None:
        if self.outbox.send() and self.held.end_due:
            self.held.end_due = not self.outbox.record(END_OF_SHAFT, self._end_of_shaft())

    def _end_of_shaft(self) -> tuple:
        gauge, held = self.gauge, self.held
        duration_ms, sampling_ms = gauge.duration_us // 1000, gauge.run.sampling_us // 1000
        complete = gauge.cause is None
        return self.board.boot, held.shaft, held.blocks, held.readings, complete, gauge.cause, duration_ms, sampling_ms


def run(board) -> None:
    """Run the gauge on a board until the board's `idle` returns False because nothing can happen any more."""
    device = Device(board)
    try:
        while board.idle():
            device.step()
    finally:  # whatever happens, nothing goes on moving
        board.press.halt()
        board.rotate.halt()


def main() -> None:
    """Run the gauge on the board of the module `board`: the real one, or the rehearsal's if its folder comes first."""
    from board import this_board

    run(this_board())


if __name__ == "__main__":
    main()
