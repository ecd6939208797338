"""What a block of readings says: over the line come first values, then changes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from midspan.base.errors import ProtocolError
from midspan.wire.records import Readings

Integers = npt.NDArray[np.int64]
StatusBits = npt.NDArray[np.int16]


def check_columns(block: Readings) -> None:
    """Raise ProtocolError when the columns differ in length or an unusual reading is not in the block."""
    columns = (block.lateness_us, block.rotate_steps, block.press_steps, block.counts)
    lengths = [len(column) for column in columns]
    if len(set(lengths)) != 1:
        raise ProtocolError(f"{block_name(block)}: columns differ in length {lengths}")
    if not all(0 <= odd.reading < len(block.counts) for odd in block.unusual):
        raise ProtocolError(f"{block_name(block)}: it lists an unusual reading that is not in it")


def block_name(block: Readings) -> str:
    """Return the block as messages name it."""
    return f"block {block.block} of shaft {block.shaft}"


def absolute(column: tuple[int, ...]) -> Integers:
    """Return the values of a column whose first entry is a value and each later one a change, int64.

    >>> absolute((1000, -7))
    array([1000,  993])
    """
    return np.cumsum(np.asarray(column, np.int64))


def offset_us(block: Readings) -> Integers:
    """Return the time of each reading after the block's `tick_us` in microseconds, int64."""
    intervals = np.asarray(block.lateness_us, np.int64) + block.interval_us
    return np.cumsum(intervals) - block.interval_us


def status_of(block: Readings) -> StatusBits:
    """Return the bit set of each reading, int16, 0 for a good one."""
    status = np.zeros(len(block.counts), np.int16)
    for odd in block.unusual:
        status[odd.reading] = odd.status
    return status
