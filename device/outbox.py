"""Output of the device: records first, then blocks of readings, then the end of the program.

Writing never blocks. Bytes that the line does not take wait in one buffer, filled anew when it is empty; blocks wait
in their store until it has room. A record without room is dropped: a host that reads again greets again.

    outbox.record(REPLY, (boot, sequence, None, ""))
    outbox.send()  # in every turn of the loop
"""

from codec import pack
from frames import HEAD, STUFFED_MAX, Encoder

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
        self._start = self._end = 0

    def record(self, branch: int, values: tuple) -> bool:
        """Queue a record; return False if there was no room and it was dropped."""
        if self._end + RECORD_BYTES > OUT_BYTES:
            return False
        self._frame(pack(self._encoder.raw, HEAD, branch, values))
        return True

    def send(self) -> bool:
        """Queue wanted blocks while there is room and write what the line takes; return True if no block waits."""
        while self._held.waiting() and self._end + STUFFED_MAX + RESERVE <= OUT_BYTES:
            self._frame(self._held.write_next(self._board.boot, self._encoder.raw, HEAD))
        if self._start < self._end:
            self._start += self._board.write(self._out, self._start, self._end)
        if self._start == self._end:
            self._start = self._end = 0
        return not self._held.waiting()

    def _frame(self, end: int) -> None:
        self._end = self._encoder.encode(end, self._out, self._end)
