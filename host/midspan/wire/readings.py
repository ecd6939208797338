"""Columns of a block of readings: decoded from the first value and changes that go over the line."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from midspan.base.errors import ProtocolError
from midspan.wire.records import Readings

Integers = npt.NDArray[np.int64]
StatusBits = npt.NDArray[np.int16]


def check_columns(block: Readings) -> None:
    """Check that the columns of a block fit together.

    Parameters
    ----------
    block : Readings
        A block that a gauge sent.

    Raises
    ------
    ProtocolError
        The columns do not fit together (code "columns"), or an unusual reading is not in the block (code "unusual").
    """
    columns = (block.lateness_us, block.rotate_steps, block.press_steps, block.counts)
    lengths = [len(column) for column in columns]
    readings = len(block.counts)
    if len(block.lateness_us) != readings or not min(1, readings) <= min(lengths) <= max(lengths) <= readings:
        raise ProtocolError(f"{block_name(block)}: columns differ in length {lengths}", code="columns")
    if not all(0 <= odd.reading < len(block.counts) for odd in block.unusual):
        raise ProtocolError(f"{block_name(block)}: lists an unusual reading that it does not have", code="unusual")


def block_name(block: Readings) -> str:
    """Return the name of a block for messages.

    Parameters
    ----------
    block : Readings
        The block.

    Returns
    -------
    str
        Its number and that of its shaft.
    """
    return f"block {block.block} of shaft {block.shaft}"


def absolute(column: tuple[int, ...], readings: int) -> Integers:
    """Return the values of a column that was sent as a first value and changes.

    Parameters
    ----------
    column : tuple[int, ...]
        First value, then the change from each reading to the next, in microsteps or counts. Changes left out at its
        end are 0.
    readings : int
        Number of readings of the block, at least the length of the column.

    Returns
    -------
    Integers
        The values, int64, shape (readings,), in the same unit.

    Examples
    --------
    >>> absolute((1000, -7), 4)
    array([1000,  993,  993,  993])
    """
    return np.cumsum(np.pad(np.asarray(column, np.int64), (0, readings - len(column))))


def offset_us(block: Readings) -> Integers:
    """Return the times of the readings of a block after its first.

    Parameters
    ----------
    block : Readings
        The block.

    Returns
    -------
    Integers
        Time after the block's `tick_us`, microseconds, int64, shape (readings,).
    """
    intervals = np.asarray(block.lateness_us, np.int64) + block.interval_us
    return np.cumsum(intervals) - block.interval_us


def status_of(block: Readings) -> StatusBits:
    """Return the status of each reading of a block.

    Parameters
    ----------
    block : Readings
        The block.

    Returns
    -------
    StatusBits
        Bit sets as in protocol/readings.avsc, int16, shape (readings,); 0 for a good reading.
    """
    status = np.zeros(len(block.counts), np.int16)
    for odd in block.unusual:
        status[odd.reading :] = odd.status
    return status
