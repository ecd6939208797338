"""The board in place of one whose file is wrong: it says what is wrong, stands at 0 and moves nothing.

board = Bare(Line(sys.stdin.buffer, sys.stdout.buffer), ValueError("no pin 31"))
print(board.RUNTIME_NOTE)  # " (ValueError('no pin 31',))"
"""

import os
import time

from micropython import const
from settings import ConfigurationError

_NOTE_MAX = const(80)  # characters of what is wrong that have room in Identify


def _nothing(*_) -> int:
    return 0


class Still:
    """Motor that is not there."""

    position = moving = halt = play = staticmethod(_nothing)


class Bare:
    """Board without pins; rehearsal/board.py describes each attribute and method."""

    NAME = "midspan"
    INTERVAL_US = 12500
    GUARDS = 0
    READINGS = COUNT_LIMIT = PRESS_LIMIT = PRESS_SPEED_MAX = DOWN_SPEED_MAX = PRESS_ACCELERATION = HOME_SPEED = 1
    ROTATE_SPEED_MAX = ROTATE_ACCELERATION = misconfigured = 1
    feeder = free_bytes = sensor = None
    press = rotate = Still()
    inputs = home_closed = cell_take = mark_take = install_parts = program_begins = staticmethod(_nothing)
    temperature_centi = staticmethod(lambda: None)
    idle = staticmethod(lambda: True)

    def __init__(self, line, error: Exception) -> None:
        reason = str(error) if isinstance(error, ConfigurationError) else repr(error)
        printable = "".join([c if " " <= c <= "~" else "?" for c in reason[:_NOTE_MAX]])  # it may quote the file
        self.RUNTIME_NOTE = " ({})".format(printable)
        self.boot = int.from_bytes(os.urandom(4), "little") & 0x3FFFFFFF
        self.read_into, self.write, self.ticks_us = line.read_into, line.write, time.ticks_us
