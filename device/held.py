"""Readings of one program in columns of 32 bits and one of bytes, kept until the host acknowledges them.

A block is up to 64 readings of one step; it is packed when it is sent, as often as the host asks for it. Nothing here
allocates memory once the object is made.
"""

from array import array

from codec import put_int
from micropython import const
from records import READINGS

READINGS_MAX = const(64)  # per block: with the largest numbers they still fit into a frame
BLOCKS_MAX = const(128)
_MARKS_MAX = const(64)  # per program
_BLOCK_MARKS = const(12)


def _column(size: int) -> "array":
    return array("i", bytearray(4 * size))


class Held:
    """Room for a number of readings; `shaft` is the number of the program that they are of, or None.

    `blocks` and `readings` count closed blocks. A closed block waits until it is written out, or wanted again.
    `end_due` is True if the end of the program is to be reported after the last block.

    >>> held = Held(100)
    >>> held.begin(shaft=7, interval_us=12500)
    >>> held.add(phase=2, tick_us=5, gap_us=12500, rotate=16, press=800, count=-5, status=0)
    >>> held.close()
    >>> held.blocks, held.readings, held.waiting()
    (1, 1, True)
    """

    def __init__(self, room: int) -> None:
        self._room = room
        self._lateness, self._rotate, self._press, self._counts = [_column(room) for _ in range(4)]
        self._status = bytearray(room)
        self._marks = _column(_MARKS_MAX)
        self._starts, self._mark_starts, self._ticks = [_column(BLOCKS_MAX + 1) for _ in range(3)]  # of each block
        self._phases = bytearray(BLOCKS_MAX)
        self._wanted = bytearray(BLOCKS_MAX)
        self.shaft: int | None = None
        self.forget()

    def begin(self, shaft: int, interval_us: int) -> None:
        """Start on a program; lateness refers to `interval_us`."""
        self.forget()
        self.shaft = self._number = shaft
        self._interval_us = interval_us

    def forget(self) -> None:
        """Drop everything held."""
        self.shaft = None
        self.end_due = False
        self.blocks = self.readings = self._next = 0  # no block below `_next` waits
        self._used = self._marked = 0  # readings and marks, those of the open block included

    def full(self) -> bool:
        """Return True if no more readings, or no more blocks, have room."""
        return self._used == self._room or self.blocks + 1 >= BLOCKS_MAX

    def want(self, block: int) -> None:
        """Let a closed block wait again."""
        self._wanted[block] = 1
        self._next = min(self._next, block)

    def waiting(self) -> bool:
        """Return True if a closed block waits."""
        while self._next < self.blocks and not self._wanted[self._next]:
            self._next += 1
        return self._next < self.blocks

    def add(self, phase: int, tick_us: int, gap_us: int, rotate: int, press: int, count: int, status: int) -> None:
        """Append a reading that came `gap_us` after the one before; there must be room."""
        at = self._used
        if at == self.readings:  # the first of its block, whose time stands in the block's head
            self._phases[self.blocks], self._ticks[self.blocks] = phase, tick_us
            gap_us = self._interval_us
        self._lateness[at], self._counts[at], self._status[at] = gap_us - self._interval_us, count, status
        self._rotate[at], self._press[at] = rotate, press
        self._used += 1
        if self._used - self.readings == READINGS_MAX:
            self.close()

    def mark(self, rotate: int) -> None:
        """Note where the index mark passed; left out if there is no room, as only a flickering sensor gives so many."""
        if self._marked < min(_MARKS_MAX, self._mark_starts[self.blocks] + _BLOCK_MARKS):
            self._marks[self._marked] = rotate
            self._marked += 1

    def close(self) -> None:
        """Close the open block, if it has readings."""
        if self._used > self.readings:
            self._wanted[self.blocks] = 1
            self.blocks += 1
            self._starts[self.blocks] = self.readings = self._used
            self._mark_starts[self.blocks] = self._marked

    def write_next(self, boot: int, out: bytearray, at: int) -> int:
        """Write the datum of the first waiting block to `out` from `at` on; return the end."""
        block = self._next
        self._wanted[block] = 0
        start, end = self._starts[block], self._starts[block + 1]
        for value in (READINGS, boot, self._number, block, start, self._phases[block], self._ticks[block],
                      self._interval_us):  # fmt: skip
            at = put_int(out, at, value)
        at = _column_out(self._lateness, start, end, False, out, at)
        for column in (self._rotate, self._press):
            moved = end
            while moved > start + 1 and column[moved - 1] == column[moved - 2]:  # an axis that stands costs no bytes
                moved -= 1
            at = _column_out(column, start, moved, True, out, at)
        at = _column_out(self._counts, start, end, True, out, at)
        at = _changes_out(self._status, start, end, out, at)
        return _column_out(self._marks, self._mark_starts[block], self._mark_starts[block + 1], False, out, at)


def _column_out(column, start: int, end: int, changes: bool, out: bytearray, at: int) -> int:
    """Write column[start:end] as an Avro array of values, or of their changes; return the end."""
    last = 0
    if end > start:
        at = put_int(out, at, end - start)
    for i in range(start, end):
        at = put_int(out, at, column[i] - last)
        if changes:
            last = column[i]
    out[at] = 0
    return at + 1


def _changes_out(status: bytearray, start: int, end: int, out: bytearray, at: int) -> int:
    """Write an Avro array of the places where a status changes, each with the new one; return the end."""
    was = changes = 0
    for i in range(start, end):
        changes += status[i] != was
        was = status[i]
    if changes:
        at = put_int(out, at, changes)
    was = 0
    for i in range(start, end):
        if status[i] != was:
            was = status[i]
            at = put_int(out, put_int(out, at, i - start), was)
    out[at] = 0
    return at + 1
