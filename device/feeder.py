"""Feeder and chute: a shaft rolls in from hopper or slot and out into a place; sensors show what happened to it.

Nothing here waits. A release is on record before the gate opens, and recorded as done only after the gate is shut and
the rollers are clear, so that a reset at any moment leaves no false record.
"""

from records import SEATED

LEFT_END, RIGHT_END, ABOVE, HOPPER, SLOT, CHUTE, LID, STOP = [1 << bit for bit in range(8)]  # of the board's inputs
ENDS = LEFT_END | RIGHT_END
SEAT = ENDS | ABOVE
GUARDS = LID | STOP
SOURCE_BITS = (HOPPER, SLOT, SEAT)  # of HOPPER, SLOT, SEATED: one of them is set when a shaft is there
FEED_US = 2000000  # from the escapement's stroke, by when a shaft lies still on its rollers
RELEASE_US = 1500000  # from the gate's opening, by when it has passed the chute
SETTLE_US = 300000  # sensors that have not changed for this long, while nothing moves, are believed
OPENINGS = 3  # of the gate, before a shaft that stays counts as jammed


class Feeder:
    """Feeder and chute; `in_gauge` is the number of the shaft on the rollers, `last` the last release, or None.

    `shaft`, `source` and `place` are those of the order under way, `passed` what the chute saw of it.
    """

    def __init__(self, board) -> None:
        self._board = board
        self.in_gauge: int | None = None
        self.last = board.release_read()
        self.shaft = self.source = self.place = self.passed = 0
        self._openings = 0
        self._open = False
        self._wait()

    def seated(self) -> bool:
        """Return True if something lies on the rollers."""
        return self._board.inputs() & SEAT != 0

    def let_in(self) -> bool:
        """Begin a stroke of the source's escapement, none for a seated shaft; return False if no shaft is there."""
        self._wait()
        if not self._board.inputs() & SOURCE_BITS[self.source]:
            return False
        if self.source != SEATED:
            self._board.let_in(self.source)
        return True

    def coming(self, elapsed_us: int, inputs: int) -> "str | None":
        """Return the event or fault that the shaft let in has led to, None while that is not certain."""
        self._look(elapsed_us, inputs)
        seat = self._seen & SEAT
        if self._waited_us < FEED_US and (self._still_us < SETTLE_US or seat & ENDS != ENDS):
            return None
        if seat & ABOVE:
            return "TWO_SHAFTS"
        if seat == ENDS:
            return "arrived"
        return "SHAFT_SHORT" if seat else "JAM"

    def let_out(self) -> None:
        """Note where the shaft goes, then open the gate."""
        self._note(False, 0)
        while self._board.chute_take():
            pass  # of something else
        self.passed = self._openings = 0
        self._open_gate()

    def leaving(self, elapsed_us: int, inputs: int) -> "str | None":
        """Return the event or fault that the shaft let out has led to, None while that is not certain."""
        self._look(elapsed_us, inputs)
        while self._board.chute_take():
            self.passed += 1
        seat, over = self._seen & SEAT, self._waited_us >= RELEASE_US
        if self._open:
            if over or (self.passed and not seat):
                self._open = False
                self._board.gate(False)
                self._wait()
        elif over or self._still_us >= SETTLE_US:  # by now a second shaft has passed too
            return self._left(seat)
        return None

    def _left(self, seat: int) -> "str | None":
        if seat and self._openings < OPENINGS:
            self._open_gate()
            return None
        if seat:
            return "JAM"
        self._note(True, self.passed)
        self.in_gauge = None
        return "BIN_FULL" if self._seen & CHUTE else "gone"

    def _note(self, done: bool, passed: int) -> None:
        self._board.release_write(self.shaft, self.place, done, passed)
        self.last = (self.shaft, self.place, done, passed)

    def _open_gate(self) -> None:
        self._openings += 1
        self._open = True
        self._board.gate(True)
        self._wait()

    def _wait(self) -> None:
        self._waited_us = self._still_us = 0
        self._seen = -1

    def _look(self, elapsed_us: int, inputs: int) -> None:
        self._waited_us += elapsed_us
        self._still_us += elapsed_us
        if inputs & (SEAT | CHUTE) != self._seen or self._board.handling():
            self._seen = inputs & (SEAT | CHUTE)
            self._still_us = 0
