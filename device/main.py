"""The gauge: it connects the parts and runs the loop.

The board is the only part that knows pins and clocks; rehearsal/board.py describes it.
"""

from array import array

from answers import SILENCE_MS, Answers
from frames import Decoder
from gauge import Gauge, StateError
from held import Held
from load_cell import elapsed_us
from outbox import Outbox
from records import END_OF_SHAFT, RUNNING


class Device:
    """A gauge; call `step` for every turn of the loop."""

    def __init__(self, board) -> None:
        self.board = board
        self.held = Held(board.READINGS)
        self.outbox = Outbox(board, self.held)
        self.now_us = board.ticks_us()
        self.gauge = Gauge(board, self.held, self.outbox)
        self.answers = Answers(self.gauge, self.outbox)
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
        gauge = self.gauge
        before_us, self.now_us = self.now_us, self.board.ticks_us()
        elapsed = elapsed_us(self.now_us, before_us)
        if gauge.shaft is not None:
            gauge.duration_us += elapsed
        if self._moved:
            self.answers.longest_turn_us = max(self.answers.longest_turn_us, elapsed)
        self._moved = gauge.press.moving() or gauge.rotate.moving()
        try:
            self._listen(elapsed)
            self._take_samples()
            gauge.poll(self.now_us, elapsed)
        except (StateError, OSError):  # OSError: the board could not write the record of a release
            gauge.handle("INTERNAL", gauge.state)
        self._speak()

    def _listen(self, elapsed: int) -> None:
        self._silent_us = min(self._silent_us + elapsed, 1000 * SILENCE_MS)  # stops there: no overflow in a quiet week
        for i in range(self.board.read_into(self._received)):
            end = self._decoder.push(self._received[i])
            if end:
                self._silent_us = 0
                self.answers.hear(self._decoder.sequence(), self._decoder.frame, end)
        if self._silent_us >= 1000 * SILENCE_MS:
            self.gauge.offer("HOST_SILENT", SILENCE_MS)

    def _take_samples(self) -> None:
        sample, gauge = self._sample, self.gauge
        while self.board.mark_take(self._mark):
            if gauge.state == RUNNING:
                self.held.mark(gauge.rotate.located(self._mark[0]))
        while self.board.cell_take(sample):
            gauge.sample(sample[0], sample[1], sample[2], sample[3], sample[4])

    def _speak(self) -> None:
        board, gauge, held = self.board, self.gauge, self.held
        if self.outbox.send() and held.end_due:
            end = (board.boot, held.shaft, held.blocks, held.readings, gauge.cause is None, gauge.cause,
                   gauge.duration_us // 1000, gauge.run.sampling_us // 1000, gauge.centi,
                   board.sensor is not None)  # fmt: skip
            held.end_due = not self.outbox.record(END_OF_SHAFT, end)


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
