"""The shaft's blocks of readings: packed reading by reading, kept until the host acknowledges them.

Every change of a column is packed as the reading arrives, so that closing a block is copying. Nothing here allocates
memory once the object is made.
"""

from array import array

from codec import put_int
from records import READINGS

READINGS_MAX = 64  # per block
BLOCKS_MAX = 255
BLOCK_BYTES = 1000  # the largest datum, so that a frame holds it
HEADER_BYTES = 40  # at most, for the fields before the arrays
INT_BYTES = 5  # at most, for one int
ENDS_BYTES = 6 * 3  # at most, for the counts and ends of the six arrays
READING_BYTES = 5 * INT_BYTES + 2  # at most, for one reading: four columns and a line under unusual, and a mark
LATENESS, ROTATE, PRESS, COUNT, UNUSUAL, MARKS = range(6)
FULL_BYTES = BLOCK_BYTES - HEADER_BYTES - ENDS_BYTES - READING_BYTES


def _copy(source: bytearray, start: int, end: int, target: bytearray, at: int) -> int:
    """Write source[start:end] to target from `at` on without allocating a slice; return the end."""
    for i in range(start, end):
        target[at] = source[i]
        at += 1
    return at


class Held:
    """Blocks of one shaft as Avro data in the buffer `store`; `shaft` is None if there is none.

    `blocks` and `readings` count closed blocks. A closed block waits until it is written out, or wanted again.
    `end_due` is True if the end of the shaft is to be reported after the last block.
    """

    def __init__(self, store: bytearray) -> None:
        self.data = store
        self.shaft: int | None = None
        self._wanted = bytearray(BLOCKS_MAX)
        self._next = 0  # no block below this number waits
        self._ends = array("i", [0] * (BLOCKS_MAX + 1))
        self._columns = [bytearray(BLOCK_BYTES) for _ in range(6)]
        self._used = array("i", [0] * 6)
        self._last = array("i", [0] * 4)
        self._rows = self._odd = self._marks = 0
        self.blocks = self.readings = 0
        self.end_due = False

    def begin(self, shaft: int, interval_us: int) -> None:
        """Start on a shaft; lateness refers to `interval_us`."""
        self.forget()
        self.shaft = shaft
        self._number = shaft
        self._interval_us = interval_us

    def forget(self) -> None:
        """Drop everything held."""
        self.shaft = None
        self.end_due = False
        self.blocks = self.readings = self._next = 0
        self._clear()

    def full(self) -> bool:
        """Return True if the open block and another might not fit: a change of state closes a block without a check."""
        return self._ends[self.blocks] + 2 * BLOCK_BYTES > len(self.data) or self.blocks + 1 >= BLOCKS_MAX

    def used(self) -> int:
        """Return the number of bytes held."""
        return self._ends[self.blocks]

    def want(self, block: int) -> None:
        """Let a closed block wait again."""
        self._wanted[block] = 1
        self._next = min(self._next, block)

    def waiting(self) -> bool:
        """Return True if a closed block waits."""
        while self._next < self.blocks and not self._wanted[self._next]:
            self._next += 1
        return self._next < self.blocks

    def write_next(self, out: bytearray, at: int) -> int:
        """Write the datum of the first waiting block to `out` from `at` on; return the end."""
        self._wanted[self._next] = 0
        return _copy(self.data, self._ends[self._next], self._ends[self._next + 1], out, at)

    def add(self, phase: int, tick_us: int, gap_us: int, rotate: int, press: int, count: int, status: int) -> None:
        """Append a reading that came `gap_us` after the one before."""
        if self._rows == 0:
            self._phase = phase
            self._tick_us = tick_us
            gap_us = self._interval_us
        self._used[LATENESS] = put_int(self._columns[LATENESS], self._used[LATENESS], gap_us - self._interval_us)
        self._change(ROTATE, rotate)
        self._change(PRESS, press)
        self._change(COUNT, count)
        if status:
            self._append(UNUSUAL, self._rows)
            self._append(UNUSUAL, status)
            self._odd += 1
        self._rows += 1
        if self._rows == READINGS_MAX or self._open_bytes() > FULL_BYTES:
            self.close()

    def mark(self, rotate: int) -> None:
        """Note where the index mark passed; it goes with the open block.

        If there is no room it is left out: only a flickering sensor gives so many.
        """
        if self._open_bytes() <= FULL_BYTES:
            self._append(MARKS, rotate)
            self._marks += 1

    def close(self) -> None:
        """Close the open block, if it has readings."""
        if not self._rows:
            return
        at = self._header(self._ends[self.blocks])
        for column in range(4):
            at = self._array(column, self._rows, at)
        at = self._array(UNUSUAL, self._odd, at)
        at = self._array(MARKS, self._marks, at)
        self._wanted[self.blocks] = 1
        self.blocks += 1
        self._ends[self.blocks] = at
        self.readings += self._rows
        self._clear()

    def _clear(self) -> None:
        self._rows = self._odd = self._marks = 0
        for i in range(6):
            self._used[i] = 0
        for i in range(4):
            self._last[i] = 0

    def _open_bytes(self) -> int:
        total = 0
        for i in range(6):
            total += self._used[i]
        return total

    def _append(self, column: int, value: int) -> None:
        self._used[column] = put_int(self._columns[column], self._used[column], value)

    def _change(self, column: int, value: int) -> None:
        self._append(column, value - self._last[column])
        self._last[column] = value

    def _header(self, at: int) -> int:
        at = put_int(self.data, at, READINGS)
        at = put_int(self.data, at, self._number)
        at = put_int(self.data, at, self.blocks)
        at = put_int(self.data, at, self.readings)
        at = put_int(self.data, at, self._phase)
        at = put_int(self.data, at, self._tick_us)
        return put_int(self.data, at, self._interval_us)

    def _array(self, column: int, items: int, at: int) -> int:
        if items:
            at = put_int(self.data, at, items)
            at = _copy(self._columns[column], 0, self._used[column], self.data, at)
        self.data[at] = 0
        return at + 1
