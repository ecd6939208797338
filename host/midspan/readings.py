"""A block of readings as it comes over the line: first values, then changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from midspan.errors import ProtocolError
from midspan.symbols import Phase as Phase  # part of a block's face

Integers = npt.NDArray[np.int64]
StatusBits = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Readings:
    """A block of readings as on the wire: first values, then changes; see `absolute` and `status`.

    Raises ProtocolError when the columns differ in length or an unusual reading is not in the block.

    >>> block = Readings(shaft=1, block=0, first=0, phase=Phase.LIGHT, tick_us=500, interval_us=12500,
    ...                  lateness_us=(0, 3), rotate_steps=(40, 16), press_steps=(900, 0), counts=(1000, -7),
    ...                  unusual=((1, 8),), marks=())
    >>> absolute(block.counts), block.offset_us, block.status
    (array([1000,  993]), array([    0, 12503]), array([0, 8], dtype=int16))
    """

    shaft: int
    block: int
    first: int
    phase: Phase
    tick_us: int
    interval_us: int
    lateness_us: tuple[int, ...]
    rotate_steps: tuple[int, ...]
    press_steps: tuple[int, ...]
    counts: tuple[int, ...]
    unusual: tuple[tuple[int, int], ...]
    marks: tuple[int, ...]

    def __post_init__(self) -> None:
        columns = (self.lateness_us, self.rotate_steps, self.press_steps, self.counts)
        lengths = [len(column) for column in columns]
        if len(set(lengths)) != 1:
            raise ProtocolError(f"block {self.block} of shaft {self.shaft}: columns differ in length {lengths}")
        if not all(0 <= reading < len(self) for reading, _ in self.unusual):
            raise ProtocolError(f"{self.name}: it lists an unusual reading that is not in it")

    def __len__(self) -> int:
        """Number of readings."""
        return len(self.counts)

    @property
    def name(self) -> str:
        """The block as messages name it."""
        return f"block {self.block} of shaft {self.shaft}"

    @property
    def offset_us(self) -> Integers:
        """Time of each reading after the block's `tick_us` in microseconds, int64."""
        intervals = np.asarray(self.lateness_us, np.int64) + self.interval_us
        return np.cumsum(intervals) - self.interval_us

    @property
    def status(self) -> StatusBits:
        """Bit set of each reading, int16, 0 for a good one."""
        status = np.zeros(len(self), np.int16)
        for reading, bits in self.unusual:
            status[reading] = bits
        return status


def absolute(column: tuple[int, ...]) -> Integers:
    """Values of a column whose first entry is a value and each later one a change, int64."""
    return np.cumsum(np.asarray(column, np.int64))
