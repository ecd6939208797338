"""Output of the device: records first, then blocks of readings, then the end of the program.

Writing never blocks. Bytes that the line does not take wait in one buffer; blocks wait in their store until the buffer
has room. A record without room is dropped: a host that reads again greets again.
"""

from frames import HEAD, STUFFED_MAX, Encoder
from codec import pack

OUT_BYTES = 4096
RESERVE = 1024  # kept free of blocks, for records
RECORD_BYTES = 512  # at most, for one framed: Identify with a long name and a long reason in other letters


class Outbox:
    """Queue that frames records and held blocks and passes the bytes to `board.write` as fast as it takes them."""

    def __init__(self, board, held) -> None:
        self._board = board
        self._held = held
        self._encoder = Encoder()
        self._out = bytearray(OUT_BYTES)
        self._view = memoryview(self._out)  # moved without a copy: a used heap may have no such piece left
        self._start = self._end = 0

    def record(self, branch: int, values: tuple) -> bool:
        """Queue a record; return False if there was no room and it was dropped."""
        if not self._room(RECORD_BYTES):
            return False
        self._frame(pack(self._encoder.raw, HEAD, branch, values))
        return True

    def send(self) -> bool:
        """Queue wanted blocks while there is room and write what the line takes; return True if no block waits."""
        while self._held.waiting() and self._room(STUFFED_MAX + RESERVE):
            self._frame(self._held.write_next(self._board.boot, self._encoder.raw, HEAD))
        if self._start < self._end:
            self._start += self._board.write(self._out, self._start, self._end)
        if self._start == self._end:
            self._start = self._end = 0
        return not self._held.waiting()

    def _room(self, size: int) -> bool:
        if self._end + size > OUT_BYTES and self._start:
            waiting = self._end - self._start
            self._view[:waiting] = self._view[self._start : self._end]
            self._start, self._end = 0, waiting
        return self._end + size <= OUT_BYTES

    def _frame(self, end: int) -> None:
        self._end = self._encoder.encode(end, self._out, self._end)
